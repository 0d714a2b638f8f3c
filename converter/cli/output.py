"""Writes records to standard output or a file, as JSON, JSON lines or CSV, one at a time."""

import csv
import json
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from enum import StrEnum
from pathlib import Path
from typing import Any, TextIO

from converter.cli.running import CannotRunError

Record = Mapping[str, Any]
_FORMULA_STARTS = frozenset("=+-@\t\r")


class Format(StrEnum):
    """How results are written."""

    TEXT = "text"
    JSON = "json"
    JSONL = "jsonl"
    CSV = "csv"


@contextmanager
def opened(out: Path | None) -> Iterator[TextIO]:
    """Standard output, or a file that takes its place only once it is complete.

    Raises:
        CannotRunError: the file cannot be written.
    """
    if out is None:
        yield sys.stdout
        return
    part = out.with_name(f"{out.name}.part")
    try:
        with part.open("w", encoding="utf-8", newline="") as stream:
            yield stream
        part.replace(out)
    except OSError as error:
        raise CannotRunError(
            f"{error.filename or out}: cannot be written ({(error.strerror or str(error)).lower()})"
        ) from error
    finally:
        part.unlink(missing_ok=True)


def json_line(record: Record) -> str:
    """A record as one line of JSON, its fields in the order they stand in."""
    return json.dumps(record, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


@contextmanager
def records_to(stream: TextIO, format_: Format, columns: Sequence[str]) -> Iterator[Callable[[Record], None]]:
    """Give a function that writes one record.

    Args:
        stream: where to write.
        format_: JSON (one array), JSON lines or CSV.
        columns: fields that CSV writes, in order.
    """
    if format_ is Format.CSV:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(columns)
        yield lambda record: writer.writerow(_safe_cells(map(record.get, columns)))
    else:
        with texts_to(stream, format_) as write:
            yield lambda record: write(json_line(record))


@contextmanager
def texts_to(stream: TextIO, format_: Format) -> Iterator[Callable[[str], None]]:
    """Give a function that writes one record that is JSON already, on a line of its own or in one array."""
    if format_ is Format.JSONL:
        yield lambda text: _line(stream, text)
        return
    first = True

    def write(text: str) -> None:
        nonlocal first
        stream.write(("[\n" if first else ",\n") + text)
        first = False

    yield write
    stream.write("[]\n" if first else "\n]\n")


def safe_cell(value: object) -> object:
    """A cell that no spreadsheet takes for a formula.

    Text that begins with `=`, `+`, `-`, `@`, a tab or a carriage return gets an apostrophe before it; so do a
    grade written `+2` and a value written `-1`, since a spreadsheet would turn them into numbers. Numbers of
    ours stay numbers. Lists become JSON.
    """
    if isinstance(value, str):
        return f"'{value}" if value[:1] in _FORMULA_STARTS else value
    if isinstance(value, bool):
        return "true" if value else "false"
    if value is None or isinstance(value, int | float):
        return value
    return safe_cell(json.dumps(value, ensure_ascii=False))


def _safe_cells(values: Iterable[object]) -> list[object]:
    """Cells as `safe_cell` makes them, most of them without asking it."""
    return [
        value
        if value is None or (type(value) is str and value[:1] not in _FORMULA_STARTS)
        else safe_cell(value)
        for value in values
    ]


def _line(stream: TextIO, text: str) -> None:
    stream.write(text)
    stream.write("\n")
