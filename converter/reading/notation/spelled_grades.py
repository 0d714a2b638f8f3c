"""Reads grades spelled out behind a reflex, "knee jerks are two", and short beats of clonus, "clonus 4b".

Takes the text and the tokens of a note; gives the tokens with such a word as a value. Elsewhere it only
counts, as in "two reflexes were tested".
"""

import re
from dataclasses import replace
from itertools import pairwise

from converter.reading.tokens import Token
from converter.reading.written import Count, Written

_GRADES = {"zero": 0, "one": 1, "two": 2, "three": 3, "four": 4}
_MAY_STAND = re.compile(r"\b(?:zero|one|two|three|four)\b|\d ?b\b", re.IGNORECASE)
_BEATS = re.compile(r"\d{1,2}(?: ?[-–] ?\d{1,2})?")
_LINE = 40
"""Tokens of a line in which clonus is looked for."""
_LINKS = frozenset({"is", "colon", "equals"})
_ENDS = frozenset({"comma", "stop", "newline", "end", "and", "but", "side", "close"})


def with_spelled_grades(text: str, tokens: list[Token]) -> list[Token]:
    """The tokens of a note; a number in words is a value with a reflex before it and no noun behind."""
    if _MAY_STAND.search(text) is None:
        return tokens
    found: list[Token] = []
    for token, after in pairwise([*tokens, Token("end", len(text), len(text))]):
        word = text[token.start : token.end].lower() if token.kind == "other" else ""
        if word in _GRADES and _ends_there(text, after) and _of_reflexes(found):
            grade = float(_GRADES[word])
            token = replace(token, kind="value", written=Written(low=grade, high=grade, bare=True))
        if _cuts_beats_short(text, token, found):
            number = found.pop()
            beats = text[number.start : number.end].replace(" ", "").replace("–", "-")
            token = Token("count", number.start, token.end, written=Count(beats, repeat=False))
        found.append(token)
    return found


def _cuts_beats_short(text: str, token: Token, before: list[Token]) -> bool:
    """Whether a "b" stands behind a number or a range, in a line that has spoken of clonus: "4b", "3-4 b"."""
    number = before[-1] if before and token.end - token.start == 1 else None
    if (
        number is None
        or text[number.end : token.start].strip(" ")
        or text[token.start : token.end] not in "bB"
    ):
        return False
    return _BEATS.fullmatch(text, number.start, number.end) is not None and _of_clonus(before)


def _of_clonus(before: list[Token]) -> bool:
    """Whether clonus is named before in the same line."""
    for token in reversed(before[-_LINE:]):
        if token.kind == "newline":
            return False
        if token.kind == "site" and "clonus" in token.meaning:
            return True
    return False


def _ends_there(text: str, after: Token) -> bool:
    """Whether what follows cannot be what the number counts: "two on the left", but not "two of them"."""
    return after.kind in _ENDS or (
        after.kind == "at" and text[after.start : after.end].lower() in ("on", "at", "in")
    )


def _of_reflexes(before: list[Token]) -> bool:
    """Whether reflexes are named right before, but for a link or a side: "jerks were", "reflexes on left"."""
    named = before[-1] if before else None
    for token in reversed(before[-4:]):
        named = token
        if token.kind not in _LINKS and token.kind not in ("side", "at"):
            break
    return named is not None and named.kind in ("site", "reflex") and "trigger" in named.flags
