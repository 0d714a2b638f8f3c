"""What persons judged in an archive, as labels to measure the reader by; beside `api`.

Takes an archive and a Session; gives labelled notes, what the reader finds in them now, and how many of the
judged findings and places were right. Measuring belongs to `score`.

A note is labelled where everything in it was judged: each finding, and each piece of unread wording. Findings
that neither the reader nor a person pointed at are not known, so that recall is an upper bound.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from converter.api import Session, read
from converter.model import Amendment, Finding, Note, Reading, Span, Unread
from converter.model.record import finding_to_record
from converter.reading.look_alikes import look_alikes_of
from converter.score import Labelled, Predicted
from converter.score.claims import Words, claims_of
from converter.score.words import canonical_words

if TYPE_CHECKING:
    from converter.archive import Archive, NoteKey

Kind = tuple[str, str]
"""What was judged, and its family: (`finding`, `stretch`), (`unread`, ``), (`look_alike`, ``)."""


@dataclass(slots=True)
class Judged:
    """What persons judged in an archive.

    Attributes:
        labels: notes in which everything was judged, by name.
        predicted: what the reader finds in those notes now; where the archive holds no text, what it found
            when they were loaded.
        right: by kind, how many judged ones were right: findings that are as the person has them, places in
            which no finding was missed.
        judged: by kind, how many were judged.
        partly: notes of which only a part was judged.
    """

    labels: dict[str, Labelled] = field(default_factory=dict)
    predicted: dict[str, Predicted] = field(default_factory=dict)
    right: dict[Kind, int] = field(default_factory=lambda: defaultdict(int))
    judged: dict[Kind, int] = field(default_factory=lambda: defaultdict(int))
    partly: int = 0


def judged_in(archive: Path, session: Session) -> Judged:
    """Gather what persons judged.

    Raises:
        ArchiveError: there is no such archive.
    """
    from converter.archive import NoteKey, amendments, open_archive, stored_readings

    found, words = Judged(), canonical_words(session.vocabulary)
    with open_archive(archive, read_only=True) as opened:
        keys = dict.fromkeys(NoteKey(one.system, one.id) for one in amendments(opened) if not one.undone_at)
        as_read = _as_read(opened, keys)
        for note, reading, _ in stored_readings(opened, keys):
            before = as_read.get((note.system, note.id, note.hash))
            if before is None or not reading.amendments:
                continue
            _count(found, note, before, reading, session, words)
            if _whole(reading):
                _label(found, note, before, reading, session)
            else:
                found.partly += 1
    return found


def _as_read(archive: "Archive", keys: "Iterable[NoteKey]") -> dict[tuple[str | None, str, str], Reading]:
    from converter.archive import stored_readings

    read_before = stored_readings(archive, keys, as_read=True)
    return {(note.system, note.id, note.hash): reading for note, reading, _ in read_before}


def _whole(reading: Reading) -> bool:
    """Whether everything that the reader pointed at was judged."""
    return not reading.unread and all(finding.verdict is not None for finding in reading.findings)


def _label(found: Judged, note: Note, before: Reading, reading: Reading, session: Session) -> None:
    name = note.id if note.id not in found.labels else f"{note.id} ({note.system})"
    now = read(note, session).findings if note.text else before.findings
    labels = tuple(finding_to_record(finding) for finding in reading.findings)
    found.labels[name] = Labelled(name, labels, note.text or None)
    found.predicted[name] = Predicted(name, tuple(finding_to_record(finding) for finding in now))


def _count(
    found: Judged, note: Note, before: Reading, reading: Reading, session: Session, words: Words
) -> None:
    read_before = {finding.finding: finding for finding in before.findings}
    amended = {finding.finding: finding for finding in reading.findings}
    for amendment in _last(reading):
        was = read_before.get(amendment.made_on or "")
        if was is not None:
            kind = ("finding", was.kind)
            right = _same(was, amended.get(was.finding), words)
        else:
            kind = (_place(amendment, note, before, session), "")
            right = amendment.verdict == "no_finding"
        found.judged[kind] += 1
        found.right[kind] += right


def _last(reading: Reading) -> Iterator[Amendment]:
    """The judgement that stands of each finding and place; of several about one the last."""
    last = {one.made_on or _characters(one.spans): one for one in reading.amendments}
    yield from last.values()


def _characters(spans: tuple[Span, ...]) -> str:
    return " ".join(sorted(f"{span.start}..{span.end}" for span in spans))


def _same(was: Finding, now: Finding | None, words: Words) -> bool:
    """Whether a finding claims what the person has: place, side, value and status."""
    if now is None:
        return False
    one, other = (claims_of([finding_to_record(finding)], False, words) for finding in (was, now))
    same = [(c.site, c.side, c.value, c.status) for c in one]
    return same == [(c.site, c.side, c.value, c.status) for c in other]


def _place(amendment: Amendment, note: Note, before: Reading, session: Session) -> str:
    if _meets(amendment, before.unread):
        return "unread"
    look_alikes = look_alikes_of(note.text, session.vocabulary) if note.text else ()
    return "look_alike" if _meets(amendment, look_alikes) else "elsewhere"


def _meets(amendment: Amendment, places: Iterable[Span | Unread]) -> bool:
    return any(
        span.start < place.end and place.start < span.end for place in places for span in amendment.spans
    )
