"""Reads back the records that `plexor read --format jsonl` wrote."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from converter.model import Diagnostic, Reading, Severity
from converter.model.record import SCHEMA, reading_from_record


def read_records(file: Path) -> Iterator[Reading | Diagnostic]:
    """The readings of a file in order; a line that is no record becomes a diagnostic.

    Raises:
        OSError: the file cannot be read.
    """
    with file.open("rb") as lines:
        for number, line in enumerate(lines, start=1):
            if line.strip():
                yield _reading(line, file, number)


def holds_records(file: Path) -> bool:
    """Whether the first line of a file is such a record."""
    try:
        with file.open("rb") as lines:
            first = json.loads(next((line for line in lines if line.strip()), b"null"))
    except (OSError, ValueError):
        return False
    return isinstance(first, dict) and first.get("schema") == SCHEMA


def _reading(line: bytes, file: Path, number: int) -> Reading | Diagnostic:
    try:
        record: Any = json.loads(line.decode("utf-8-sig"))
        if not isinstance(record, dict):
            raise ValueError("the line is no record")
        return reading_from_record(record)
    except ValueError as error:
        return Diagnostic(
            code="record-line",
            severity=Severity.ERROR,
            message=f"The line is no record of a reading ({error}). It is left out.",
            source=str(file),
            line=number,
        )
