"""What a person said of one place of a note: that it was read rightly, wrongly, or not at all."""

from dataclasses import dataclass

from converter.model.finding import Finding, Span

VERDICTS = ("confirmed", "corrected", "rejected", "added", "no_finding")
"""What can be said: the finding is right; it is right as given here; it is none; a finding was missed here;
nothing was missed here (of unread wording or a look-alike)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Amendment:
    """One judgement by one person; it holds for one text of one note, and for certain characters of it.

    Attributes:
        system, id: identity of the note.
        note_hash: SHA-256 of the text that the person saw.
        spans: the characters that were judged: the spans of the finding as it was read; of an added finding
            its own; of unread wording or a look-alike that place. Roles do not count.
        verdict: one of VERDICTS.
        finding: the finding as the person has it; for `rejected` as it was read; None for `no_finding`.
        made_on: identifier of the finding that was judged; None where there was none.
        by: who judged, as an identifier.
        at: when, an ISO 8601 instant.
        remark: a word of the person's own, or None.
        number: number within the archive; None until it is stored.
        undone_by, undone_at: who took it back and when; None while it stands.
    """

    system: str | None
    id: str
    note_hash: str
    spans: tuple[Span, ...]
    verdict: str
    finding: Finding | None
    made_on: str | None = None
    by: str
    at: str
    remark: str | None = None
    number: int | None = None
    undone_by: str | None = None
    undone_at: str | None = None
