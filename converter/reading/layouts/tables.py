"""Finds the tables of reflexes in a note: sides in columns, or reflexes in columns and sides in rows.

Takes lines; gives a parser with drafts for each row. A table has heads and lines of cells under them; a table
of strength looks the same and is left alone. Heads are read by `table_heads`, rows by `table_rows`.
"""

from dataclasses import dataclass, field, replace
from itertools import pairwise

from converter.model import Unread
from converter.reading.grammar.parser import VALUES, Context, Parser
from converter.reading.layouts.cell_words import CellWordReader
from converter.reading.layouts.head_columns import Heads
from converter.reading.layouts.side_by_side import has_loose_pipes, tables_beside, without_loose_pipes
from converter.reading.layouts.table_cells import place_in_time
from converter.reading.layouts.table_heads import HEAD_KINDS, HeadReader, head_kinds
from converter.reading.layouts.table_row_names import begins_with_value
from converter.reading.layouts.table_rows import MIDLINE, Row, RowReader
from converter.reading.lines import Cell, Line, cells_of, is_rule
from converter.reading.tokens import Token
from converter.reading.written import Pair, Written
from converter.words import Vocabulary

_NEAR = 3
_TWO_TABLES = 4
"""Sides in the heads of two tables beside one another."""
_LONGEST_TABLE = 60
_LONGEST_HEADING = 5
_HIGHEST, _LOW = 4, 3
_UNKNOWN = frozenset({"other", "comma", "dash", "slash", "open", "close", "colon", "other_mark"})


@dataclass(frozen=True, slots=True)
class Table:
    """A table that was read.

    Attributes:
        rows: a parser with drafts for each row.
        start: place of its heads in the note.
        after: index of the first line after it.
        unread: rows whose values could not be given to one column.
        apart: indices of the lines among its rows that are sentences.
        left: the tokens of a table beside it that is none of reflexes.
        read: something was read, even if only of another part of the examination.
    """

    rows: list[Parser]
    start: int
    after: int
    unread: list[Unread]
    apart: list[int] = field(default_factory=list)
    left: list[Token] = field(default_factory=list)
    read: bool = False


@dataclass(slots=True)
class _Block:
    """The rows under one line of heads or one section of a table, while they are read.

    Attributes:
        headed: its heads speak of reflexes.
        foreign: its heads speak of another part of the examination.
        rows: what was read.
        silent: its heads are of no kind that a table of reflexes must have, so its rows have to name one.
        motor: a row names a muscle whose strength alone is graded.
        unread: rows that could not be read.
    """

    headed: bool
    foreign: bool
    silent: bool = False
    rows: list[Row] = field(default_factory=list)
    motor: bool = False
    unread: list[Unread] = field(default_factory=list)

    def settled(self) -> list[Row]:
        """The rows about reflexes: where strength may be graded, only those that name a reflex as such."""
        named = any(_names_reflex(row.parser) for row in self.rows) or _graded_as_reflexes(self.rows)
        if not self.headed and ((self.silent and not named) or all(map(_in_the_middle, self.rows))):
            return []
        if self.foreign or (not self.headed and (self.motor or any(map(_grades_five, self.rows)))):
            jerks = sum(_is_about_reflexes(row.parser) for row in self.rows) > 1
            return [
                row for row in self.rows if _is_about_reflexes(row.parser) or (jerks and _has_pluses(row))
            ]
        return self.rows


_BEFORE_VALUES = frozenset({"side", "colon", "is", "dash", "equals"})


class TableReader:
    """Reads the tables of one note."""

    def __init__(self, text: str, context: Context, vocabulary: Vocabulary, lines: list[Line]) -> None:
        self._text, self._context, self._vocabulary = text, context, vocabulary
        self._lines = lines
        self._heads = HeadReader(text, context, vocabulary)
        self._rows = RowReader(text, context, vocabulary, _footnotes(text, lines))
        self._times = CellWordReader(text, vocabulary).times

    def table_at(self, index: int) -> Table | None:
        """The table whose heads stand in a line, if one does and if it is about reflexes."""
        if sum(token.kind == "side" for token in self._lines[index].tokens) >= _TWO_TABLES:
            beside = tables_beside(self._text, self._lines, index)
            if beside:
                return self._beside(index, beside)
        return self._one_table(index) or self._without_pipes(index)

    def _beside(self, index: int, beside: list[list[Line]]) -> Table | None:
        """Two tables beside one another, each read by itself; what is no table is left to the sentences."""
        whole = Table([], self._lines[index].tokens[0].start, index + 1, [])
        for lines in beside:
            reader = TableReader(self._text, self._context, self._vocabulary, [*self._lines[:index], *lines])
            table = reader.table_at(index)
            if table is not None:
                whole.rows.extend(table.rows)
                whole.unread.extend(table.unread)
                whole = replace(whole, read=True)
            read = range(index, table.after) if table is not None else range(0)
            for at, line in enumerate(lines, index):
                if line.tokens and (at not in read or at in (table.apart if table is not None else ())):
                    stop = Token("stop", line.end - 1, line.end)
                    whole.left.extend([*line.tokens, stop])
        return replace(whole, after=index + len(beside[0])) if whole.read else None

    def _without_pipes(self, index: int) -> Table | None:
        """A table whose pipes only part groups of columns: "R  L  |  R  L"."""
        if not has_loose_pipes(self._lines[index : index + 2]):
            return None
        reader = TableReader(self._text, self._context, self._vocabulary, without_loose_pipes(self._lines))
        return reader._one_table(index)

    def _one_table(self, index: int) -> Table | None:
        heads = self._heads.heads(self._lines, index)
        if heads is None or (heads.only_order and _names_several(self._lines[index + 1 : index + 2])):
            return None
        first = self._lines[index : index + heads.lines]
        above = self._lines[max(0, index - _NEAR) : index + heads.lines]
        self._rows.use_table(_pair_order(above), self._block(index + heads.lines), above)
        table = self._table(index, heads)
        if not table.read:
            return None
        for line in first:
            _mark_heads(line)
        return table

    def _block(self, index: int) -> list[Line]:
        """The lines from an index to the next empty one."""
        end = index
        while end < len(self._lines) and self._lines[end].tokens and end - index < _LONGEST_TABLE:
            end += 1
        return self._lines[index:end]

    def _table(self, index: int, heads: Heads) -> Table:
        table = Table([], self._lines[index].tokens[0].start, index + heads.lines, [])
        block = self._first_block(index, heads)
        after, apart = index + heads.lines, None
        while after < len(self._lines):
            line = self._lines[after]
            cells = len(cells_of(self._text, line, heads.parting)) if line.tokens else 0
            again = self._heads.one_line(line) if cells > 1 and (block.rows or table.read) else None
            if again is not None or _is_section(line):
                table = self._settled(block, table)
                block, heads = _begun(line, block), again or heads
                _mark_heads(line)
            elif not (is_rule(self._text, line) or self._row(line, heads, block)):
                title = cells == 1 and not any(token.kind in VALUES for token in line.tokens)
                if apart is not None or cells == 0 or not (block.rows or title):
                    break
                apart, after = after, after + 1
                continue
            if apart is not None:
                table.apart.append(apart)
                apart = None
            after += 1
        return replace(self._settled(block, table), after=apart if apart is not None else after)

    def _first_block(self, index: int, heads: Heads) -> _Block:
        tokens = [token for line in self._lines[index : index + heads.lines] for token in line.tokens]
        silent = any(c.time is not None for c in heads.values) or not head_kinds(tokens) <= HEAD_KINDS
        above = next(
            (line for line in reversed(self._lines[max(0, index - _NEAR) : index]) if line.tokens), None
        )
        if _speaks(tokens) or _is_foreign(tokens) or above is None:
            return _Block(_speaks(tokens), _is_foreign(tokens), silent)
        alone = len(above.tokens) <= _LONGEST_HEADING and not any(t.kind in VALUES for t in above.tokens)
        return _Block(_speaks(above.tokens), _is_foreign(above.tokens) and alone, silent)

    def _settled(self, block: _Block, table: Table) -> Table:
        """The table with the rows of a block."""
        rows = block.settled()
        if rows or block.headed:
            table.unread.extend(block.unread)
        table.unread.extend(
            self._unread(row.parser.tokens, "ambiguous-layout")
            for row in block.rows
            if row not in rows and not block.foreign and not block.silent and _grades_low(row)
        )
        timed = [row for row in rows if row.time is not None]
        said = [self._text[row.time.start : row.time.end] for row in timed if row.time is not None]
        for row, standing in zip(timed, self._times.standing(said), strict=True):
            if row.time is not None:
                place_in_time(row.parser.drafts, row.time, standing)
        table.rows.extend(row.parser for row in rows)
        return replace(table, read=table.read or any(row.parser.drafts for row in block.rows))

    def _row(self, line: Line, heads: Heads, block: _Block) -> bool:
        alone = len(cells_of(self._text, line, heads.parting)) < 2
        if alone and ((block.foreign and _names_reflex(line)) or _names_several([line])):
            return False
        row = self._rows.row(line, heads) if line.tokens else None
        if row is None:
            return _names_only(line) or self._strange_row(line, heads, block)
        if row.apart:
            return False
        if row.unclear:
            block.unread.append(self._unread(line.tokens, "ambiguous-layout"))
            _mark_heads(line)
        else:
            block.rows.append(row)
            block.unread.extend(self._unread(cell.tokens, "no-site") for cell in row.strange)
            if not row.parser.drafts and any("trigger" in t.flags and "sign" in t.flags for t in line.tokens):
                block.unread.append(self._unread(line.tokens, "no-value"))
        return True

    def _strange_row(self, line: Line, heads: Heads, block: _Block) -> bool:
        """A row of another part of the examination is passed over; one whose name is not known is listed."""
        cells = cells_of(self._text, line, heads.parting) if line.tokens else []
        name, rest = _parted_name(cells)
        if not name or _names_reflex(line):
            return False
        if block.foreign and len(cells) > 1:
            return True
        foreign = any(token.kind in ("other_exam", "look_alike") for token in name)
        valued = all(begins_with_value(cell) for cell in rest if cell.tokens)
        unknown = not foreign and all(token.kind in _UNKNOWN for token in name)
        if not (foreign or unknown) or not (valued or len(rest) == len(heads.values)):
            return self._unclear_row(line, block, lost=valued and len(cells) > len(heads.values))
        block.motor = block.motor or any(token.meaning == "motor" for token in name)
        if unknown and valued:
            block.unread.append(self._unread(line.tokens, "no-site"))
        _mark_heads(line)
        return True

    def _unclear_row(self, line: Line, block: _Block, *, lost: bool) -> bool:
        """A full row of values under heads of reflexes, whose name cannot be read, is listed."""
        if lost and block.headed:
            block.unread.append(self._unread(line.tokens, "ambiguous-layout"))
            _mark_heads(line)
        return lost and block.headed

    def _unread(self, tokens: list[Token], why: str) -> Unread:
        start, end = tokens[0].start, tokens[-1].end
        return Unread(start=start, end=end, text=self._text[start:end], why=why)


def _begun(line: Line, before: _Block) -> _Block:
    """The block that a line begins; a line that does not say what it is about goes on with the same."""
    if not _is_foreign(line.tokens) and not _speaks(line.tokens):
        return _Block(before.headed, before.foreign, before.silent)
    return _Block(_speaks(line.tokens), _is_foreign(line.tokens))


def _names_reflex(read: Line | Parser) -> bool:
    """Whether a line names a reflex as such."""
    return any("trigger" in token.flags for token in read.tokens)


def _is_about_reflexes(read: Parser) -> bool:
    """Whether a row names a reflex as such, or what only reflexes are asked of."""
    asked = {"trigger", "sign", "plantars", "toes"}
    return any(token.kind == "reflex" or token.flags & asked for token in read.tokens)


def _graded_as_reflexes(rows: list[Row]) -> bool:
    """As in rows "R triceps 0 1+" and "L triceps 1+ 2+": a tendon graded with a plus."""
    plus = [row for row in rows if _grades_low(row)]
    targets = [draft.target for row in plus for draft in row.parser.drafts]
    tendons = [each for each in targets if "joint" in each.flags and "place" not in each.flags]
    return len(plus) > 1 and bool(tendons) and not any(map(_grades_five, rows))


def _in_the_middle(row: Row) -> bool:
    """Whether a row is only of a reflex without sides, which alone under sides shows no table of reflexes."""
    return all(draft.target.site in MIDLINE for draft in row.parser.drafts)


def _has_pluses(row: Row) -> bool:
    """Whether a row is graded as its neighbours, which are reflexes: "SJ ++ +++" between "BJ" and "KJ"."""
    said = _written(row)
    short = any({"joint", "short"} <= token.flags for token in row.parser.tokens)
    return (
        short
        and bool(said)
        and all(each.counted or (each.plus == "trailing" and (each.low or 0) < _LOW) for each in said)
    )


def _grades_five(row: Row) -> bool:
    """Whether a row holds a grade above those of reflexes."""
    return any(each.low is not None and each.low > _HIGHEST for each in _written(row))


def _grades_low(row: Row) -> bool:
    """Whether a row holds a grade that strength seldom has: "2+"."""
    return any(each.low is not None and each.low < _LOW and each.plus == "trailing" for each in _written(row))


def _written(row: Row) -> list[Written]:
    """The values of a row, those of pairs one by one."""
    said: list[Written] = []
    for written in (token.written for token in row.parser.tokens):
        said += [written.first, written.second] if isinstance(written, Pair) else []
        said += [written] if isinstance(written, Written) else []
    return said


def _parted_name(cells: list[Cell]) -> tuple[list[Token], list[Cell]]:
    """The words that name a row, and its cells; a value may stand one blank behind the name."""
    if not cells:
        return [], []
    tokens = cells[0].tokens
    end = next((i for i, token in enumerate(tokens) if token.kind in VALUES), len(tokens))
    own = [Cell(tokens[end].start, cells[0].end, tokens[end:])] if 0 < end < len(tokens) else []
    rest = [*own, *cells[1:]]
    return (tokens[:end], rest) if rest else ([], [])


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


def _names_several(lines: list[Line]) -> bool:
    """As in "BJ 2/2  TJ 2/1" below "(R/L)": lines that name each value themselves are no rows."""
    said = [token for line in lines for token in line.tokens if token.kind not in _BEFORE_VALUES]
    names = [name for name, value in pairwise(said) if name.kind == "site" and value.kind in VALUES]
    return len(names) > 1


def _names_only(line: Line) -> bool:
    """A row whose cells were left empty."""
    return bool(line.tokens) and all(t.kind in ("site", "pipe") for t in line.tokens)


def _is_section(line: Line) -> bool:
    """A line inside a table that only says which part of the examination follows."""
    return bool(line.tokens) and all(
        t.kind in ("region", "reflex", "other_exam", "colon", "pipe") for t in line.tokens
    )


def _speaks(tokens: list[Token]) -> bool:
    return any(token.kind == "reflex" or "trigger" in token.flags for token in tokens)


def _is_foreign(heads: list[Token]) -> bool:
    """A table of strength looks the same; its heads tell it."""
    return not _speaks(heads) and any(token.kind == "other_exam" for token in heads)


def _mark_heads(line: Line) -> None:
    for token in line.tokens:
        token.used = token.used or "header"
