"""Reads the site's own files: CSV with a header, each row known by its line; and maps of identifiers.

Takes files; gives lines and IdMap values, or one error that names the file and lists what is wrong in it.
"""

import csv
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from converter.exports.values import ExportError

LARGEST = 2_147_483_647
"""The largest number in a column of type integer."""
_SHOWN = 5


@dataclass(frozen=True, slots=True)
class Line:
    """A row of a file: the number of its line, and its cells by column."""

    number: int
    cells: Mapping[str, str]

    def cell(self, column: str) -> str:
        """The text of a cell without blanks around it; empty where the file has no such column."""
        return self.cells.get(column, "").strip()


@dataclass(frozen=True, slots=True)
class IdMap:
    """Identifiers of a source and the keys of the database: by system, or for any system."""

    keys: Mapping[tuple[str, str], int]

    def find(self, system: str | None, name: str | None) -> int | None:
        """The key of an identifier; a row without a system holds for every system."""
        if name is None:
            return None
        return self.keys.get((system or "", name), self.keys.get(("", name)))


def read_ids(file: Path, column: str, key: str) -> IdMap:
    """Read a map of identifiers, such as `patient,person_id` with an optional column `system`.

    Raises:
        ExportError: the file cannot be read, or a row cannot be used; all such rows are listed.
    """
    keys: dict[tuple[str, str], int] = {}
    problems = []
    for line in lines_of(file, required=(column, key), known=("system", column, key)):
        name, number = (line.cell("system"), line.cell(column)), whole_number(line.cell(key))
        if not name[1]:
            problems.append(f"line {line.number}: {column} is empty")
        elif number is None or number == 0:
            problems.append(f"line {line.number}: {key} is no whole number from 1 to {LARGEST}")
        elif keys.setdefault(name, number) != number:
            problems.append(f"line {line.number}: this {column} has another {key} further up")
    problems_in(file, problems)
    return IdMap(keys)


def lines_of(file: Path, required: Sequence[str], known: Sequence[str]) -> Iterator[Line]:
    """The rows of a CSV file in UTF-8; empty lines are passed over.

    Raises:
        ExportError: the file cannot be read, lacks a column or has one that is not known.
    """
    try:
        with file.open(encoding="utf-8-sig", newline="") as stream:
            reader = csv.reader(stream, strict=True)
            header = [name.strip() for name in next(reader, [])]
            _check(file, header, required, known)
            for cells in reader:
                if len(cells) > len(header):
                    raise ExportError(f"{file}: line {reader.line_num} has more cells than the header.")
                if any(cell.strip() for cell in cells):
                    yield Line(reader.line_num, dict(zip(header, cells, strict=False)))
    except OSError as error:
        raise ExportError(f"{file}: cannot be read ({(error.strerror or str(error)).lower()}).") from error
    except UnicodeDecodeError as error:
        raise ExportError(f"{file}: is not written in UTF-8.") from error
    except csv.Error as error:
        raise ExportError(f"{file}: this is no CSV file ({error}).") from error


def problems_in(file: Path, problems: Sequence[str]) -> None:
    """Refuse a file for all that is wrong in it.

    Raises:
        ExportError: there is something.
    """
    if problems:
        more = f"; and {len(problems) - _SHOWN} more" if len(problems) > _SHOWN else ""
        raise ExportError(f"{file}: {'; '.join(problems[:_SHOWN])}{more}.")


def whole_number(text: str) -> int | None:
    """A number that fits a column of type integer, or None."""
    if not (text.isascii() and text.isdigit()):
        return None
    number = int(text[:11])
    return number if number <= LARGEST else None


def _check(file: Path, header: Sequence[str], required: Sequence[str], known: Sequence[str]) -> None:
    missing = [name for name in required if name not in header]
    unknown = [name for name in header if name not in known]
    if missing:
        raise ExportError(f"{file}: there is no column {missing[0]}; the columns are {', '.join(known)}.")
    if unknown:
        raise ExportError(
            f"{file}: there is no use for a column {unknown[0]!r}; known are {', '.join(known)}."
        )
    if len(set(header)) < len(header):
        raise ExportError(f"{file}: a column stands there twice.")
