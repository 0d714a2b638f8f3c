"""Reads what names a row of a table: its cells joined or parted, the roots before a name, the time it says.

Takes cells; gives cells or tokens. What the values mean is left to `table_rows`.
"""

from converter.reading.grammar.parser import VALUES
from converter.reading.layouts.head_columns import Heads
from converter.reading.lines import Cell
from converter.reading.tokens import Token

_ROW_LABELS = frozenset({"side", "colon", "reflex"})
_BETWEEN_ROOTS = frozenset({"dash", "slash", "comma", "value", "other", "and", "open", "close"})
_FILLS_A_CELL = VALUES | {"untested", "dash", "no", "other_mark", "reason"}


def begins_with_value(cell: Cell) -> bool:
    """Whether a cell can be a value of a table."""
    return bool(cell.tokens) and cell.tokens[0].kind in _FILLS_A_CELL


def behind_roots(tokens: list[Token]) -> list[Token]:
    """As in "C5-6 biceps": the name of a row without the roots before it, which only explain it."""
    named = next((i for i, t in enumerate(tokens) if t.kind == "site" and "root" not in t.flags), 0)
    roots = any("root" in token.flags for token in tokens[:named])
    only = all("root" in t.flags or t.kind in _BETWEEN_ROOTS for t in tokens[:named])
    return tokens[named:] if roots and only else tokens


def joined_names(cells: list[Cell]) -> list[Cell]:
    """As in "BJ  2+    BJ  1+": a gap stands between each name and its value."""
    names, values = cells[::2], cells[1::2]
    apart = len(names) == len(values) and all([t.kind for t in cell.tokens] == ["site"] for cell in names)
    if not apart or not all(begins_with_value(cell) for cell in values):
        return cells
    return [
        Cell(name.start, value.end, [*name.tokens, *value.tokens])
        for name, value in zip(names, values, strict=True)
    ]


def names_itself(cell: Cell) -> bool:
    """Whether a cell holds the name of a reflex and its value."""
    return [token.kind for token in cell.tokens[:1]] == ["site"] and len(cell.tokens) > 1


def split_side(cells: list[Cell]) -> list[Cell]:
    """A side may stand one blank before its first value: "R: 2+ 2+ 1+"."""
    tokens = cells[0].tokens
    end = next((i for i, token in enumerate(tokens) if token.kind not in _ROW_LABELS), 0)
    signs = any(getattr(token.written, "counted", False) for token in tokens[end:])
    if not end or not (tokens[end].kind in VALUES or (tokens[end].kind == "dash" and signs)):
        return cells
    side, rest = tokens[:end], tokens[end:]
    return [Cell(cells[0].start, side[-1].end, side), Cell(rest[0].start, cells[0].end, rest), *cells[1:]]


def says_only(tokens: list[Token], *kinds: str) -> bool:
    """Whether tokens are of some kinds alone, a colon aside."""
    return all(token.kind in {*kinds, "colon"} for token in tokens)


def time_of(cell: Cell) -> Token | None:
    """The time that the name of a row says, as a word for the past."""
    time = next((token for token in cell.tokens if token.kind == "time"), None)
    return Token("past", time.start, time.end) if time is not None else None


def labels_of(cells: list[Cell], heads: Heads, place: int) -> int:
    """How many cells of a row stand before its values."""
    whole = len(cells) == heads.labels + len(heads.values)
    return heads.labels if heads.labels and whole else place + 1


def without_order(tokens: list[Token]) -> list[Token]:
    """As in "Knee R/L": the name of a row without the order of the sides in its cells."""
    if not any(token.kind == "side_ref" for token in tokens):
        return tokens
    return [token for token in tokens if token.kind not in ("side_ref", "open", "close")]
