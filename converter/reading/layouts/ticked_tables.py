"""Reads tables in which a mark stands under the value: "Absent | Present | Brisk" as heads, a tick a row.

Takes lines; gives a parser with drafts for each row. The letters of the sides may be the marks. A row whose
marks do not tell one value for each side is listed as unread. The marks: common practice, no source.
"""

import re
from dataclasses import dataclass, field, replace

from converter.model import Unread
from converter.reading.grammar.drafting import draft
from converter.reading.grammar.other_sides import on_side
from converter.reading.grammar.parser import Context, Parser
from converter.reading.grammar.parts import Target
from converter.reading.grammar.phrases import phrase_at
from converter.reading.grammar.targets import targets_at
from converter.reading.grammar.untested import not_tested
from converter.reading.lines import Line, is_rule, pieces_of
from converter.reading.tokens import Token
from converter.words import Vocabulary

_PARTED = re.compile(r"\t|[ \u00a0]{2,}|\|")
_TICK = re.compile(r"\[?\(?[x✓✔√☑☒●■✅*]\)?\]?", re.IGNORECASE)
_EMPTY = re.compile(r"[-–—.☐□_ ]*|\[[ _]*\]|\([ _]*\)")
_SIDES = {"r": "right", "rt": "right", "right": "right", "l": "left", "lt": "left", "left": "left"}
_BOTH = frozenset(
    {"rl", "lr", "r l", "l r", "r/l", "l/r", "r+l", "r & l", "r, l", "r,l", "both", "bilat", "b", "b/l"}
)
_NEAR = 4
"""Characters between a head and a mark under it."""
_LINES_ABOVE = 2
_SPEAKS = frozenset({"trigger", "sign", "plantars"})
_MARKS = frozenset({"pipe", "colon"})
_FEWEST = 2

Piece = tuple[int, int]
_Mark = tuple[int, str, Piece]
"""The column of a mark, the side that it says or nothing, and where it stands."""


@dataclass(slots=True)
class TickedTable:
    """A table that was read.

    Attributes:
        after: index of the first line after it.
        rows: a parser with drafts for each row.
        unread: rows whose marks do not tell one value.
    """

    after: int
    rows: list[Parser] = field(default_factory=list)
    unread: list[Unread] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Heads:
    """The values of the columns, and the one reflex that the first head may name for all rows."""

    line: Line
    values: list[Piece]
    label: Piece | None


def ticked_table_at(
    text: str, lines: list[Line], index: int, context: Context, vocabulary: Vocabulary
) -> TickedTable | None:
    """The table whose heads stand in a line; None where there is none, or nothing tells reflexes."""
    heads = _heads(text, lines[index])
    if heads is None:
        return None
    table = TickedTable(index + 1)
    named = False
    for line in lines[index + 1 :]:
        if not line.tokens:
            break
        if not is_rule(text, line):
            name = _name_of_row(text, line, heads, vocabulary)
            marks = _marks(text, line, heads)
            if marks is None or (name is None and not marks):
                break
            named = named or name is not None
            _read_row(text, vocabulary, line, name, marks, heads, table)
        table.after += 1
    about = lines[index : table.after]
    above = lines[max(0, index - _LINES_ABOVE) : index]
    speaks = any(t.kind == "reflex" or t.flags & _SPEAKS for line in [*above, *about] for t in line.tokens)
    if not named or not (speaks or context.reflexes):
        return None
    if not (table.rows or table.unread):
        table.unread += [
            _unread(text, [t], "no-value") for line in about for t in line.tokens if "trigger" in t.flags
        ]
    for token in heads.line.tokens:
        token.used = token.used or "header"
    context.reflexes = True
    return table


def _unread(text: str, tokens: list[Token], why: str) -> Unread:
    start, end = tokens[0].start, tokens[-1].end
    return Unread(start=start, end=end, text=text[start:end], why=why)


def _heads(text: str, line: Line) -> _Heads | None:
    """The values that stand as heads of columns, behind the head of the names."""
    if sum(token.kind in ("value", "untested") for token in line.tokens) < _FEWEST:
        return None
    pieces = list(pieces_of(text, line, _PARTED))
    cells = [[t for t in line.tokens if low <= t.start < high and t.kind != "pipe"] for low, high in pieces]
    valued = [
        bool(cell) and all(t.kind in ("value", "untested", "open", "close") for t in cell) for cell in cells
    ]
    first = valued.index(True) if True in valued else 0
    if first > 1 or not all(valued[first:]) or len(valued) - first < _FEWEST:
        return None
    return _Heads(line, pieces[first:], pieces[0] if first else None)


def _name_of_row(text: str, line: Line, heads: _Heads, vocabulary: Vocabulary) -> Target | None:
    """The reflex that a row names, with its side where it says one; a side alone is of the first head's."""
    first = next(pieces_of(text, line, _PARTED), None)
    tokens = _inside(line, first)
    about = _named(text, _inside(heads.line, heads.label), vocabulary)
    if [token.kind for token in tokens] == ["side"] and about is not None:
        sided = on_side(about, tokens[0].meaning)
        sided.used = [*sided.used, (tokens[0], "side")]
        return sided
    return _named(text, tokens, vocabulary)


def _inside(line: Line, piece: Piece | None) -> list[Token]:
    return [t for t in line.tokens if piece and piece[0] <= t.start < piece[1] and t.kind not in _MARKS]


def _named(text: str, tokens: list[Token], vocabulary: Vocabulary) -> Target | None:
    """The one reflex that tokens name, and nothing else."""
    parser = Parser(text, tokens, Context(reflexes=True), vocabulary)
    targets, end = targets_at(parser, 0, after_value=False)
    if len(targets) != 1 or end != len(tokens) or targets[0].foreign or targets[0].general:
        return None
    return targets[0]


def _marks(text: str, line: Line, heads: _Heads) -> list[_Mark] | None:
    """The column and the meaning of each mark of a row; None where a cell holds something else."""
    found: list[_Mark] = []
    for piece in list(pieces_of(text, line, _PARTED))[1:]:
        said = text[piece[0] : piece[1]].strip("*_ ").lower() or text[piece[0] : piece[1]]
        if _EMPTY.fullmatch(said):
            continue
        side = "both" if said in _BOTH else _SIDES.get(said)
        if side is None and not _TICK.fullmatch(said):
            return None
        column = _column(text, line, heads, piece)
        if column is None:
            return None
        found.append((column, side or "", piece))
    return found


def _column(text: str, line: Line, heads: _Heads, piece: Piece) -> int | None:
    """The column of a mark: by the pipes or tabs before it, else by its place in the line."""
    for part in ("|", "\t"):
        if text.count(part, heads.line.start, heads.line.end):
            before = [text.count(part, heads.line.start, low) for low, _ in heads.values]
            own = text.count(part, line.start, piece[0])
            return before.index(own) if own in before else None
    low, high = piece[0] - line.start, piece[1] - line.start
    gaps = [max(0, low - (e - heads.line.start), s - heads.line.start - high) for s, e in heads.values]
    nearest = gaps.index(min(gaps))
    return nearest if gaps[nearest] <= _NEAR and gaps.count(gaps[nearest]) == 1 else None


def _read_row(
    text: str,
    vocabulary: Vocabulary,
    line: Line,
    name: Target | None,
    marks: list[_Mark],
    heads: _Heads,
    table: TickedTable,
) -> None:
    for token in line.tokens:
        token.used = token.used or "header"
    sides = [side for _, side, _ in marks]
    both = "both" in sides or "" in sides
    clear = len(set(sides)) == len(sides) and not (both and len(sides) > 1)
    given = [_given(text, vocabulary, name, heads, mark) for mark in marks] if clear and name else []
    table.rows += [parser for parser in given if parser is not None]
    if marks and (not given or None in given):
        why = "no-site" if name is None else "ambiguous-layout"
        table.unread.append(_unread(text, line.tokens, why))


def _given(text: str, vocabulary: Vocabulary, name: Target, heads: _Heads, mark: _Mark) -> Parser | None:
    """A row as its mark gives it: the value of the head, of the side that the mark or the name says."""
    column, side, place = mark
    low, high = heads.values[column]
    value = [
        replace(t) for t in heads.line.tokens if low <= t.start < high and t.kind not in ("pipe", "colon")
    ]
    parser = Parser(text, value, Context(reflexes=True), vocabulary)
    sided = on_side(name, side) if side else replace(name)
    sided.used = [*sided.used, (Token("other_mark", *place), "side" if side else "detail")]
    if parser.kind(0) == "untested":
        not_tested(parser, [sided], 0)
    elif (found := phrase_at(parser, 0)) is not None and found[1] == len(value):
        draft(parser, [sided], found[0])
    return parser if parser.drafts else None
