"""Tells where a dash is a minus that says "negative" or "absent": `L-`, `(-)`, `Bab-`, `+ R, - L`, `BCR –,`.

Takes the tokens of a note and the place of a dash; elsewhere a dash parts, or leads to a value.
"""

import re
from dataclasses import replace

from converter.reading.tokens import Token
from converter.reading.written import Written
from converter.words import Vocabulary

_ENDS_HERE = re.compile(r"\s*(?:[,;.)·\r\n]|$)")
_BOTH_NEXT = re.compile(r"\s?(?:b/l|bilat\w*|bil|both)(?:\s*[,;.)\r\n]|\s*$)", re.IGNORECASE)
_SIDE_NEXT = re.compile(r"[^\S\r\n]?(?:R|L|Rt|Lt|right|left)\b")
_SIDE_ENDS = re.compile(
    r"\s?(?:r|l|rt|lt|right|left)(?:\s*(?:&|\+|/|and)\s*(?:r|l|rt|lt|right|left))?\s*(?:[,;.)|·\r\n]|$)",
    re.IGNORECASE,
)
_OF_TWO_SIDES = re.compile(r" [-–+] [-–+][ \t]*(?:[,;|\r\n]|$)")
"""Two marks, one blank apart, that end a row: "Hoffmann + -"; further apart they may be empty cells."""
_ANSWERED_BY_SIGNS = frozenset({"superficial", "primitive"})
"""Kinds of reflexes that are present or absent, so that their minus needs no plus beside it."""
_OTHERS = frozenset({"site", "reflex", "other_exam", "newline", "stop"})
_NAMED = frozenset({"side", "site", "reflex", "past", "now"})
"""What a minus may stand behind where a plus has been written before."""
_QUADRANTS = frozenset({"upper", "lower"})
"""Parts of the abdomen that share the noun of the first."""
_NEAR, _LIST, _LONGEST_BRACKET = 5, 20, 8
_MINUS = frozenset({"minus"})
"""What shows the grammar that a value is a mark of the name before it."""


def is_minus(
    text: str, tokens: list[Token], index: int, earlier: list[Token], vocabulary: Vocabulary
) -> bool:
    """Whether a dash says "negative".

    Args:
        text: the note.
        tokens: its tokens.
        index: that of the dash.
        earlier: the tokens before it, settled.
        vocabulary: tells which reflexes are present or absent.
    """
    token = tokens[index]
    if not earlier:
        return False
    before, after = earlier[-1], text[token.end : token.end + 1]
    if before.kind == "open":
        return after in (")", "]")
    touches, ends = before.end == token.start, _ENDS_HERE.match(text, token.end) is not None
    opposite, sign = _plus_near(earlier), "sign" in _named_before_bracket(earlier).flags
    name = earlier[-2] if len(earlier) > 1 and before.kind == "value" else before
    if _answers(name, vocabulary) and _OF_TWO_SIDES.match(text, name.end) is not None:
        return True
    if before.kind == "side" and touches and not (after.isalnum() or after == ">"):
        return True
    if ends:
        of_one_side = before.kind == "side" and _one_of_each_side(tokens, index, earlier)
        named = (opposite and before.kind in _NAMED) or _is_quadrant(text, earlier)
        return sign or named or of_one_side or _answers(before, vocabulary)
    if sign and (_BOTH_NEXT.match(text, token.end) or _SIDE_ENDS.match(text, token.end)):
        return True
    if opposite and (_SIDE_NEXT.match(text, token.end) or _SIDE_ENDS.match(text, token.end)):
        return True
    if before.kind == "side":
        return _one_of_each_side(tokens, index, earlier)
    named = before.kind == "site" and after.isspace()
    if named and touches and opposite:  # "BJ+ AJ- PL up"
        return True
    return named and (_marks_each(tokens, index) or (touches and _followed_by_other(tokens, index)))


def minus(before: Token, token: Token) -> Token:
    """What a minus says: of a reflex that it is absent, of a sign that it is negative."""
    absent = before.kind in ("site", "reflex") and "sign" not in before.flags
    said = Written(descriptor="absent") if absent else Written(polarity="negative")
    return replace(token, kind="value", written=said, flags=_MINUS)


def _plus_near(before: list[Token]) -> bool:
    """Whether a plus sign alone was written shortly before, so that a minus is its opposite."""
    near = [t.written for t in before[-_NEAR:] if isinstance(t.written, Written)]
    return any(written.polarity == "positive" or written.counted for written in near)


def _named_before_bracket(earlier: list[Token]) -> Token:
    """The last token, or what stands before its bracket: Hoffmann in "Hoffmann (R) -"."""
    for index in range(len(earlier) - 2, max(len(earlier) - _LONGEST_BRACKET, 0), -1):
        if earlier[-1].kind == "close" and earlier[index].kind == "open":
            return earlier[index - 1]
    return earlier[-1]


def _is_quadrant(text: str, earlier: list[Token]) -> bool:
    """As in "abdominals: R upper –, R lower –": a part of the abdomen, whose reflexes are there or not."""
    part = text[earlier[-1].start : earlier[-1].end].lower() in _QUADRANTS
    return part and any(t.meaning.startswith("abdominal") for t in earlier[-_LIST:])


def _one_of_each_side(tokens: list[Token], index: int, earlier: list[Token]) -> bool:
    """As in "Hoff: R – L –": of a sign, and each side has its mark."""
    named = any("sign" in token.flags for token in earlier[-_NEAR:])
    first = [token.kind for token in tokens[index + 1 : index + 3]] in (["side", "dash"], ["side", "value"])
    last = [token.kind for token in earlier[-3:]] == ["side", "value", "side"]
    return named and (first or last)


def _answers(token: Token, vocabulary: Vocabulary) -> bool:
    """Whether a name is that of a sign or of a reflex that is there or not."""
    if "sign" in token.flags:
        return True
    known = vocabulary.reflexes.get(token.meaning.partition(":")[0]) if token.kind == "site" else None
    return known is not None and known.kind in _ANSWERED_BY_SIGNS


def _followed_by_other(tokens: list[Token], index: int) -> bool:
    """As in "clonus- Bab- SLR-": what stands behind the mark is no value of the name that it touches."""
    return index + 1 == len(tokens) or tokens[index + 1].kind in _OTHERS


def _marks_each(tokens: list[Token], index: int) -> bool:
    """As in "Bab - SLR - clonus +": the names behind have such a mark of their own."""
    three = tokens[index + 1 : index + 4]
    if len(three) < 2 or three[0].kind not in ("site", "other_exam"):
        return False
    ends = len(three) == 2 or three[2].kind in _OTHERS
    return (three[1].kind == "dash" and ends) or getattr(three[1].written, "polarity", None) == "positive"
