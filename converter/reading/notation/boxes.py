"""Reads the boxes of a form: what stands beside an empty box is not said, what stands beside a ticked one is.

Takes the tokens of a note; gives them without boxes, and without what empty boxes belong to. Boxes lead their
answers, "[x] 2+ [ ] 3+", unless the line ends with one, "2+ [x]  3+ [ ]". Common practice, no source.
"""

import re
from collections.abc import Sequence

from converter.reading.tokens import Token

_EMPTY, _TICKED = frozenset("☐□◻▢"), frozenset("☑☒✅🗹")
_TICKS = frozenset({"x", "✓", "✔", "√", "*"})
_ENCLOSED = {"[": "]", "(": ")"}
_FAR = re.compile(r"\t|[ \u00a0]{3,}")
_NAMES = frozenset({"site", "reflex", "region", "side", "colon"})
_PARTS = frozenset({"comma", "stop", "pipe"})
_LONGEST = 8

Box = tuple[int, int, bool]
"""First token, the one behind the last, and whether the box is ticked."""


def with_boxes_read(text: str, tokens: list[Token]) -> list[Token]:
    """The tokens of a note with only what its boxes say."""
    if not _may_hold_boxes(text):
        return tokens
    kept: list[Token] = []
    line: list[Token] = []
    for token in tokens:
        if token.kind == "newline":
            kept += [*_read(text, line), token]
            line = []
        else:
            line.append(token)
    return kept + _read(text, line)


def _may_hold_boxes(text: str) -> bool:
    return "[" in text or "( )" in text or not (_EMPTY | _TICKED).isdisjoint(text)


def _read(text: str, line: list[Token]) -> list[Token]:
    boxes = _boxes(text, line)
    if not boxes:
        return line
    left_out = {index for start, end, _ in boxes for index in range(start, end)}
    trailing = (
        boxes[-1][1] == len(line) and boxes[0][0] > 0 and line[boxes[0][0] - 1].kind not in _NAMES - {"side"}
    )
    starts = {start for start, _, _ in boxes}
    for place, (start, end, ticked) in enumerate(boxes):
        if not ticked and trailing:
            first = boxes[place - 1][1] if place else 0
            left_out.update(_before(text, line, first, start))
        elif not ticked:
            left_out.update(_behind(text, line, end, starts))
    return [token for index, token in enumerate(line) if index not in left_out]


def _boxes(text: str, line: Sequence[Token]) -> list[Box]:
    found: list[Box] = []
    index = 0
    while index < len(line):
        box = _box_at(text, line, index)
        if box is not None:
            found.append(box)
        index = box[1] if box is not None else index + 1
    round_ticked = any(ticked and text[line[start].start] == "(" for start, _, ticked in found)
    return [box for box in found if round_ticked or text[line[box[0]].start] != "("]


def _box_at(text: str, line: Sequence[Token], index: int) -> Box | None:
    mark = text[line[index].start]
    if mark in _EMPTY or mark in _TICKED:
        return index, index + 1, mark in _TICKED
    close = _ENCLOSED.get(mark)
    end = next((i for i in range(index + 1, min(index + 3, len(line))) if text[line[i].start] == close), None)
    if close is None or end is None:
        return None
    said = text[line[index].end : line[end].start].strip(" _").lower()
    return (index, end + 1, bool(said)) if not said or said in _TICKS else None


def _behind(text: str, line: Sequence[Token], start: int, boxes: set[int]) -> range:
    """What an empty box leads: up to the next box, a mark, a gap, or a name that has boxes."""
    end = start
    while end < len(line) and end not in boxes and line[end].kind not in _PARTS and end - start < _LONGEST:
        if end > start and (
            _FAR.search(text, line[end - 1].end, line[end].start) or _has_boxes(line, end, boxes)
        ):
            break
        end += 1
    return range(start, end)


def _has_boxes(line: Sequence[Token], index: int, boxes: set[int]) -> bool:
    if line[index].kind not in _NAMES:
        return False
    while index < len(line) and line[index].kind in _NAMES:
        index += 1
    return index in boxes


def _before(text: str, line: Sequence[Token], first: int, end: int) -> range:
    """What an empty box ends: its answer, without the name and marks before it."""
    start = end
    while start > first and line[start - 1].kind not in _PARTS | (_NAMES - {"side"}):
        start -= 1
        if start > first and _FAR.search(text, line[start - 1].end, line[start].start):
            break
    return range(start, end)
