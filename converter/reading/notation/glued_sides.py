"""Parts a side from the name that a mark glues it to: "R-KJ 2+" is "R KJ 2+", "KJ-L 1+" is "KJ L 1+".

Takes the tokens of a note; gives them without the marks that glue. A mark glues where it touches both; after
a value without a mark or gap, as in "KJ 2+ R.AJ 1+ L", it may as well part two statements, so there it stays
unless the line has glued its sides before. Common practice, no source.
"""

import re
from dataclasses import replace
from itertools import pairwise

from converter.reading.tokens import Token
from converter.reading.written import Written

_GRADES = frozenset("01234")
_SIDES = frozenset({"left", "right"})
_NAMES = frozenset({"site", "region"})
_VALUES = frozenset({"value", "pair", "count", "untested"})
_BEFORE = frozenset({"dash", "stop", "slash"})
_BEHIND = frozenset({"dash", "stop"})
_LEADS_TO_VALUE = frozenset(
    {"value", "pair", "colon", "equals", "dash", "untested", "comma", "pipe", "newline"}
)
_GAP = re.compile(r"\t|[ \u00a0]{2}")


def with_glued_sides_parted(text: str, tokens: list[Token]) -> list[Token]:
    """The tokens of a note, without the marks between a side and the name that they are glued to."""
    tokens = _with_grades_parted(text, tokens)
    dropped: set[int] = set()
    glued = False
    for index, token in enumerate(tokens):
        if token.kind == "newline":
            glued = False
        elif token.kind == "side" and token.meaning in _SIDES:
            if _leads(text, tokens, index, glued=glued):
                dropped.add(index + 1)
            elif _follows(tokens, index):
                dropped.add(index - 1)
            glued = not dropped.isdisjoint((index - 1, index + 1))
    return [token for index, token in enumerate(tokens) if index not in dropped] if dropped else tokens


def _with_grades_parted(text: str, tokens: list[Token]) -> list[Token]:
    """As in "Bi 2R 2L", "ankle 0R, 1+L": a digit that a side touches is a grade, where each side has one."""
    found = list(tokens)
    waiting: list[int] = []
    sides: set[str] = set()
    for index, (token, side) in enumerate(pairwise(tokens)):
        if token.kind == "newline":
            waiting, sides = [], set()
        elif _touches(text, token, side):
            waiting += [] if token.kind == "value" else [index]
            sides.add(side.meaning)
            for at in waiting if sides == _SIDES else []:
                grade = float(text[tokens[at].start])
                written = Written(low=grade, high=grade, bare=True)
                found[at] = replace(tokens[at], kind="value", written=written)
            waiting = [] if sides == _SIDES else waiting
    return found


def _touches(text: str, token: Token, side: Token) -> bool:
    """Whether a token is a grade, or a digit that may be one, right before the letter of a side."""
    letter = token.end == side.start and "letter" in side.flags and text[side.start].isupper()
    digit = token.kind == "other" and text[token.start : token.end] in _GRADES
    return letter and (digit or token.kind == "value")


def _leads(text: str, tokens: list[Token], index: int, *, glued: bool) -> bool:
    """Whether a side is glued to the name behind it: "R-KJ", "L.biceps"."""
    three = tokens[index : index + 3]
    if len(three) < 3 or three[1].kind not in _BEFORE or three[2].kind not in _NAMES or not _touch(*three):
        return False
    before = tokens[index - 1] if index else None
    if before is None or before.kind == "newline":
        return True
    if before.end == three[0].start and before.kind not in ("open", "comma", "pipe", "colon", "stop"):
        return False
    apart = _GAP.search(text, before.end, three[0].start) is not None
    return (
        apart or glued or before.kind not in (_VALUES | (_NAMES if three[1].kind == "slash" else frozenset()))
    )


def _follows(tokens: list[Token], index: int) -> bool:
    """Whether a side is glued to the name before it, and has a value of its own: "KJ-R 2+", "knee.l = 1+"."""
    three = tokens[max(0, index - 2) : index + 1]
    if len(three) < 3 or three[0].kind not in _NAMES or three[1].kind not in _BEHIND or not _touch(*three):
        return False
    after = tokens[index + 1] if index + 1 < len(tokens) else None
    return after is None or after.kind in _LEADS_TO_VALUE


def _touch(first: Token, mark: Token, last: Token) -> bool:
    return first.end == mark.start and mark.end == last.start
