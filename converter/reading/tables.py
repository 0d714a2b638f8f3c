"""Finds the tables of reflexes in a note: sides in columns, or reflexes in columns and sides in rows.

Takes lines; gives a parser with drafts for each row. A table has heads and lines of cells under them; a table
of strength looks the same and is left alone. Heads are read by `table_heads`, rows by `table_rows`.
"""

from dataclasses import dataclass, replace

from converter.model import Unread
from converter.reading.dated_heads import dated_heads
from converter.reading.grammar.parser import Context, Parser
from converter.reading.lines import Line, cells_of, is_rule
from converter.reading.table_heads import HeadReader, Heads
from converter.reading.table_rows import RowReader, begins_with_value
from converter.reading.tokens import Token
from converter.words import Vocabulary

_NEAR = 3


@dataclass(frozen=True, slots=True)
class Table:
    """A table that was read.

    Attributes:
        rows: a parser with drafts for each row.
        start: place of its heads in the note.
        after: index of the first line after it.
        unread: rows whose values could not be given to one column.
    """

    rows: list[Parser]
    start: int
    after: int
    unread: list[Unread]


class TableReader:
    """Reads the tables of one note."""

    def __init__(self, text: str, context: Context, vocabulary: Vocabulary, lines: list[Line]) -> None:
        self._text = text
        self._lines = lines
        self._heads = HeadReader(text, context, vocabulary)
        self._rows = RowReader(text, context, vocabulary, _footnotes(text, lines))

    def table_at(self, index: int) -> Table | None:
        """The table whose heads stand in a line, if one does and if it is about reflexes."""
        heads = self._dated(index) or self._heads.heads(self._lines, index)
        if heads is None:
            return None
        first = self._lines[index : index + heads.lines]
        self._rows.use_order(_pair_order(self._lines[max(0, index - _NEAR) : index + heads.lines]))
        table = self._table(index, heads)
        tokens = [token for line in first for token in line.tokens]
        if not any(row.drafts for row in table.rows):
            return None
        if not _about_reflexes(tokens):
            rows = [token for row in table.rows for token in row.tokens]
            return None if any("trigger" in t.flags for t in rows) else replace(table, rows=[], unread=[])
        for line in first:
            _mark_heads(line)
        return table

    def _dated(self, index: int) -> Heads | None:
        """Heads that name times, where the table or what stands above it speaks of reflexes."""
        heads = dated_heads(self._text, self._lines[index])
        if heads is None:
            return None
        near = self._lines[max(0, index - _NEAR) : index + _NEAR]
        speaks = any(t.kind == "reflex" or "trigger" in t.flags for line in near for t in line.tokens)
        return heads if speaks else None

    def _table(self, index: int, heads: Heads) -> Table:
        start = self._lines[index].tokens[0].start
        table = Table([], start, index + heads.lines, [])
        after, foreign = index + heads.lines, False
        while after < len(self._lines):
            line = self._lines[after]
            cells = len(cells_of(self._text, line, heads.parting)) if line.tokens else 0
            again = self._heads.one_line(line) if cells > 1 and table.rows else None
            if again is not None:
                heads, foreign = again, False
                _mark_heads(line)
            elif _is_section(line):
                foreign = any(token.kind == "other_exam" for token in line.tokens)
                _mark_heads(line)
            elif not (is_rule(self._text, line) or (foreign and cells > 1) or self._row(line, heads, table)):
                break
            after += 1
        return Table(table.rows, start, after, table.unread)

    def _row(self, line: Line, heads: Heads, table: Table) -> bool:
        row = self._rows.row(line, heads) if line.tokens else None
        if row is None:
            return _names_only(line) or self._strange_row(line, heads, table)
        if row.unclear:
            table.unread.append(self._unread(line.tokens, "ambiguous-layout"))
            _mark_heads(line)
        else:
            table.rows.append(row.parser)
            table.unread.extend(self._unread(cell.tokens, "no-site") for cell in row.strange)
        return True

    def _strange_row(self, line: Line, heads: Heads, table: Table) -> bool:
        """A row of another part of the examination is passed over; one whose name is not known is listed."""
        cells = cells_of(self._text, line, heads.parting) if line.tokens else []
        name, rest = (cells[0].tokens, cells[1:]) if len(cells) > 1 else ([], [])
        foreign = any(token.kind in ("other_exam", "look_alike") for token in name)
        unknown = bool(name) and all(token.kind == "other" for token in name)
        if not (foreign or unknown) or not all(begins_with_value(cell) for cell in rest if cell.tokens):
            return False
        if unknown:
            table.unread.append(self._unread(line.tokens, "no-site"))
        _mark_heads(line)
        return True

    def _unread(self, tokens: list[Token], why: str) -> Unread:
        start, end = tokens[0].start, tokens[-1].end
        return Unread(start=start, end=end, text=self._text[start:end], why=why)


def _footnotes(text: str, lines: list[Line]) -> dict[str, list[Token]]:
    """The words of each footnote by the mark that begins its line."""
    notes: dict[str, list[Token]] = {}
    for line in lines:
        if len(line.tokens) > 1 and line.tokens[0].kind == "other_mark":
            notes.setdefault(text[line.tokens[0].start], line.tokens[1:])
    return notes


def _pair_order(lines: list[Line]) -> str | None:
    """The order of the sides that the lines above a table state: "(L/R)"."""
    orders = [token.meaning for line in lines for token in line.tokens if token.kind == "side_ref"]
    return orders[-1] if orders else None


def _names_only(line: Line) -> bool:
    """A row whose cells were left empty."""
    return bool(line.tokens) and all(t.kind in ("site", "pipe") for t in line.tokens)


def _is_section(line: Line) -> bool:
    """A line inside a table that only says which part of the examination follows."""
    return bool(line.tokens) and all(
        t.kind in ("region", "reflex", "other_exam", "colon", "pipe") for t in line.tokens
    )


def _about_reflexes(heads: list[Token]) -> bool:
    """A table of strength looks the same; its heads tell it."""
    foreign = any(token.kind == "other_exam" for token in heads)
    speaks = any(token.kind == "reflex" or "trigger" in token.flags for token in heads)
    return speaks or not foreign


def _mark_heads(line: Line) -> None:
    for token in line.tokens:
        token.used = token.used or "header"
