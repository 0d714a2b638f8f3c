"""The places of a drawn sample, read from its judging sheet whether they were judged or not.

Takes a sheet as `plexor sample` writes it (spreadsheets may have changed its delimiter); gives places, and a
diagnostic for each row that names none. What was filled in belongs to `sheet`.
"""

import csv
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from converter.model import Diagnostic, Severity

_PIECE = re.compile(r"(\d{1,12})\.\.(\d{1,12})")
_NEEDED = ("id", "note_hash", "place")


@dataclass(frozen=True, slots=True)
class SamplePlace:
    """One place of a drawn sample.

    Attributes:
        system, id: the note.
        note_hash: its text.
        finding: identifier of the finding, or None for unread wording and look-alikes.
        spans: the characters, each as (first, the one after the last).
    """

    system: str | None
    id: str
    note_hash: str
    finding: str | None
    spans: tuple[tuple[int, int], ...]


def sample_places(file: Path) -> Iterator[SamplePlace | Diagnostic]:
    """The places of a sheet, in order.

    Raises:
        OSError: the file cannot be read.
    """
    text = file.read_bytes().decode("utf-8-sig", "replace")
    delimiter = max(",;\t", key=text.partition("\n")[0].count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    try:
        columns = [cell.strip().lower() for cell in next(reader, [])]
        lacking = [name for name in _NEEDED if name not in columns]
        if lacking:
            yield _trouble(file, 1, f"The sheet has no column {lacking[0]}.")
            return
        for cells in reader:
            if any(cell.strip() for cell in cells):
                yield _place(columns, cells, file, reader.line_num)
    except csv.Error as error:
        yield _trouble(file, reader.line_num, f"From here on the sheet is no CSV ({error}).")


def _place(columns: Sequence[str], cells: Sequence[str], file: Path, line: int) -> SamplePlace | Diagnostic:
    row = {name: cell.strip() for name, cell in zip(columns, cells, strict=False)}
    found = [_PIECE.fullmatch(piece) for piece in row.get("place", "").split()]
    spans = tuple((int(one[1]), int(one[2])) for one in found if one)
    if not spans or len(spans) < len(found) or any(start >= end for start, end in spans):
        return _trouble(file, line, "The row names no place such as 0..2 3..5; it is left out.")
    if not row.get("id") or not row.get("note_hash"):
        return _trouble(file, line, "The row names no note; it is left out.")
    return SamplePlace(
        row.get("system") or None, row["id"], row["note_hash"], row.get("finding") or None, spans
    )


def _trouble(file: Path, line: int, sentence: str) -> Diagnostic:
    return Diagnostic(
        code="sample-row", severity=Severity.ERROR, message=sentence, source=str(file), line=line
    )
