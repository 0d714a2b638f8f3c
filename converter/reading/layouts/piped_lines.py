"""Reads a line whose pipes or gaps only part what would stand beside one another: "Biceps | R 2+ | L 1+".

Takes the tokens of a line that is no row of a table; gives them with commas for the pipes between its values,
and without those behind its names. Where a cell holds a value alone its column had a head, so the line stays.
A wide gap before another part of the examination, as in "KJ present   RR 18", is a comma as well.
"""

import re

from converter.reading.grammar.parser import VALUES
from converter.reading.lines import Line
from converter.reading.tokens import Token

_LINES_ABOVE = 2
_LONGEST = 60
"""Lines of a table."""
_SAYS = VALUES | {"untested"}
_OTHERS = frozenset({"other_exam", "look_alike"})
_GAP = re.compile(r"\t|[ \u00a0]{2}")
_NAMES = frozenset({"site", "reflex", "region", "side", "side_ref", "close", "colon", "legend"})


def parted(text: str, lines: list[Line], index: int) -> list[Token]:
    """The tokens of a line with commas for the pipes and gaps that only part what it says."""
    tokens = _without_pipes(lines, index)
    told: list[Token] = []
    for token in tokens:
        before = told[-1] if told and token.kind in _OTHERS else None
        if (
            before is not None
            and before.kind in _SAYS | {"side"}
            and _GAP.search(text, before.end, token.start)
        ):
            told.append(Token("comma", before.end, before.end))
        told.append(token)
    return told


def _without_pipes(lines: list[Line], index: int) -> list[Token]:
    """The tokens of a line; its pipes are commas where each of its values tells its name or its side."""
    tokens = lines[index].tokens
    if not _has_pipe(lines[index]) or not _tells_itself(tokens) or _under_other_heads(lines, index):
        return tokens
    told: list[Token] = []
    cell = 0
    for index, token in enumerate(tokens):
        if token.kind != "pipe":
            told.append(token)
            continue
        if told[cell:] and index + 1 < len(tokens) and not _leads_on(told[cell:]):
            told.append(Token("comma", token.start, token.end))
        cell = len(told)
    return told


def _leads_on(cell: list[Token]) -> bool:
    """Whether a cell only names what the next one says; the side of "2+ R | knee" belongs to its value."""
    return cell[-1].kind in _NAMES and (cell[-1].kind != "side" or all(t.kind in _NAMES for t in cell))


def _has_pipe(line: Line) -> bool:
    return any(token.kind == "pipe" for token in line.tokens)


def _under_other_heads(lines: list[Line], index: int) -> bool:
    """Whether the first line between pipes is one of heads that do not speak of reflexes: "Muscle | Tone"."""
    first = index
    while first and index - first < _LONGEST and _has_pipe(lines[first - 1]):
        first -= 1
    if first == index or any(token.kind in _SAYS for token in lines[first].tokens):
        return False
    heads = [token for line in lines[max(0, first - _LINES_ABOVE) : first + 1] for token in line.tokens]
    other = any(token.kind == "other_exam" for token in lines[first].tokens)
    return other or not any(token.kind in ("reflex", "legend") or "trigger" in token.flags for token in heads)


def _tells_itself(tokens: list[Token]) -> bool:
    cells: list[list[Token]] = [[]]
    for token in tokens:
        if token.kind == "pipe":
            cells.append([])
        else:
            cells[-1].append(token)
    stops = [index for index, token in enumerate(cells[0]) if token.kind == "stop"]
    cells[0] = cells[0][stops[-1] + 1 :] if stops else cells[0]  # what other sentences say before
    filled = [cell for cell in cells if cell]
    valued = [cell for cell in filled if any(token.kind in _SAYS for token in cell)]
    named = any(token.kind == "site" for cell in filled for token in cell)
    if len(filled) == 2 and valued == filled[1:] and _names_only(filled[0]):
        return sum(token.kind in _SAYS for token in filled[1]) == 1 or _told(filled[1])
    return named and bool(valued) and all(map(_told, valued))


def _names_only(cell: list[Token]) -> bool:
    """Whether a cell holds the name of a reflex and nothing that says anything of it."""
    named = cell[0].kind in ("site", "side") and any(token.kind == "site" for token in cell)
    return named and all(token.kind in _NAMES | {"open", "slash"} for token in cell)


def _told(cell: list[Token]) -> bool:
    """Whether a cell says of which reflex or which side its value is."""
    first = cell[0]
    if first.kind == "pair" and len(cell) == 1:
        return True
    return first.kind in ("site", "side", "region") or (first.kind == "other" and len(cell) > 1)
