"""The rows of the tables of findings and reflexes: what was said, and what a region covers.

Takes a note with its reading; gives rows as plain dicts, a value for every field. Leaves the wide tables to
`exams`.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from converter.exports.notes import day_of, exams_of
from converter.exports.said import Said, said_by
from converter.model import Finding, Note, Reading
from converter.model.record import plain_number
from converter.words import Covered, Vocabulary, expand

Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Naming:
    """Functions that name a note and its findings in the FHIR export.

    Attributes:
        document: id of the note's DocumentReference.
        observation: id of a finding's Observation.
    """

    document: Callable[[Note], str]
    observation: Callable[[Note, Finding], str]


def note_row(note: Note, reading: Reading, naming: Naming) -> Row:
    """The fields of the note and its reading."""
    return {
        "system": note.system,
        "note": note.id,
        "document": naming.document(note),
        "patient": note.patient,
        "encounter": note.encounter,
        "author": note.author,
        "facility": note.facility,
        "authored": note.authored,
        "day": day_of(note),
        "note_kind": note.kind,
        "birth_date": note.birth_date,
        "age": note.age,
        "sex": note.sex,
        "program": reading.program,
        "vocabulary": reading.vocabulary,
    }


def finding_rows(
    note: Note, reading: Reading, vocabulary: Vocabulary, naming: Naming, quotes: bool
) -> Iterator[Row]:
    """One row for each finding, as said.

    Args:
        note: the note.
        reading: its reading.
        vocabulary: says which values are denied or off their scale.
        naming: names in the FHIR export.
        quotes: whether the words are given.
    """
    head, exams = note_row(note, reading, naming), exams_of(reading)
    for finding in reading.findings:
        exam = exams.get(finding.exam)
        made = finding.status in {"current", "not_tested"} and (exam is None or exam.status == "current")
        yield {
            **head,
            "exam": finding.exam,
            "exam_status": exam.status if exam else None,
            "stated_time": exam.stated_time if exam and quotes else None,
            "finding": finding.finding,
            "observation": naming.observation(note, finding) if made else None,
            "site": finding.site,
            "which": finding.which,
            "root": finding.root,
            "side": finding.side,
            "kind": finding.kind,
            **_value(finding, said_by(finding, vocabulary)),
            "start_offset": finding.start,
            "end_offset": finding.end,
            "quote": (finding.quote or None) if quotes else None,
        }


def reflex_rows(note: Note, reading: Reading, vocabulary: Vocabulary, naming: Naming) -> Iterator[Row]:
    """One row for each reflex and side that a finding speaks of, marked direct or covered."""
    head, exams = note_row(note, reading, naming), exams_of(reading)
    for row in covered(reading, vocabulary):
        finding = row.finding
        exam = exams.get(finding.exam)
        yield {
            **head,
            "exam": finding.exam,
            "exam_status": exam.status if exam else None,
            "finding": finding.finding,
            "site": row.site,
            "which": finding.which,
            "side": row.side,
            "basis": row.basis,
            "said_site": finding.site,
            "said_side": finding.side,
            "kind": finding.kind,
            **_value(finding, said_by(finding, vocabulary)),
        }


def covered(reading: Reading, vocabulary: Vocabulary) -> tuple[Covered, ...]:
    """The findings spread over what they speak of; a reflex that the vocabulary lacks speaks of itself."""
    known = [finding for finding in reading.findings if finding.site in vocabulary.reflexes]
    unknown = [finding for finding in reading.findings if finding.site not in vocabulary.reflexes]
    spread = expand(known, vocabulary)
    return (*spread, *(Covered(finding, finding.site, finding.side, "direct") for finding in unknown))


def _value(finding: Finding, said: Said) -> Row:
    return {
        "value": said.value,
        "grade_low": plain_number(said.low),
        "grade_high": plain_number(said.high),
        "plus": finding.plus if said.low is not None else None,
        "scale": said.scale,
        "scale_basis": said.scale_basis,
        "level": said.level,
        "descriptor": said.descriptor,
        "response": said.response,
        "beats_low": said.beats_low,
        "beats_high": said.beats_high,
        "duration": said.duration,
        "reinforcement": finding.reinforcement,
        "manoeuvre": finding.manoeuvre,
        "position": finding.position,
        "technique": finding.technique,
        "quality": said.quality,
        "comparison": said.comparison,
        "denied": said.denied,
        "status": finding.status,
        "certainty": finding.certainty,
        "reason": finding.reason,
        "as_written": finding.as_written,
    }
