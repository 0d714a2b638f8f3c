"""Gives each cell of a row its column, by order, by tabs, or by the place in the line.

Takes a row with its cells and the heads of its table; gives pairs of column and cell, or nothing where a cell
cannot be given to one column.
"""

from dataclasses import replace
from itertools import pairwise, takewhile

from converter.reading.grammar.parser import VALUES
from converter.reading.layouts.head_columns import Column, Heads
from converter.reading.lines import Cell, Line
from converter.reading.tokens import Token
from converter.reading.written import Count, Pair, Run, Written

_MARKS = frozenset({"pipe", "stop"})
_NEAR = 4
"""Characters between a head and a value under it."""


def aligned(line: Line, cells: list[Cell], heads: Heads, text: str) -> list[tuple[Column, Cell]] | None:
    """Each cell with its column; None where two cells would share one that matters, or one stands under none.

    In order where there are as many cells as columns, or marks between them; else one for each value written,
    if there are as many of those; else by the tabs before it, or by its place in the line.
    """
    columns = heads.values
    mark = "," if heads.parting == "comma" else "|"
    if mark in text[line.start : line.end] or heads.parting in _MARKS or len(cells) == len(columns):
        return list(zip(columns, cells, strict=False))
    apart = parted_values(cells, len(columns))
    sided = list(takewhile(lambda column: column.side is not None, columns))
    if len(apart) == len(columns) or (len(cells) == 1 and len(apart) == len(sided) > 1):
        return list(zip(columns, apart, strict=False))  # what stands behind the last value is said of it
    if "\t" in text[line.start : line.end]:
        return _by_tabs(line, cells, heads, text)
    pairs = []
    for cell in cells:
        if len(columns) > 1 and _holds_several(cell):
            return None
        near = min(
            columns, key=lambda column: (gap(column, cell, line), abs(column.offset - _offset(cell, line)))
        )
        if gap(near, cell, line) > _NEAR and not near.foreign:
            return None
        pairs.append((near, cell))
    taken = [id(column) for column, _ in pairs if not column.foreign]
    return pairs if len(taken) == len(set(taken)) else None


def _by_tabs(line: Line, cells: list[Cell], heads: Heads, text: str) -> list[tuple[Column, Cell]] | None:
    """As in a row of a sheet: a cell left empty leaves its tab."""
    columns = heads.values
    if text.count("\t", line.start, line.end) != max(heads.labels, 1) + len(columns) - 1:
        return None
    places = [text.count("\t", line.start, cell.start) - max(heads.labels, 1) for cell in cells]
    if any(place < 0 for place in places):
        return None
    return [(columns[place], cell) for place, cell in zip(places, cells, strict=True)]


def _holds_several(cell: Cell) -> bool:
    """Whether a cell holds grades side by side, which are of several columns."""
    values = [isinstance(t.written, Written) and t.written.graded for t in cell.tokens]
    return any(map(all, pairwise(values)))


def _offset(cell: Cell, line: Line) -> int:
    return cell.start - line.start


def gap(column: Column, cell: Cell, line: Line) -> int:
    """Characters between a head and a cell; none where one stands over the other."""
    start, end = cell.start - line.start, cell.end - line.start
    return max(0, start - column.end, column.offset - end)


def parted_values(cells: list[Cell], columns: int) -> list[Cell]:
    """The cells of a row whose values, or whose signs, stand one blank apart."""
    marks = _mark_by_mark(cells)
    return marks if len(marks) == columns else _value_by_value(cells)


def _value_by_value(cells: list[Cell]) -> list[Cell]:
    """The cells of a row whose values stand one blank apart: "Biceps 2+ 1+"."""
    groups: list[list[Token]] = []
    for token in (token for cell in cells for token in cell.tokens):
        if token.kind in VALUES | {"untested"} and not _same_value(groups, token):
            groups.append([token])
        elif not groups:
            return []
        else:
            groups[-1].append(token)
    return [Cell(group[0].start, group[-1].end, group) for group in groups]


def _mark_by_mark(cells: list[Cell]) -> list[Cell]:
    """The cells of a row of signs one blank apart: "+ ++ - 0", "++ + ↓"; none where more is said."""
    tokens = [part for cell in cells for token in cell.tokens for part in _signs_apart(token)]
    signs = any(t.kind == "dash" or getattr(t.written, "counted", False) for t in tokens)
    if not signs or not all(token.kind in VALUES | {"dash", "untested"} for token in tokens):
        return []
    return [Cell(token.start, token.end, [token]) for token in tokens]


def _signs_apart(token: Token) -> list[Token]:
    """In a row of signs "+ 0" is two of them, and no grade that leads with its plus."""
    written = token.written
    length = token.end - token.start
    if not isinstance(written, Written) or written.plus != "leading" or length != len("+ 0"):
        return [token]
    plus = Written(low=1.0, high=1.0, counted=True, polarity="positive")
    digit = replace(written, plus="none", bare=True)
    return [
        replace(token, end=token.start + 1, written=plus),
        replace(token, start=token.end - 1, written=digit),
    ]


def _same_value(groups: list[list[Token]], token: Token) -> bool:
    """A word beside a grade belongs to it, "3+ brisk"; a second of its kind does not, "flexor extensor"."""
    written = token.written
    if getattr(written, "polarity", None) is not None and token.end - token.start == 1:
        return False  # "+ -"
    graded = isinstance(written, Pair) or (isinstance(written, Written) and written.graded)
    if not groups or graded or token.kind != "value" or len(groups[-1]) != 1:
        return False
    return not _of_one_kind(groups[-1][0].written, written)


def _of_one_kind(
    first: Written | Pair | Count | Run | None, second: Written | Pair | Count | Run | None
) -> bool:
    """Whether two words cannot be one value: two movements of the toes, or two strengths."""
    if not (isinstance(first, Written) and isinstance(second, Written)) or first.graded:
        return False
    strengths = first.descriptor is not None and second.descriptor is not None
    moves = first.response is not None and second.response is not None
    return moves or (strengths and not (first.weak or second.weak))


def is_mirrored(line: Line, columns: list[Column]) -> bool:
    """Whether a name stands between two values, under a column for each side: "2+ BJ 1+"."""
    sided = sorted(str(column.side) for column in columns) == ["left", "right"]
    kinds = [token.kind for token in line.tokens]
    named = len(kinds) == 3 and kinds[1] == "site"
    return sided and named and {kinds[0], kinds[2]} <= VALUES | {"untested"}
