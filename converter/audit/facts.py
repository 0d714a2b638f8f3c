"""What each note adds to the audit, and what only the visits of one patient together show.

Takes notes with their readings and assessments; gives NoteFacts. Leaves counting to `counting`.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import pairwise

from converter.audit.statements import current_findings, marks_of
from converter.audit.values import NOT_STATED, NoteFacts
from converter.audit.wording import fingerprints, heading_marks
from converter.model import Assessment, Note, Reading
from converter.words import Vocabulary

Read = tuple[Note, Reading, tuple[Assessment, ...]]


def facts_of(
    read: Iterable[Read], vocabulary: Vocabulary, *, has_text: bool, words: bool = False
) -> list[NoteFacts]:
    """The facts of every note, in the order of the notes.

    Args:
        read: notes with their readings and assessments.
        vocabulary: the words, scales and reflexes.
        has_text: whether the notes come with their text.
        words: whether to keep the words of the findings.
    """
    facts = []
    for note, reading, assessments in read:
        one = _note_facts(note, reading, assessments, vocabulary, has_text=has_text)
        facts.append(replace(one, words=_words(reading)) if words else one)
    return _with_copies(facts) if has_text else facts


def _note_facts(
    note: Note,
    reading: Reading,
    assessments: tuple[Assessment, ...],
    vocabulary: Vocabulary,
    *,
    has_text: bool,
) -> NoteFacts:
    marks, spreads = marks_of(reading, assessments, vocabulary)
    wording = other_exam = None
    if has_text:
        found = heading_marks(note.text)
        wording, other_exam = fingerprints(note.text, current_findings(reading))
        examined = bool(found or marks & {"reflexes", "not-tested", "unread"})
        marks |= found | ({"exam"} if examined else frozenset())
    return NoteFacts(
        system=note.system,
        id=note.id,
        patient=note.patient,
        groups=_groups(note),
        authored=note.authored,
        marks=marks | {"note"},
        spreads=spreads,
        wording=wording if "reflexes" in marks else None,
        other_exam=other_exam,
    )


def _words(reading: Reading) -> str:
    quotes = dict.fromkeys(" ".join(finding.quote.split()) for finding in current_findings(reading))
    return " | ".join(quotes)


def _groups(note: Note) -> tuple[str, ...]:
    """The group in each dimension, in the order of `DIMENSIONS`."""
    month = note.authored[:7] if note.authored and len(note.authored) >= len("2031-05") else None
    return tuple(value or NOT_STATED for value in (note.author, note.facility, note.kind, month))


def _with_copies(facts: list[NoteFacts]) -> list[NoteFacts]:
    """Mark the notes whose reflex wording is that of the patient's visit before."""
    marks: defaultdict[int, set[str]] = defaultdict(set)
    for before, after in _consecutive(facts):
        earlier, later = facts[before], facts[after]
        if later.wording is None:
            continue
        marks[after].add("followed")
        if later.wording == earlier.wording:
            same = later.other_exam == earlier.other_exam
            marks[after].add("same-exam" if same else "copied")
    return [
        replace(one, marks=one.marks | marks[number]) if number in marks else one
        for number, one in enumerate(facts)
    ]


def _consecutive(facts: list[NoteFacts]) -> Iterator[tuple[int, int]]:
    """Pairs of a patient's dated notes with reflexes, each with the one before it at another time."""
    visits: defaultdict[str, list[int]] = defaultdict(list)
    for number, one in enumerate(facts):
        if one.patient is not None and one.authored is not None and "reflexes" in one.marks:
            visits[one.patient].append(number)
    for numbers in visits.values():
        numbers.sort(key=lambda number: (facts[number].authored or "", number))
        yield from (
            (before, after)
            for before, after in pairwise(numbers)
            if facts[before].authored != facts[after].authored
        )
