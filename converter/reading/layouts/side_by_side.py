"""Parts two tables that stand beside one another, as "Pulses R L" beside "Reflexes R L".

Takes the lines of a note and the line of heads; gives the lines of each table by itself. Each has a label and
its sides in the line of heads, and names of its own in its rows; where the rows have one name only, it is one
table, and is left alone.
"""

import re
from dataclasses import replace
from itertools import pairwise

from converter.reading.layouts.head_columns import SIDES
from converter.reading.lines import Line, is_rule, pieces_of
from converter.reading.tokens import Token

_PARTED = re.compile(r"\t|[ \u00a0]{2,}|\|")
_LEFT_OF_HEAD = 2
_MOST_LINES = 60


def tables_beside(text: str, lines: list[Line], index: int) -> list[list[Line]]:
    """The lines from an index on, once for each of the tables beside one another; empty where there is one.

    Args:
        text: the note.
        lines: its lines.
        index: the line of the heads.
    """
    groups = _groups(text, lines[index])
    end = index + 1
    while end < len(lines) and lines[end].tokens and end - index < _MOST_LINES:
        end += 1
    rows = [line for line in lines[index + 1 : end] if not is_rule(text, line)]
    if len(groups) < 2 or not rows:
        return []
    parted = [_parted(text, line, lines[index], groups) for line in lines[index:end]]
    beside = [halves for line, halves in zip(lines[index:end], parted, strict=True) if line in rows]
    if not all(halves and _name_themselves(halves) for halves in beside):
        return []
    return [[halves[place] for halves in parted if halves] for place in range(len(groups))]


def _groups(text: str, line: Line) -> list[int]:
    """Where each label stands that has sides behind it; none where the line is of another kind."""
    starts: list[int] = []
    sides: list[list[str]] = []
    for low, high in pieces_of(text, line, _PARTED):
        inside = [token for token in line.tokens if low <= token.start < high]
        if inside and all(token.kind == "side" and token.meaning in SIDES for token in inside):
            if not sides:
                return []
            sides[-1] += [token.meaning for token in inside]
        elif sides and not sides[-1]:
            return []
        else:
            starts.append(low)
            sides.append([])
    return starts if all(sorted(each) == ["left", "right"] for each in sides) else []


def _parted(text: str, line: Line, heads: Line, groups: list[int]) -> list[Line]:
    """A line as it belongs to each group."""
    cuts = [line.start]
    for place in groups[1:]:
        cut = _cut(text, line, heads, place)
        if cut is None or cut <= cuts[-1]:
            return []
        cuts.append(cut)
    bounds = zip(cuts, [*cuts[1:], line.end], strict=True)
    return [_part(text, line, low, high) for low, high in bounds]


def _part(text: str, line: Line, low: int, high: int) -> Line:
    low += text[low : low + 1] == "|" and low > line.start
    return Line(low, high, [token for token in line.tokens if low <= token.start < high])


def _cut(text: str, line: Line, heads: Line, place: int) -> int | None:
    """Where a line is parted: at the same mark as its heads, else below the label of the group."""
    for mark in ("|", "\t"):
        count = text.count(mark, heads.start, place)
        if count:
            return _nth(text, line, mark, count)
    offset = place - heads.start - _LEFT_OF_HEAD
    starts = [low for low, _ in pieces_of(text, line, _PARTED) if low - line.start >= offset]
    return starts[0] if starts else line.end


def _nth(text: str, line: Line, mark: str, count: int) -> int | None:
    place = line.start - 1
    for _ in range(count):
        place = text.find(mark, place + 1, line.end)
        if place < 0:
            return None
    return place


def _name_themselves(halves: list[Line]) -> bool:
    """Whether what stands in each part of a row is empty, or a name with its values."""
    filled = [half.tokens for half in halves if half.tokens]
    return bool(filled) and all(_names(tokens) for tokens in filled)


def _names(tokens: list[Token]) -> bool:
    words = [token for token in tokens if token.kind != "pipe"]
    return bool(words) and words[0].kind in ("site", "other", "region", "other_exam", "reflex")


def without_loose_pipes(lines: list[Line]) -> list[Line]:
    """Lines without the pipes that part groups of columns, where gaps part the columns."""
    return [replace(line, tokens=[t for t in line.tokens if t.kind != "pipe"]) for line in lines]


def has_loose_pipes(heads: list[Line]) -> bool:
    """Whether a cell between pipes holds several heads: "R   L  |  R   L"."""
    for kinds in ([token.kind for token in line.tokens] for line in heads):
        if "pipe" in kinds and any(pair == ("side", "side") for pair in pairwise(kinds)):
            return True
    return False
