"""Finds tables among the lines of a note and reads each cell as a value of its row and column.

Takes the tokens of a note; gives drafts for the cells of tables, and the tokens that are left for sentences.
A table has a line of column heads (right and left, or reflexes) and lines of cells under it, arranged by
pipes, tabs or wide gaps. Drawn figures are left to `figures`.
"""

import re
from dataclasses import dataclass, replace

from converter.reading.grammar.drafting import add_bare, draft
from converter.reading.grammar.parser import VALUES, Context, Parser
from converter.reading.grammar.parts import Target
from converter.reading.grammar.phrases import phrase_at
from converter.reading.grammar.shapes_named import not_tested
from converter.reading.grammar.targets import targets_at
from converter.reading.tokens import Token
from converter.reading.written import Written
from converter.words import Vocabulary

_GAP = re.compile(r"\t|[ \u00a0]{2,}|\.{3,}|…")
_RULE_LINE = re.compile(r"[\s|:+=_-]+")
_HEAD_KINDS = frozenset(
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
class Line:
    """One line of the note.

    Attributes:
        start, end: place in the note, without the line end.
        tokens: its tokens.
    """

    start: int
    end: int
    tokens: list[Token]


@dataclass(frozen=True, slots=True)
class Cell:
    """Tokens that stand together between two gaps or pipes."""

    start: int
    end: int
    tokens: list[Token]


@dataclass(frozen=True, slots=True)
class Column:
    """A column of values: what its head says, and where it stands in the line."""

    head: Cell
    offset: int
    side: str | None
    targets: list[Target]
    foreign: bool


def lines_of(text: str, tokens: list[Token]) -> list[Line]:
    """The lines of a note with their tokens."""
    lines: list[Line] = []
    current: list[Token] = []
    start = 0
    for token in tokens:
        if token.kind == "newline":
            lines.append(Line(start, token.start, current))
            current, start = [], token.end
        else:
            current.append(token)
    lines.append(Line(start, len(text), current))
    return lines


def cells_of(text: str, line: Line) -> list[Cell]:
    """The cells of a line: parted by pipes where there are any, else by tabs and wide gaps."""
    parting = _parting(text, line)
    piped = bool(parting)
    cells: list[list[Token]] = [[]]
    bounds: list[tuple[int, int]] = []
    previous = line.start
    for token in line.tokens:
        if token.kind == parting:
            bounds.append((previous, token.start))
            cells.append([])
            previous = token.end
            continue
        if not piped and cells[-1] and _GAP.search(text, cells[-1][-1].end, token.start):
            bounds.append((cells[-1][0].start, cells[-1][-1].end))
            cells.append([])
        cells[-1].append(token)
    bounds.append((previous if piped else (cells[-1][0].start if cells[-1] else previous), line.end))
    made = [Cell(low, high, own) for (low, high), own in zip(bounds, cells, strict=True)]
    if piped:
        made = (
            made[1:] if made and not made[0].tokens and text[line.start : made[0].end].strip() == "" else made
        )
        made = (
            made[:-1]
            if made and not made[-1].tokens and not text[made[-1].start : line.end].strip()
            else made
        )
    return made


def _parting(text: str, line: Line) -> str:
    """The kind of mark that parts the cells of a line; empty where gaps do."""
    if any(token.kind == "pipe" for token in line.tokens):
        return "pipe"
    semicolons = [t for t in line.tokens if t.kind == "stop" and text[t.start] == ";"]
    return "stop" if len(semicolons) >= 2 else ""


class TableReader:
    """Reads the tables of one note."""

    def __init__(self, text: str, context: Context, vocabulary: Vocabulary) -> None:
        self._text = text
        self._context = context
        self._vocabulary = vocabulary

    def columns(self, line: Line) -> list[Column]:
        """The columns that a line of heads announces; none if the line is no line of heads."""
        cells = cells_of(self._text, line)
        kinds = {token.kind for token in line.tokens}
        label = {token.kind for token in cells[0].tokens}
        if "open" in label and "reflex" in label:
            kinds -= {"value"}
        if not line.tokens or not kinds <= _HEAD_KINDS:
            return []
        columns = [column for cell in cells if (column := self._column(cell, line)) is not None]
        sided = [column for column in columns if column.side in ("left", "right") and not column.targets]
        sited = [column for column in columns if column.targets]
        if (
            {column.side for column in sided} >= {"left", "right"}
            and len(sided) == 2
            or (len(sided) > 2 and any(column.foreign for column in columns))
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


_BODY = re.compile(r"/ ?\|? ?\\|/ +\\|^[ \t]*-+\|-+[ \t]*$")
_STROKE = re.compile(r"(?<!\S)[/\\|oO_()-]+(?!\S)")
_NEAR = 5


def without_drawing(text: str, lines: list[Line]) -> list[Line]:
    """Take the strokes of a drawn figure out of lines near its body, so that its grades stand alone."""
    drawn = [index for index, line in enumerate(lines) if _BODY.search(text[line.start : line.end])]
    cleaned = []
    for index, line in enumerate(lines):
        if not any(abs(index - body) <= _NEAR for body in drawn):
            cleaned.append(line)
            continue
        strokes = [match.span() for match in _STROKE.finditer(text, line.start, line.end)]
        kept = [t for t in line.tokens if not any(low <= t.start < high for low, high in strokes)]
        cleaned.append(Line(line.start, line.end, kept))
    return cleaned


def is_rule(text: str, line: Line) -> bool:
    """Whether a line only draws a rule between heads and rows."""
    drawn = text[line.start : line.end]
    return bool(drawn.strip()) and _RULE_LINE.fullmatch(drawn) is not None


def read_tables(
    text: str, tokens: list[Token], context: Context, vocabulary: Vocabulary
) -> tuple[list[Parser], list[Token]]:
    """Read the tables of a note.

    Returns:
        A parser with drafts for each row read, and the tokens of all other lines.
    """
    reader = TableReader(text, context, vocabulary)
    lines = without_drawing(text, lines_of(text, tokens))
    taken: list[Parser] = []
    left: list[Token] = []
    ends = [token for token in tokens if token.kind == "newline"]
    index = 0
    while index < len(lines):
        columns = reader.columns(lines[index])
        rows, after = _rows(reader, text, lines, index + 1, columns) if columns else ([], index)
        if rows and _about_reflexes(lines[index], rows, columns):
            _mark_heads(lines[index])
            taken += rows
            index = after
            continue
        left += lines[index].tokens
        if index < len(ends):
            left.append(ends[index])
        index += 1
    return taken, left


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
        if row is None:
            break
        rows.append(row)
        index += 1
    return rows, index


def _is_section(line: Line) -> bool:
    """A line inside a table that only says which part of the examination follows."""
    return bool(line.tokens) and all(
        t.kind in ("region", "reflex", "other_exam", "colon", "pipe") for t in line.tokens
    )


def _about_reflexes(head: Line, rows: list[Parser], columns: list[Column]) -> bool:
    """A table of strength looks the same; its head or its grades out of five tell it."""
    if not any(row.drafts for row in rows):
        return False
    foreign_head = any(token.kind == "other_exam" for token in head.tokens)
    mixed = foreign_head and any(token.kind == "reflex" for token in head.tokens)
    return mixed or not foreign_head


def _mark_heads(line: Line) -> None:
    for token in line.tokens:
        token.used = token.used or "header"
