"""The flat record of a reading: what `plexor read --format jsonl` writes, and how to read it back.

Takes a Reading, gives plain dicts in a fixed order of fields with whole grades as integers; and back again.
"""

from collections.abc import Mapping
from dataclasses import fields
from typing import Any, TypeVar

from converter.model.diagnostic import Diagnostic, Severity
from converter.model.finding import Exam, Finding, Reading, Span, Unread

T = TypeVar("T")

SCHEMA = "plexor-record-1"

_FINDING_FIELDS = tuple(field.name for field in fields(Finding))
_EXAM_FIELDS = tuple(field.name for field in fields(Exam))
_UNREAD_FIELDS = tuple(field.name for field in fields(Unread))
_DIAGNOSTIC_FIELDS = tuple(field.name for field in fields(Diagnostic))


def reading_to_record(reading: Reading) -> dict[str, Any]:
    """The record of one note, every field present, in the documented order."""
    return {
        "id": reading.id,
        "system": reading.system,
        "note_hash": reading.note_hash,
        "schema": reading.schema,
        "program": reading.program,
        "vocabulary": reading.vocabulary,
        "exams": [_plain(exam, _EXAM_FIELDS) for exam in reading.exams],
        "findings": [finding_to_record(finding) for finding in reading.findings],
        "unread": [_plain(unread, _UNREAD_FIELDS) for unread in reading.unread],
        "diagnostics": [diagnostic_to_record(diagnostic) for diagnostic in reading.diagnostics],
    }


def reading_from_record(record: Mapping[str, Any]) -> Reading:
    """The reading that a record was made from.

    Raises:
        ValueError: the record has another schema, or lacks or adds a field.
    """
    if record.get("schema") != SCHEMA:
        raise ValueError(f"the record's schema is {record.get('schema')!r}, not {SCHEMA!r}")
    try:
        return Reading(
            id=record["id"],
            system=record["system"],
            note_hash=record["note_hash"],
            schema=record["schema"],
            program=record["program"],
            vocabulary=record["vocabulary"],
            exams=tuple(Exam(**exam) for exam in record["exams"]),
            findings=tuple(finding_from_record(finding) for finding in record["findings"]),
            unread=tuple(Unread(**unread) for unread in record["unread"]),
            diagnostics=tuple(
                Diagnostic(**{**diagnostic, "severity": Severity(diagnostic["severity"])})
                for diagnostic in record["diagnostics"]
            ),
        )
    except (KeyError, TypeError) as error:
        raise ValueError(f"the record is not complete: {error}") from error


def finding_to_record(finding: Finding) -> dict[str, Any]:
    """A finding as a plain dict."""
    record = _plain(finding, _FINDING_FIELDS)
    record["grade_low"] = plain_number(finding.grade_low)
    record["grade_high"] = plain_number(finding.grade_high)
    record["spans"] = [{"start": span.start, "end": span.end, "role": span.role} for span in finding.spans]
    return record


def finding_from_record(record: Mapping[str, Any]) -> Finding:
    """The finding that a plain dict was made from."""
    return Finding(**{**record, "spans": tuple(Span(**span) for span in record["spans"])})


def diagnostic_to_record(diagnostic: Diagnostic) -> dict[str, Any]:
    """A diagnostic as a plain dict."""
    return _plain(diagnostic, _DIAGNOSTIC_FIELDS) | {"severity": str(diagnostic.severity)}


def plain_number(number: float | None) -> int | float | None:
    """A whole number as an integer, so that it is written `2` and not `2.0`."""
    return int(number) if number is not None and float(number).is_integer() else number


def _plain(value: object, names: tuple[str, ...]) -> dict[str, Any]:
    return {name: getattr(value, name) for name in names}
