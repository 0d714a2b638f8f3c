"""Merged patients out of a list, into an archive; beside `api`.

Takes an archive and a CSV file with the columns `from`, `to` and, where identifiers are unique within a
system only, `system`; gives how many notes moved, and what is wrong with which line.
"""

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from converter.model import Diagnostic, Severity

if TYPE_CHECKING:
    from converter.archive import Archive, Link


@dataclass(frozen=True, slots=True)
class Linked:
    """A link that was followed.

    Attributes:
        line: line of the list.
        notes: versions of notes that moved.
    """

    line: int
    notes: int


def relink_list(archive: "Archive", file: Path, by: str, at: str) -> Iterator[Linked | Diagnostic]:
    """Follow each link of a list; one that cannot be followed is told, the rest goes on.

    Raises:
        OSError: the file cannot be read.
    """
    from converter.archive import ArchiveError, relink

    for line, link in _links(file):
        if isinstance(link, Diagnostic):
            yield link
            continue
        try:
            yield Linked(line, relink(archive, [link], by, at)[0])
        except ArchiveError as error:
            yield _trouble(file, line, str(error))


def _links(file: Path) -> "Iterator[tuple[int, Link | Diagnostic]]":
    from converter.archive import Link

    text = file.read_bytes().decode("utf-8-sig", errors="replace")
    delimiter = max(",;\t", key=text.partition("\n")[0].count)
    reader = csv.DictReader(io.StringIO(text, newline=""), delimiter=delimiter)
    reader.fieldnames = [name.strip().lower() for name in reader.fieldnames or ()]
    missing = [name for name in ("from", "to") if name not in reader.fieldnames]
    if missing:
        yield 1, _trouble(file, 1, f"The list has no column {missing[0]}.")
        return
    for row in reader:
        cells = {name: (row.get(name) or "").strip().removeprefix("'") for name in ("from", "to", "system")}
        if None in row:
            yield reader.line_num, _trouble(file, reader.line_num, "The row has more cells than the header.")
        elif any(cells.values()):
            yield reader.line_num, Link(cells["from"], cells["to"], cells["system"] or None)


def _trouble(file: Path, line: int, sentence: str) -> Diagnostic:
    return Diagnostic(
        code="link-not-followed",
        severity=Severity.ERROR,
        message=f"{sentence} The row is left out.",
        source=str(file),
        line=line,
    )
