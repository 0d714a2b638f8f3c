"""Reads tables with one reading a row: "Reflex | Side | Grade" as heads, "biceps | R | 2/4" below.

Takes lines; gives a parser with drafts for each row. What stands in columns that say something else, as
remarks, is left to be read as sentences. The words of heads: common practice, no source.
"""

from dataclasses import dataclass, field

from converter.reading.grammar.drafting import draft
from converter.reading.grammar.other_sides import on_side
from converter.reading.grammar.parser import Context, Parser
from converter.reading.grammar.parts import Target
from converter.reading.grammar.phrases import phrase_at
from converter.reading.grammar.target_heads import resolve_side
from converter.reading.grammar.targets import targets_at
from converter.reading.lines import Cell, Line, cells_of, is_rule
from converter.reading.tokens import Token
from converter.reading.written import Written
from converter.words import Vocabulary

_SITES = frozenset({"site", "reflex", "reflexes", "tendon", "jerk", "dtr", "location"})
_SIDES = frozenset({"side", "laterality"})
_GRADES = frozenset({"grade", "value", "result", "finding", "response", "score", "reading"})
_HIGHEST = 4


@dataclass(slots=True)
class RecordTable:
    """A table that was read.

    Attributes:
        after: index of the first line after it.
        rows: a parser with drafts for each row.
        left: tokens of the columns that say something else.
    """

    after: int
    rows: list[Parser] = field(default_factory=list)
    left: list[Token] = field(default_factory=list)


@dataclass(frozen=True, slots=True)
class _Columns:
    site: int
    side: int
    grade: int
    count: int


def record_table_at(
    text: str, lines: list[Line], index: int, context: Context, vocabulary: Vocabulary
) -> RecordTable | None:
    """The table whose heads stand in a line.

    Args:
        text: the note.
        lines: its lines.
        index: the line of the heads.
        context: what the note said before.
        vocabulary: words and reflexes.

    Returns:
        The table; None where there is none, or where a row cannot be read, or where nothing tells reflexes
        from strength.
    """
    columns = _columns(text, lines[index])
    if columns is None:
        return None
    table = RecordTable(index + 1)
    for line in lines[index + 1 :]:
        if not is_rule(text, line):
            cells = cells_of(text, line) if line.tokens else []
            if len(cells) != columns.count:
                break
            row = _row(text, cells, columns, context, vocabulary)
            if row is None:
                return None
            table.rows.append(row)
            taken = (columns.site, columns.side, columns.grade)
            table.left += [t for at, cell in enumerate(cells) if at not in taken for t in cell.tokens]
        table.after += 1
    heads = any(token.kind == "reflex" for token in lines[index].tokens)
    if not table.rows or not (heads or context.reflexes or any(map(_graded_as_reflex, table.rows))):
        return None
    context.reflexes = True
    return table


def _columns(text: str, line: Line) -> _Columns | None:
    said = text[line.start : line.end].lower()
    if not any(word in said for word in _SIDES):  # most lines end here, before their cells are told apart
        return None
    cells = cells_of(text, line)
    heads = [text[cell.start : cell.end].strip(" *_:\t").lower() for cell in cells]
    found = [[at for at, word in enumerate(heads) if word in words] for words in (_SITES, _SIDES, _GRADES)]
    if any(len(each) != 1 for each in found):
        return None
    (site,), (side,), (grade,) = found
    return _Columns(site, side, grade, len(cells))


def _row(
    text: str, cells: list[Cell], columns: _Columns, context: Context, vocabulary: Vocabulary
) -> Parser | None:
    site, side, grade = (cells[at].tokens for at in (columns.site, columns.side, columns.grade))
    if not site or not grade or len(side) > 1 or any(token.kind != "side" for token in side):
        return None
    tokens = [*side, *site, *grade]
    parser = Parser(text, tokens, Context(reflexes=True, pair_order=context.pair_order), vocabulary)
    targets, end = targets_at(parser, len(side), after_value=False)
    found = phrase_at(parser, end)
    named = len(targets) == 1 and targets[0].specific and not targets[0].foreign
    if not named or end != len(side) + len(site) or found is None or found[1] != len(tokens):
        return None
    target = _sided(parser, targets[0], side)
    return parser if draft(parser, [target], found[0]) else None


def _sided(parser: Parser, target: Target, side: list[Token]) -> Target:
    if not side:
        return target
    sided = on_side(target, resolve_side(parser, side[0]))
    sided.used = [(side[0], "side"), *sided.used]
    return sided


def _graded_as_reflex(row: Parser) -> bool:
    said = [token.written for token in row.tokens if isinstance(token.written, Written)]
    return any(
        (each.plus == "trailing" and (each.low or 0) <= _HIGHEST) or each.denominator == _HIGHEST
        for each in said
    )
