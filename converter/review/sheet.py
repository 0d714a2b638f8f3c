"""The judging sheet: a table that people fill in with a spreadsheet, written by us and read back.

One row stands for one place of one note. The first columns say what was read there; a person fills in
`verdict` and, where it is needed, what is right. Gives rows as values, and a diagnostic for each row that
cannot be used; what a row means for a note is for others to find out.
"""

import csv
import io
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from converter.model import VERDICTS, Diagnostic, Severity, Span

if TYPE_CHECKING:
    from _csv import Reader

COLUMNS = (
    "kind", "system", "id", "note_hash", "place", "finding", "understood", "passage", "family", "examiner",
    "certainty", "verdict", "site", "side", "value", "status", "scale", "by", "at", "remark",
)  # fmt: skip
"""What we write. Read back are those of `READ`, in any order; others are passed by."""

READ = frozenset(
    {"system", "id", "note_hash", "place", "finding", "words", "verdict"}
    | {"site", "side", "value", "status", "scale", "by", "at", "remark"}
)
_NEEDED = ("id", "verdict")
_PLACE = re.compile(r"(\d+)\.\.(\d+)")
_MOST_CELL = 1_000_000


@dataclass(frozen=True, slots=True)
class JudgedRow:
    """A row that a person has judged.

    Attributes:
        line: line of the file, counted from 1.
        verdict: one of `VERDICTS`.
        spans: the characters it is about, or none where the row names words instead.
        cells: the other cells by column; empty ones are left out.
    """

    line: int
    verdict: str
    spans: tuple[Span, ...]
    cells: dict[str, str] = field(default_factory=dict)


def place_text(spans: Iterable[Span]) -> str:
    """Spans as a cell, such as `0..2 3..5`: written so that no spreadsheet takes it for a date."""
    return " ".join(f"{span.start}..{span.end}" for span in spans)


def read_sheet(file: Path) -> Iterator[JudgedRow | Diagnostic | None]:
    """The rows of a sheet in order; None for a row that nobody has judged.

    The cells may be parted by commas or semicolons, in UTF-8 or Windows-1252, as spreadsheets write them.

    Raises:
        OSError: the file cannot be read.
    """
    content = file.read_bytes()
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = content.decode("cp1252", errors="replace")
    csv.field_size_limit(_MOST_CELL)
    delimiter = max(",;\t", key=text.partition("\n")[0].count)
    yield from _rows(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True), file)


def _rows(reader: "Reader", file: Path) -> Iterator[JudgedRow | Diagnostic | None]:
    columns: list[str] = []
    while True:
        line = reader.line_num + 1
        try:
            cells = next(reader)
        except StopIteration:
            break
        except csv.Error as error:
            yield _trouble(file, line, "sheet-row", f"The row is no CSV ({error}).")
            continue
        if not columns:
            columns = [cell.strip().lower() for cell in cells]
            missing = [name for name in _NEEDED if name not in columns]
            if missing:
                yield _trouble(file, line, "sheet-columns", f"The sheet has no column {missing[0]}.")
                return
        elif any(cell.strip() for cell in cells):
            yield _row(columns, cells, file, line)
    if not columns:
        yield _trouble(file, 1, "sheet-columns", "The sheet is empty.")


def _row(
    columns: Sequence[str], cells: Sequence[str], file: Path, line: int
) -> JudgedRow | Diagnostic | None:
    if len(cells) > len(columns):
        return _trouble(file, line, "sheet-row", "The row has more cells than the header.")
    named = {name: _unsafe(cell) for name, cell in zip(columns, cells, strict=False) if name in READ}
    verdict = named.pop("verdict", "").lower().replace(" ", "_").replace("-", "_")
    if not verdict:
        return None
    if verdict not in VERDICTS:
        known = ", ".join(VERDICTS)
        return _trouble(file, line, "sheet-verdict", f"{verdict!r} is no verdict; known are {known}.")
    place = named.pop("place", "")
    pieces = place.split()
    found = [_PLACE.fullmatch(piece) for piece in pieces]
    spans = [Span(int(one[1]), int(one[2]), "value") for one in found if one]
    if len(spans) < len(pieces) or any(span.start >= span.end for span in spans):
        return _trouble(file, line, "sheet-place", f"{place!r} is no place such as 0..2 3..5.")
    return JudgedRow(line, verdict, tuple(spans), {name: cell for name, cell in named.items() if cell})


def _unsafe(cell: str) -> str:
    """A cell as it was before an apostrophe kept a spreadsheet from changing it."""
    bare = cell.strip()
    return bare[1:] if bare[:1] == "'" and bare[1:2] in "=+-@\t\r" else bare


def _trouble(file: Path, line: int, code: str, sentence: str) -> Diagnostic:
    message = f"{sentence} The row is left out."
    return Diagnostic(code=code, severity=Severity.ERROR, message=message, source=str(file), line=line)
