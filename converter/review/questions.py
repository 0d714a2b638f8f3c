"""What a person should look at in a reading: contradictions, doubtful findings and unread wording.

Takes a reading with its assessments; gives questions in the order of the note, each about one or more places
to judge. Leaves what the judgement does to the reading to `archive`, and how it looks to the page.
"""

import hashlib
import json
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from converter.model import Amendment, Assessment, Diagnostic, Finding, Reading, Severity, Span, Unread
from converter.words import Vocabulary, expand

KINDS = {
    "contradiction": "Values that do not agree",
    "doubt": "Doubtful findings",
    "unread": "Unread wording",
    "sample": "The drawn sample",
}
"""The kinds of question, the most serious first, and what a person calls them."""

_DOUBTFUL = frozenset({Severity.WARNING, Severity.ERROR, Severity.FATAL})
_CONTRADICTIONS = frozenset({"conflicting-values", "mixed-plus"})
_ASKED_AS_UNREAD = frozenset({"ambiguous-figure", "unread-wording"})
_NEAR = 40
"""Characters between two places that are still judged together."""


@dataclass(frozen=True, slots=True)
class Subject:
    """One place to judge: a finding as it was read, or wording that nothing was made of.

    Attributes:
        finding: identifier of the finding, or None for unread wording.
        spans: the characters it rests on.
        what: reflex, variant and side of the finding, or None.
        alone: whether no other finding of the note rests on the same characters.
    """

    finding: str | None
    spans: tuple[Span, ...]
    what: tuple[str, str | None, str] | None = None
    alone: bool = True

    @property
    def key(self) -> str:
        """What the place is told by within its note: `achilles-left-37@34-36,40-43`."""
        places = ",".join(f"{start}-{end}" for start, end in sorted(characters(self.spans)))
        return f"{self.finding or ''}@{places}"

    @property
    def start(self) -> int:
        """First character of the hull."""
        return min(span.start for span in self.spans)

    @property
    def end(self) -> int:
        """Character after the hull."""
        return max(span.end for span in self.spans)


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One thing to look at, judged place by place.

    Attributes:
        question: identifier, stable as long as note, text and places are the same.
        kind: one of KINDS.
        system, id, note_hash: the note and its text.
        subjects: the places, in the order of the note.
        why: plain sentences that say what is doubtful, without repetition.
    """

    question: str
    kind: str
    system: str | None
    id: str
    note_hash: str
    subjects: tuple[Subject, ...]
    why: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Draft:
    kind: str
    subjects: tuple[Subject, ...]
    why: tuple[str, ...] = field(default=())

    @property
    def place(self) -> tuple[int, int]:
        return self.subjects[0].start, max(subject.end for subject in self.subjects)


_UNREAD_WHY = {
    "no-value": "A reflex is named here, but no value was understood.",
    "no-site": "A value stands here, but no reflex was understood.",
    "unknown-word": "A word here is not in the vocabulary; it may be a finding, or change one beside it.",
    "ambiguous-layout": "A table or figure stands here whose rows or columns are not named.",
}
_UNREAD_OTHERWISE = "Words about reflexes stand here that were not understood."
_WITHOUT_WORDS = {
    "conflicting-values": "The exam gives values for one reflex that do not agree.",
    "mixed-plus": "Grades stand with and without a plus; a plus alone makes no sure difference.",
    "off-scale": "The grade does not exist on its scale: kept as written, not coded.",
}
_LEFT = "An earlier decision on this place does not fit what is read here now."
_STATED_DOUBT = "The note itself is not sure, or the value leaves room for doubt."


def questions_of(
    reading: Reading, assessments: Iterable[Assessment], vocabulary: Vocabulary
) -> tuple[Question, ...]:
    """Everything in a reading that a person should look at, in the order of the note.

    Every finding and every unread place is asked about once: a finding in a contradiction is not asked about
    again because it is doubtful, though the question says so.

    Args:
        reading: as it was read, without amendments.
        assessments: what the rules made of it; their remarks tell of contradictions.
        vocabulary: says which reflexes a finding covers.
    """
    said = [*reading.diagnostics, *(one for each in assessments for one in each.diagnostics)]
    doubts = [one for one in said if one.severity in _DOUBTFUL and one.code not in _ASKED_AS_UNREAD]
    subjects = subjects_of(reading)
    drafts = _joined(_contradictions(reading, subjects, doubts, vocabulary))
    taken = {subject.finding for draft in drafts for subject in draft.subjects}
    single = list(_single(reading, subjects, doubts))
    reasons = {draft.subjects[0].finding: draft.why for draft in single}
    drafts = [_with_doubts(draft, reasons) for draft in drafts]
    drafts += _grouped(one for one in single if one.subjects[0].finding not in taken)
    drafts += _grouped(_unread(piece) for piece in reading.unread)
    return tuple(_question(reading, draft) for draft in sorted(drafts, key=lambda draft: draft.place))


def questions_of_left(
    reading: Reading, left: Iterable[Amendment], asked: Iterable[Question]
) -> tuple[Question, ...]:
    """The places of earlier decisions that do not fit what is read now, unless they are asked about anyway.

    Args:
        reading: as it was read.
        left: amendments of the note and text that do not apply to it.
        asked: the questions about the reading.
    """
    known = {subject.key for one in asked for subject in one.subjects}
    by_place = {characters(one.spans): one for one in subjects_of(reading).values()}
    drafts = {}
    for amendment in left:
        if amendment.note_hash == reading.note_hash and amendment.spans:
            subject = by_place.get(characters(amendment.spans)) or Subject(None, amendment.spans)
            if subject.key not in known:
                drafts[subject.key] = _Draft("doubt", (subject,), (_LEFT,))
    return tuple(_question(reading, draft) for draft in drafts.values())


def sample_question(reading: Reading, subject: Subject) -> Question:
    """The question about one place of a drawn sample."""
    return _question(reading, _Draft("sample", (subject,), ("This place was drawn for the sample.",)))


def subjects_of(reading: Reading) -> dict[str, Subject]:
    """The findings of a reading as places to judge, by the findings' identifiers."""
    spans = {one.finding: one.spans or (Span(one.start, one.end, "value"),) for one in reading.findings}
    sharing = Counter(characters(places) for places in spans.values())
    return {
        one.finding: Subject(
            finding=one.finding,
            spans=spans[one.finding],
            what=(one.site, one.which, one.side),
            alone=sharing[characters(spans[one.finding])] == 1,
        )
        for one in reading.findings
    }


def characters(spans: Iterable[Span]) -> frozenset[tuple[int, int]]:
    """What spans are told by; the part a span plays does not count."""
    return frozenset((span.start, span.end) for span in spans)


def unread_subject(piece: Unread) -> Subject:
    """Unread wording as a place to judge."""
    return Subject(None, (Span(piece.start, piece.end, "unread"),))


def _contradictions(
    reading: Reading,
    subjects: Mapping[str, Subject],
    doubts: Sequence[Diagnostic],
    vocabulary: Vocabulary,
) -> Iterator[_Draft]:
    for doubt in doubts:
        if doubt.code in _CONTRADICTIONS:
            found = _in_conflict(reading, doubt, vocabulary)
            if found:
                places = tuple(subjects[one.finding] for one in found)
                yield _Draft("contradiction", places, (_sentence(doubt),))


def _in_conflict(reading: Reading, doubt: Diagnostic, vocabulary: Vocabulary) -> list[Finding]:
    """The findings that a contradiction is about; it begins with the first of them and ends with the last."""
    inside = [one for one in reading.findings if _within(one, doubt)]
    if doubt.code == "mixed-plus":
        return [one for one in inside if one.grade_low is not None and one.scale != "plus-count"]
    known = [one for one in inside if one.site in vocabulary.reflexes]
    covers = {id(one): _covers(one, vocabulary) for one in known}
    first = {place for one in known if one.start == doubt.start for place in covers[id(one)]}
    last = {place for one in known if one.end == doubt.end for place in covers[id(one)]}
    return [one for one in known if covers[id(one)] & first & last] or inside


def _covers(finding: Finding, vocabulary: Vocabulary) -> set[tuple[int, str, str]]:
    sites = {row.site for row in expand((finding,), vocabulary)}
    sides = ("left", "right") if finding.side in ("both", "unspecified") else (finding.side,)
    return {(finding.exam, site, side) for site in sites for side in sides}


def _single(
    reading: Reading, subjects: Mapping[str, Subject], doubts: Sequence[Diagnostic]
) -> Iterator[_Draft]:
    """Findings that are doubtful by themselves, each with every reason; and other doubtful places."""
    others: dict[tuple[int, int], list[str]] = defaultdict(list)
    for one in doubts:
        if one.code not in _CONTRADICTIONS and one.start is not None and one.end is not None:
            others[one.start, one.end].append(_sentence(one))
    for finding in reading.findings:
        about = list(others.get((finding.start, finding.end), ()))
        if finding.certainty == "uncertain":
            about.append(_STATED_DOUBT)
        if about:
            yield _Draft("doubt", (subjects[finding.finding],), tuple(about))
    places = {(one.start, one.end) for one in reading.findings}
    for (start, end), about in others.items():
        if (start, end) not in places:
            yield _Draft("doubt", (Subject(None, (Span(start, end, "unread"),)),), tuple(about))


def _unread(piece: Unread) -> _Draft:
    return _Draft("unread", (unread_subject(piece),), (_UNREAD_WHY.get(piece.why, _UNREAD_OTHERWISE),))


def _joined(drafts: Iterable[_Draft]) -> list[_Draft]:
    """Contradictions that share a finding are one question."""
    whole: list[_Draft] = []
    for draft in drafts:
        mine = {subject.finding for subject in draft.subjects}
        meeting = [one for one in whole if any(subject.finding in mine for subject in one.subjects)]
        whole = [one for one in whole if one not in meeting]
        whole.append(_together([*meeting, draft]))
    return whole


def _grouped(drafts: Iterable[_Draft]) -> list[_Draft]:
    """Places that stand close together are one question, so that their words are read once."""
    groups: list[list[_Draft]] = []
    for draft in sorted(drafts, key=lambda draft: draft.place):
        if groups and draft.place[0] - groups[-1][-1].place[1] <= _NEAR and len(groups[-1]) < 4:
            groups[-1].append(draft)
        else:
            groups.append([draft])
    return [_together(group) for group in groups]


def _together(drafts: Sequence[_Draft]) -> _Draft:
    subjects = {(subject.finding, subject.spans): subject for draft in drafts for subject in draft.subjects}
    ordered = sorted(subjects.values(), key=lambda subject: (subject.start, subject.end))
    why = dict.fromkeys(sentence for draft in drafts for sentence in draft.why)
    return _Draft(drafts[0].kind, tuple(ordered), tuple(why))


def _with_doubts(draft: _Draft, reasons: Mapping[str | None, tuple[str, ...]]) -> _Draft:
    more = [sentence for subject in draft.subjects for sentence in reasons.get(subject.finding, ())]
    return replace(draft, why=tuple(dict.fromkeys((*draft.why, *more))))


def _within(finding: Finding, doubt: Diagnostic) -> bool:
    if doubt.start is None or doubt.end is None:
        return False
    return doubt.start <= finding.start and finding.end <= doubt.end


def _sentence(doubt: Diagnostic) -> str:
    """What is doubtful, ended as a sentence; an archive without quotes keeps only the code."""
    unsaid = _WITHOUT_WORDS.get(doubt.code) or doubt.code.replace("-", " ").capitalize()
    said = (doubt.message or unsaid).strip()
    return said if said.endswith((".", "?", "!")) else f"{said}."


def _question(reading: Reading, draft: _Draft) -> Question:
    places = [
        [subject.finding, [[span.start, span.end] for span in subject.spans]] for subject in draft.subjects
    ]
    about = [reading.system, reading.id, reading.note_hash, draft.kind, places]
    return Question(
        question=hashlib.sha256(json.dumps(about).encode()).hexdigest()[:16],
        kind=draft.kind,
        system=reading.system,
        id=reading.id,
        note_hash=reading.note_hash,
        subjects=draft.subjects,
        why=draft.why,
    )
