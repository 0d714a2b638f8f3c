"""CSV and TSV: a header line, then one note a row; quoted fields may run over several lines.

A row that does not fit the header is left out and said: a stray comma or quotation mark must not move a value
into another column, cut a note short or make two notes of one.
"""

import csv
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from converter.model import Diagnostic
from converter.sources.decode import Lines
from converter.sources.fields import Place, note_from_fields
from converter.sources.format import NoteStream, Opened
from converter.sources.options import FIELDS, SourceOptions
from converter.sources.troubles import error, names_shown, warning

_DELIMITERS = {"csv": ",;\t|", "tsv": "\t|,;"}
_SHAPES_KEPT = 100


@dataclass(frozen=True, slots=True)
class _Row:
    """A row and the lines it stands on; without cells where it could not be read."""

    first: int
    last: int
    cells: list[str] | None
    trouble: str = ""


@dataclass(slots=True)
class _Trust:
    """Whether a row after a broken one can be believed.

    After a broken row the reader may stand in the middle of a note, whose lines can look like rows. Rows are
    left out until one has an identifier built like one seen before.
    """

    shapes: set[str] = field(default_factory=set)
    shaken: bool = False

    def accepts(self, identifier: str) -> bool:
        shape = re.sub(r"[^\W\d_]+", "a", re.sub(r"\d+", "9", identifier.strip()))
        if self.shaken and self.shapes and shape not in self.shapes:
            return False
        if len(self.shapes) < _SHAPES_KEPT:
            self.shapes.add(shape)
        self.shaken = False
        return True


def read_csv(opened: Opened, options: SourceOptions) -> NoteStream:
    """The notes of a file parted by commas, semicolons, tabs or bars, whichever its header shows."""
    return _read(opened, options, "csv")


def read_tsv(opened: Opened, options: SourceOptions) -> NoteStream:
    """The notes of a file parted by tabs."""
    return _read(opened, options, "tsv")


def recognise_csv(opened: Opened, options: SourceOptions) -> bool:
    """Whether the first line is a header that names the text and another of our columns."""
    lines = opened.first_lines(options)
    if not lines or len(lines[0]) > 10_000:
        return False
    columns = _columns(_header(lines[0], _delimiter(lines[0], "csv", options)), options)
    return "text" in columns and len(columns) > 1


def _read(opened: Opened, options: SourceOptions, name: str) -> NoteStream:
    csv.field_size_limit(options.largest_note)
    lines = opened.lines(options)
    first = next((line for line in lines if line.strip()), None)
    if first is None:
        return
    delimiter = _delimiter(first, name, options)
    header = _header(first, delimiter)
    columns = _columns(header, options)
    yield from lines.troubles()
    yield from _header_troubles(header, columns, opened.name, lines.number, options)
    if "text" in columns and not _doubled(header, columns):
        yield from _notes(opened, options, lines, delimiter, header, columns)
    yield from lines.last_troubles()


def _notes(
    opened: Opened,
    options: SourceOptions,
    lines: Lines,
    delimiter: str,
    header: Sequence[str],
    columns: Mapping[str, int],
) -> NoteStream:
    trust = _Trust()
    empty = True
    for row in _rows(lines, delimiter, options.largest_note):
        empty = False
        yield from lines.troubles()
        trouble = _row_trouble(row, len(header), opened.name, options)
        if trouble is not None or row.cells is None:
            trust.shaken = True
            yield from (trouble,) if trouble else ()
            continue
        fields = {name: row.cells[index] for name, index in columns.items()}
        if not trust.accepts(fields.get("id", "")):
            yield _doubtful(row, opened.name)
            continue
        note, troubles = note_from_fields(
            fields, Place(opened.name, row.first, f"{opened.stem}:{row.first}"), options
        )
        yield from troubles
        yield note
    if empty:
        yield warning("no-rows", "The file has a header but no rows.", opened.name)


def _rows(lines: Lines, delimiter: str, longest: int) -> Iterator[_Row]:
    reader = csv.reader(_bounded(lines, longest), delimiter=delimiter, strict=True)
    while True:
        first = lines.number + 1
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as trouble:
            yield _Row(first, lines.number, None, str(trouble))
            continue
        if cells:
            yield _Row(first, lines.number, cells)


def _bounded(lines: Lines, longest: int) -> Iterator[str]:
    """Lines; one that is too long to be kept is cut, and made so that the reader refuses its field."""
    limit = 2 * longest + 65536
    while line := lines.next_line(limit):
        if len(line) >= limit and not line.endswith(("\n", "\r")):
            lines.rest_of_line()
            line += "x" * (longest + 1) + "\n"
        yield line


def _row_trouble(row: _Row, width: int, source: str, options: SourceOptions) -> Diagnostic | None:
    if row.cells is None:
        return _broken(row, source, options)
    count = len(row.cells)
    if count < width:
        return error(
            "too-few-columns",
            f"The row has {count} of the header's {width} columns, so its note was left out.",
            source,
            row.first,
            hint="A text with a line break or the delimiter in it needs quotation marks around it.",
        )
    if any(cell.strip() for cell in row.cells[width:]):
        return error(
            "too-many-columns",
            f"The row has {count} columns where the header has {width}, so its note was left out.",
            source,
            row.first,
            hint="A text with the delimiter in it needs quotation marks around it.",
        )
    return None


def _broken(row: _Row, source: str, options: SourceOptions) -> Diagnostic:
    stretch = f"lines {row.first} to {row.last}" if row.last > row.first else "it"
    if "limit" in row.trouble:
        return error(
            "too-large",
            f"A field of this row holds more than {options.largest_note} characters; {stretch} was left out."
            if stretch == "it"
            else f"A field of this row holds more than {options.largest_note} characters; "
            f"{stretch} were left out.",
            source,
            row.first,
            hint="A quotation mark that is never closed has the same effect.",
        )
    return error(
        "bad-quotes",
        f"A quotation mark in this row is not closed or not doubled; {stretch} "
        f"{'was' if stretch == 'it' else 'were'} left out.",
        source,
        row.first,
        hint='A quotation mark inside a quoted text is written twice: "".',
    )


def _doubtful(row: _Row, source: str) -> Diagnostic:
    return error(
        "row-in-doubt",
        "The row follows a broken one and its identifier looks like none before, so it was left out.",
        source,
        row.first,
        hint="Mend the broken row above it.",
    )


def _delimiter(line: str, name: str, options: SourceOptions) -> str:
    """The delimiter under which the header names most of our columns, the format's usual one first."""
    return max(_DELIMITERS[name], key=lambda mark: len(_columns(_header(line, mark), options)))


def _header(line: str, delimiter: str) -> list[str]:
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=delimiter), [])]
    except csv.Error:
        return []


def _columns(header: Sequence[str], options: SourceOptions) -> dict[str, int]:
    """Which of our fields stand in which column; letter case decides only between two that differ in it."""
    folded = [name.casefold() for name in header]
    found: dict[str, int] = {}
    for name in FIELDS:
        column = options.column(name)
        if column in header:
            found[name] = header.index(column)
        elif column.casefold() in folded:
            found[name] = folded.index(column.casefold())
    return found


def _doubled(header: Sequence[str], columns: Mapping[str, int]) -> list[str]:
    """Our columns that the header names twice."""
    return [header[index] for index in columns.values() if header.count(header[index]) > 1]


def _header_troubles(
    header: Sequence[str], columns: Mapping[str, int], source: str, line: int, options: SourceOptions
) -> Iterator[Diagnostic]:
    seen = names_shown(header)
    if "text" not in columns:
        yield error(
            "no-text-column",
            f"The header has no column {options.column('text')}, so no note could be read.",
            source,
            line,
            hint=f"Its columns are: {seen}. Name the right one with --column text=NAME.",
        )
        return
    for column in _doubled(header, columns):
        yield error("doubled-column", f"The header names {column} twice, so no note was read.", source, line)
    for name in sorted(set(options.columns) - set(columns)):
        yield warning(
            "missing-column",
            f"The header has no column {options.column(name)} for {name}.",
            source,
            line,
            hint=f"Its columns are: {seen}.",
        )
