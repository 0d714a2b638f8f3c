"""The wide tables and the table of patients over time: what an exam says of each reflex and side.

Takes a note with its reading, or all notes of a patient; gives rows as plain dicts. A cell holds what the
exam says of its own time: current findings of a current exam, past ones of a quoted earlier exam. What stands
in no column is counted in `not_shown`.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from converter.exports.notes import day_of, exams_of
from converter.exports.said import said_by
from converter.exports.tables.fields import Column, wide_columns
from converter.exports.tables.rows import Naming, Row, covered, note_row
from converter.exports.values import Read
from converter.model import Exam, Note, Reading
from converter.model.record import plain_number
from converter.words import Covered, Vocabulary

if TYPE_CHECKING:
    from datetime import date

_OF_ITS_TIME = {"current": frozenset({"current", "not_tested"}), "historical": frozenset({"historical"})}
_BETWEEN = "; "


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """What one exam says of one reflex on one side.

    Attributes:
        values: the different values, in the order they are said.
        grades: the grade on each scale where the exam gives exactly one there.
        level: where all say the same.
        basis: `direct`, `covered`, or `direct and covered`.
    """

    values: tuple[str, ...]
    grades: dict[str, float]
    level: str | None
    basis: str


def cells_of(reading: Reading, vocabulary: Vocabulary) -> dict[int, dict[Column, Cell]]:
    """The cells of each exam of a note, by its number."""
    columns, exams = wide_columns(vocabulary), exams_of(reading)
    found: dict[int, dict[Column, list[Covered]]] = defaultdict(lambda: defaultdict(list))
    for row in covered(reading, vocabulary):
        place = (row.site, row.finding.which, row.side)
        if place in columns and _of_its_time(row, exams):
            found[row.finding.exam][place].append(row)
    return {
        exam: {place: _cell(rows, vocabulary) for place, rows in places.items()}
        for exam, places in found.items()
    }


def exam_rows(
    note: Note, reading: Reading, vocabulary: Vocabulary, naming: Naming
) -> Iterator[tuple[str, Row]]:
    """The rows of the wide tables, each with the name of its table."""
    cells, names = cells_of(reading, vocabulary), wide_columns(vocabulary)
    for exam in reading.exams:
        mine = cells.get(exam.exam, {})
        head = _head(note, reading, exam, vocabulary, naming)
        values = {names[at]: _BETWEEN.join(cell.values) or None for at, cell in mine.items()}
        yield "exams", {**head, **values}
        yield "exam_levels", {**head, **{names[at]: cell.level for at, cell in mine.items()}}
        yield "exam_bases", {**head, **{names[at]: cell.basis for at, cell in mine.items()}}
        for scale in sorted({scale for cell in mine.values() for scale in cell.grades}):
            grades = {names[at]: cell.grades[scale] for at, cell in mine.items() if scale in cell.grades}
            numbers = {name: plain_number(grade) for name, grade in grades.items()}
            yield "exam_grades", {**head, "scale": scale, **numbers}


def patient_rows(reads: Sequence[Read], vocabulary: Vocabulary) -> Iterator[Row]:
    """The rows of one patient over time: current exams whose day is known, by day and time."""
    visits = [
        (day, note, exam, cells_of(reading, vocabulary).get(exam.exam, {}))
        for note, reading, _ in reads
        if note.patient is not None and (day := day_of(note)) is not None
        for exam in reading.exams
        if exam.status == "current"
    ]
    visits.sort(key=lambda visit: (visit[0], visit[1].authored or "", visit[1].system or "", visit[1].id))
    before: date | None = None
    for number, (day, note, exam, cells) in enumerate(visits, start=1):
        head = {
            "patient": note.patient,
            "visit": number,
            "day": day,
            "authored": note.authored,
            "days_since_first": (day - visits[0][0]).days,
            "days_since_previous": None if before is None else (day - before).days,
            "system": note.system,
            "note": note.id,
            "exam": exam.exam,
        }
        before = day
        yield from ({**head, **_of_time(place, cell)} for place, cell in cells.items())


def _of_time(place: Column, cell: Cell) -> Row:
    site, which, side = place
    scale, grade = next(iter(cell.grades.items())) if len(cell.grades) == 1 else (None, None)
    single = grade if len(cell.values) == 1 else None
    return {
        "site": site,
        "which": which,
        "side": side,
        "value": _BETWEEN.join(cell.values) or None,
        "values_given": len(cell.values),
        "grade": plain_number(single),
        "scale": scale if single is not None else None,
        "level": cell.level,
        "basis": cell.basis,
    }


def _head(note: Note, reading: Reading, exam: Exam, vocabulary: Vocabulary, naming: Naming) -> Row:
    mine = [finding for finding in reading.findings if finding.exam == exam.exam]
    columns = wide_columns(vocabulary)
    shown = {
        row.finding.finding
        for row in covered(reading, vocabulary)
        if (row.site, row.finding.which, row.side) in columns and _of_its_time(row, {exam.exam: exam})
    }
    return {
        **note_row(note, reading, naming),
        "exam": exam.exam,
        "exam_status": exam.status,
        "stated_time": exam.stated_time,
        "findings": len(mine),
        "not_shown": sum(finding.finding not in shown for finding in mine),
    }


def _of_its_time(row: Covered, exams: dict[int, Exam]) -> bool:
    exam = exams.get(row.finding.exam)
    return exam is not None and row.finding.status in _OF_ITS_TIME.get(exam.status, frozenset())


def _cell(rows: Sequence[Covered], vocabulary: Vocabulary) -> Cell:
    said = [said_by(row.finding, vocabulary) for row in rows]
    levels = {one.level for one in said}
    graded: dict[str, set[float | None]] = defaultdict(set)
    for one in said:
        if one.scale is not None:
            graded[one.scale].add(one.grade)
    bases = sorted({row.basis for row in rows}, reverse=True)
    return Cell(
        values=tuple(dict.fromkeys(one.value for one in said if one.value is not None)),
        grades={scale: grade for scale, grades in graded.items() if (grade := _only(grades)) is not None},
        level=levels.pop() if len(levels) == 1 else None,
        basis=" and ".join(bases),
    )


def _only(grades: set[float | None]) -> float | None:
    return next(iter(grades)) if len(grades) == 1 else None
