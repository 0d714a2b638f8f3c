"""Gives back what was loaded: notes with their current readings and assessments, as the values they were.

Takes an open archive and identities of notes; gives the same values that `load` took. In an archive without
quotes the words are missing: texts and quotes are empty.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import fields
from itertools import islice
from typing import Any, TypeVar

from converter.archive.rows import identity_number
from converter.archive.values import Archive, NoteKey, Read
from converter.model import (
    Abnormality,
    Assessment,
    Diagnostic,
    Exam,
    Finding,
    Note,
    NotExamined,
    Reading,
    Severity,
    Span,
    Unread,
)

T = TypeVar("T")

_PAGE = 500
_NOTES = """
SELECT r.reading, r.record_schema, r.program, r.vocabulary,
       n.id, n.text, n.note_hash, n.system, n.patient, n.encounter, n.author, n.facility, n.authored,
       n.authored_precision, n.note_kind, n.birth_date, n.age, n.sex, n.source, n.line, n.origin
FROM notes n JOIN readings r ON r.note = n.note
WHERE n.to_run IS NULL AND r.to_run IS NULL
"""
_PARTS = ("exams", "findings", "unread", "diagnostics", "assessments", "abnormalities", "not_examined")
_Parts = dict[str, dict[int, list[dict[str, Any]]]]


def stored_readings(archive: Archive, keys: Iterable[NoteKey] | None = None) -> Iterator[Read]:
    """The notes of the archive with their current readings and assessments.

    Args:
        archive: an open archive.
        keys: identities of the notes wanted, each given back as often as it is asked for and as many
            versions of it are current; None for all, in the order in which they were loaded.
    """
    heads = _all_heads(archive) if keys is None else _wanted_heads(archive, iter(keys))
    yield from _reads(archive, heads)


def readings_numbered(archive: Archive, numbers: Iterable[int]) -> Iterator[Read]:
    """The notes of current readings, by the numbers of the readings, in the order of the numbers given."""
    yield from _reads(archive, _numbered_heads(archive, iter(numbers)))


def _reads(archive: Archive, heads: Iterator[list[dict[str, Any]]]) -> Iterator[Read]:
    for page in heads:
        parts = _parts(archive, [head["reading"] for head in page])
        for head in page:
            yield _read(head, parts)


def _all_heads(archive: Archive) -> Iterator[list[dict[str, Any]]]:
    last = 0
    while page := _dicts(archive, f"{_NOTES} AND r.reading > ? ORDER BY r.reading LIMIT ?", [last, _PAGE]):
        last = page[-1]["reading"]
        yield page


def _wanted_heads(archive: Archive, keys: Iterator[NoteKey]) -> Iterator[list[dict[str, Any]]]:
    while wanted := [NoteKey(*key) for key in islice(keys, _PAGE)]:
        numbers = sorted({identity_number(key) for key in wanted})
        sql = f"{_NOTES} AND n.identity IN (SELECT unnest(?::BIGINT[])) ORDER BY r.reading"
        found = defaultdict(list)
        for head in _dicts(archive, sql, [numbers]):
            found[NoteKey(head["system"], head["id"])].append(head)
        yield [head for key in wanted for head in found[key]]


def _numbered_heads(archive: Archive, numbers: Iterator[int]) -> Iterator[list[dict[str, Any]]]:
    while wanted := list(islice(numbers, _PAGE)):
        sql = f"{_NOTES} AND r.reading IN (SELECT unnest(?::BIGINT[]))"
        found = {head["reading"]: head for head in _dicts(archive, sql, [wanted])}
        yield [found[number] for number in wanted]


def _parts(archive: Archive, readings: list[int]) -> _Parts:
    parts: _Parts = {table: defaultdict(list) for table in _PARTS}
    for table in _PARTS:
        outer = "assessment_place NULLS FIRST, " if table in ("diagnostics", *_PARTS[5:]) else ""
        sql = (
            f"SELECT * FROM {table} WHERE reading IN (SELECT unnest(?::BIGINT[]))"  # noqa: S608 - our tables
            f" ORDER BY reading, {outer}place"
        )
        for row in _dicts(archive, sql, [readings]):
            parts[table][row["reading"]].append(row)
    return parts


def _read(head: dict[str, Any], parts: _Parts) -> Read:
    number = head["reading"]
    origin = tuple(tuple(piece) for piece in head["origin"])
    note = _value(Note, head, text=head["text"] or "", kind=head["note_kind"], origin=origin)
    mine = {table: rows.get(number, []) for table, rows in parts.items()}
    reading = Reading(
        id=note.id,
        system=note.system,
        note_hash=note.hash,
        schema=head["record_schema"],
        program=head["program"],
        vocabulary=head["vocabulary"],
        exams=tuple(_value(Exam, row, status=row["exam_status"]) for row in mine["exams"]),
        findings=tuple(_finding(row) for row in mine["findings"]),
        unread=tuple(_value(Unread, row, text=row["text"] or "") for row in mine["unread"]),
        diagnostics=_diagnostics(mine["diagnostics"], None),
    )
    return note, reading, tuple(_assessment(row, mine) for row in mine["assessments"])


def _finding(row: dict[str, Any]) -> Finding:
    spans = tuple(Span(**span) for span in row["spans"])
    return _value(Finding, row, spans=spans, quote=row["quote"] or "")


def _assessment(row: dict[str, Any], mine: dict[str, list[dict[str, Any]]]) -> Assessment:
    place = row["place"]
    return Assessment(
        exam=row["exam"],
        abnormalities=tuple(
            _abnormality(one) for one in mine["abnormalities"] if one["assessment_place"] == place
        ),
        not_examined=tuple(
            _value(NotExamined, one, reason=one["reason"] or "")
            for one in mine["not_examined"]
            if one["assessment_place"] == place
        ),
        diagnostics=_diagnostics(mine["diagnostics"], place),
        caution=row["caution"],
    )


def _abnormality(row: dict[str, Any]) -> Abnormality:
    lists = {name: tuple(row[name]) for name in ("sites", "rests_on", "modifiers")}
    return _value(Abnormality, row, sentence=row["sentence"] or "", **lists)


def _diagnostics(rows: list[dict[str, Any]], place: int | None) -> tuple[Diagnostic, ...]:
    return tuple(
        _value(Diagnostic, row, severity=Severity(row["severity"]), message=row["message"] or "")
        for row in rows
        if row["assessment_place"] == place
    )


def _value(noun: type[T], row: dict[str, Any], /, **special: Any) -> T:
    """A value whose fields are the row's columns, but for those given."""
    names = (entry.name for entry in fields(noun))  # type: ignore[arg-type]  # the nouns are dataclasses
    return noun(**{name: special[name] if name in special else row[_column(name)] for name in names})


def _column(field: str) -> str:
    renamed = {"start": "start_offset", "end": "end_offset", "hash": "note_hash"}
    return renamed.get(field, field)


def _dicts(archive: Archive, sql: str, values: list[Any]) -> list[dict[str, Any]]:
    found = archive.connection.cursor().execute(sql, values)
    names = [column[0] for column in found.description or ()]
    return [dict(zip(names, row, strict=True)) for row in found.fetchall()]
