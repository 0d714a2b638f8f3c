"""Reads tables of reflexes: right and left in columns, or reflexes in columns and sides in rows.

Takes lines; gives a parser with drafts for each row. A table has a line of column heads and lines of cells
under it; a table of strength looks the same and is left alone.
"""

from dataclasses import dataclass, replace

from converter.reading.grammar.drafting import add_bare, draft
from converter.reading.grammar.parser import VALUES, Context, Parser
from converter.reading.grammar.parts import Target
from converter.reading.grammar.phrases import phrase_at
from converter.reading.grammar.targets import targets_at
from converter.reading.grammar.untested import not_tested
from converter.reading.lines import Cell, Line, cells_of, is_rule
from converter.reading.tokens import Token
from converter.reading.written import Written
from converter.words import Vocabulary

HEAD_KINDS = frozenset(
    {
        "side",
        "site",
        "region",
        "reflex",
        "other_exam",
        "pipe",
        "other",
        "open",
        "close",
        "slash",
        "look_alike",
        "comma",
        "stop",
    }
)


@dataclass(frozen=True, slots=True)
class Column:
    """A column of values: what its head says, and where it stands in the line."""

    head: Cell
    offset: int
    side: str | None
    targets: list[Target]
    foreign: bool


class TableReader:
    """Reads the tables of one note."""

    def __init__(self, text: str, context: Context, vocabulary: Vocabulary) -> None:
        self._text = text
        self._context = context
        self._vocabulary = vocabulary

    def columns(self, line: Line) -> list[Column]:
        """The columns that a line of heads announces; none if the line is no line of heads."""
        kinds = {token.kind for token in line.tokens}
        if not kinds or not kinds - {"value"} <= HEAD_KINDS:
            return []
        cells = cells_of(self._text, line)
        label = {token.kind for token in cells[0].tokens} if cells else set()
        if not cells or ("value" in kinds and not label >= {"open", "reflex"}):
            return []
        columns = [column for cell in cells if (column := self._column(cell, line)) is not None]
        sided = [column for column in columns if column.side in ("left", "right") and not column.targets]
        sited = [column for column in columns if column.targets]
        if ({column.side for column in sided} >= {"left", "right"} and len(sided) == 2) or (
            len(sided) > 2 and any(column.foreign for column in columns)
        ):
            return [column for column in columns if column.side is not None]
        return sited if len(sited) >= 2 and len(sited) == len(columns) - _labels(columns) else []

    def _column(self, cell: Cell, line: Line) -> Column | None:
        if not cell.tokens:
            return None
        sides = [t.meaning for t in cell.tokens if t.kind == "side" and t.meaning in ("left", "right")]
        foreign = any(token.kind in ("other_exam", "other", "look_alike") for token in cell.tokens)
        parser = self._parser(cell.tokens)
        targets, end = targets_at(parser, 0, after_value=False)
        named = [target for target in targets if not target.foreign and not target.general]
        whole = end == len(cell.tokens) and len(named) == len(targets) == 1
        return Column(
            head=cell,
            offset=cell.start - line.start,
            side=sides[0] if len(sides) == 1 else None,
            targets=named if whole and not sides else [],
            foreign=foreign,
        )

    def _parser(self, tokens: list[Token]) -> Parser:
        context = replace(self._context, reflexes=True)
        return Parser(self._text, tokens, context, self._vocabulary)

    def row(self, line: Line, columns: list[Column]) -> Parser | None:
        """Read one line of cells; None if the line is no row of this table."""
        cells = cells_of(self._text, line)
        if not cells or not cells[0].tokens:
            return None
        if columns[0].targets:
            return self._side_row(line, cells, columns)
        label = self._parser(cells[0].tokens)
        targets, end = targets_at(label, 0, after_value=False)
        if not targets or targets[0].foreign or targets[0].general:
            return None
        cells = _split_label(cells, end)
        if len(cells) < 2 or label.kind(end) not in VALUES | {"end", "untested"}:
            return None
        parser = self._parser(line.tokens)
        for column, cell in _aligned(line, cells[1:], columns, self._text):
            if not column.foreign and cell.tokens:
                self._cell(parser, cell, targets, column)
        for target in targets:
            parser.mark(target.used)
        return parser

    def _side_row(self, line: Line, cells: list[Cell], columns: list[Column]) -> Parser | None:
        sides = [t for t in cells[0].tokens if t.kind == "side" and t.meaning in ("left", "right")]
        if len(sides) != 1 or any(
            t.kind not in ("side", "colon", "open", "close", "other_mark") for t in cells[0].tokens
        ):
            return None
        parser = self._parser(line.tokens)
        for column, cell in _aligned(line, cells[1:], columns, self._text):
            if cell.tokens:
                targets = [
                    replace(t, side=sides[0].meaning, used=[*t.used, (sides[0], "side")])
                    for t in column.targets
                ]
                self._value(parser, cell, targets)
        return parser

    def _cell(self, parser: Parser, cell: Cell, targets: list[Target], column: Column) -> None:
        side = next(t for t in column.head.tokens if t.kind == "side")
        self._value(
            parser, cell, [replace(t, side=column.side, used=[*t.used, (side, "side")]) for t in targets]
        )

    def _value(self, parser: Parser, cell: Cell, targets: list[Target]) -> None:
        own = self._parser(cell.tokens)
        if own.kind(0) == "untested":
            not_tested(own, targets, 0)
        elif own.kind(0) == "dash" and len(cell.tokens) == 1:
            if _counts_plus_signs(parser):
                add_bare(own, targets[0], None, [(cell.tokens[0], "value")], implied="absent")
        else:
            found = phrase_at(own, 0)
            if found is not None:
                draft(own, targets, found[0])
            elif own.kind(0) == "no":
                for target in targets:
                    add_bare(
                        own, target, None, [(cell.tokens[0], "value")], implied="absent", negated=target.sign
                    )
        parser.drafts += own.drafts


def _counts_plus_signs(row: Parser) -> bool:
    """In a row of plus signs a minus says absent; elsewhere it is an empty cell."""
    return any(isinstance(t.written, Written) and t.written.counted for t in row.tokens)


def _split_label(cells: list[Cell], end: int) -> list[Cell]:
    """A long name may run into the first value: "brachioradialis 2+"."""
    first = cells[0].tokens
    if end >= len(first):
        return cells
    label = Cell(cells[0].start, first[end - 1].end, first[:end])
    return [label, Cell(first[end].start, cells[0].end, first[end:]), *cells[1:]]


def _labels(columns: list[Column]) -> int:
    """How many heads only label the rows: a reflex noun or "side" over the first column."""
    first = columns[0]
    return 1 if not first.targets and first.side is None else 0


def _aligned(line: Line, cells: list[Cell], columns: list[Column], text: str) -> list[tuple[Column, Cell]]:
    """Each cell with its column: in order where there are as many, else by the nearest place in the line."""
    if "|" in text[line.start : line.end] or len(cells) == len(columns):
        return list(zip(columns, cells, strict=False))
    pairs = []
    for cell in cells:
        offset = cell.start - line.start
        pairs.append((min(columns, key=lambda column: abs(column.offset - offset)), cell))
    return pairs


@dataclass(frozen=True, slots=True)
class Table:
    """A table that was read.

    Attributes:
        rows: a parser with drafts for each row.
        start: place of its heads in the note.
        after: index of the first line after it.
    """

    rows: list[Parser]
    start: int
    after: int


def table_at(reader: TableReader, text: str, lines: list[Line], index: int) -> Table | None:
    """The table whose heads stand in a line, if one does and if it is about reflexes."""
    columns = reader.columns(lines[index])
    if not columns:
        return None
    rows, after = _rows(reader, text, lines, index + 1, columns)
    if not _about_reflexes(lines[index], rows):
        return None
    _mark_heads(lines[index])
    return Table(rows, lines[index].tokens[0].start, after)


def _rows(
    reader: TableReader, text: str, lines: list[Line], index: int, columns: list[Column]
) -> tuple[list[Parser], int]:
    rows: list[Parser] = []
    foreign = False
    while index < len(lines):
        if is_rule(text, lines[index]):
            index += 1
            continue
        if _is_section(lines[index]):
            foreign = any(token.kind == "other_exam" for token in lines[index].tokens)
            _mark_heads(lines[index])
            index += 1
            continue
        if foreign and lines[index].tokens and len(cells_of(text, lines[index])) > 1:
            index += 1
            continue
        row = reader.row(lines[index], columns) if lines[index].tokens else None
        if row is None and _names_only(lines[index]):
            index += 1
            continue
        if row is None:
            break
        rows.append(row)
        index += 1
    return rows, index


def _names_only(line: Line) -> bool:
    """A row whose cells were left empty."""
    return bool(line.tokens) and all(t.kind in ("site", "pipe") for t in line.tokens)


def _is_section(line: Line) -> bool:
    """A line inside a table that only says which part of the examination follows."""
    return bool(line.tokens) and all(
        t.kind in ("region", "reflex", "other_exam", "colon", "pipe") for t in line.tokens
    )


def _about_reflexes(head: Line, rows: list[Parser]) -> bool:
    """A table of strength looks the same; its head or its grades out of five tell it."""
    if not any(row.drafts for row in rows):
        return False
    foreign_head = any(token.kind == "other_exam" for token in head.tokens)
    mixed = foreign_head and any(token.kind == "reflex" for token in head.tokens)
    return mixed or not foreign_head


def _mark_heads(line: Line) -> None:
    for token in line.tokens:
        token.used = token.used or "header"
