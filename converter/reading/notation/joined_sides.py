"""Settles marks around sides: "absent R+L" is both, but "Hoffmann R + L -"; "(R) 2+ (L) 1+" is "R 2+ L 1+".

Takes the tokens of a note; gives them with such a pair of sides as one token for both, without brackets that
hold a side alone where each side of the line has them, and without the comma of "Knee jerk, left: 1+".
"""

from dataclasses import replace
from itertools import pairwise

from converter.reading.lines import lines_by_end
from converter.reading.relevance.stems import PLAIN
from converter.reading.tokens import Token
from converter.reading.written import PLUS_AND_MINUS, Written

_NAMES = frozenset({"site", "reflex", "region"})
_VALUES = frozenset({"value", "pair", "count", "untested"})
_LEADS_TO_VALUE = frozenset({"colon", "equals"})
_BEFORE_LINE = frozenset({"newline", "stop", "bullet"})
_ENDS_ANSWER = frozenset({"comma", "stop", "newline", "close"})
_YES, _NO = len("yes"), len("no")
_OPPOSITE = {"left": "right", "right": "left"}


def with_sides_joined(tokens: list[Token]) -> list[Token]:
    """The tokens of a note; `R+L` is one token, the side `both`, and `(R) 2+ (L) 1+` has no brackets."""
    kinds = {token.kind for token in tokens}
    if "no" in kinds:
        tokens = _with_answers(tokens)
    if "close" in kinds:
        tokens = _without_brackets(_without_brackets_of_signs(_with_half_brackets(tokens)))
    tokens = _without_commas(tokens)
    if "side_ref" in kinds:
        tokens = _with_marks_paired(tokens)
    if not any(token.kind == "equals" or (token.kind == "value" and _is_plus(token)) for token in tokens):
        return tokens
    joined: list[Token] = []
    index = 0
    while index < len(tokens):
        if _joins(tokens, index) or _leads_as_equal(tokens, index):
            first, last = tokens[index], tokens[index + 2]
            joined.append(Token("side", first.start, last.end, "both"))
            index += 3
        else:
            joined.append(tokens[index])
            index += 1
    return joined


def _with_answers(tokens: list[Token]) -> list[Token]:
    """As in "Ankle clonus: R yes, L no": behind a side "no" is the opposite of "yes" in the same line."""
    if not any(map(_says_yes, tokens)):
        return tokens
    found: list[Token] = []
    for line in lines_by_end(tokens):
        answered = any(map(_says_yes, line))
        for index, token in enumerate(line):
            ends = index + 1 == len(line) or line[index + 1].kind in _ENDS_ANSWER
            sided = index > 0 and line[index - 1].kind == "side"
            no = answered and sided and ends and token.kind == "no" and token.end - token.start == _NO
            if no:
                token = replace(token, kind="value", written=Written(polarity="negative"), flags=PLAIN)
            found.append(token)
    return found


def _says_yes(token: Token) -> bool:
    """Whether a value is the word "yes"."""
    written = token.written if token.end - token.start == _YES else None
    return isinstance(written, Written) and written.descriptor == "present"


def _with_marks_paired(tokens: list[Token]) -> list[Token]:
    """As in "(R/L): Hoffmann +/-": under an order of sides the two marks are one for each side."""
    ordered, found = False, list(tokens)
    for index, (before, token) in enumerate(pairwise(tokens), start=1):
        ordered = ordered or before.kind == "side_ref"
        if before.kind == token.kind == "newline":
            ordered = False
        doubtful = isinstance(token.written, Written) and token.written.polarity == "doubtful"
        if ordered and doubtful and token.end - token.start > 1:
            found[index] = replace(token, kind="pair", written=PLUS_AND_MINUS)
    return found


def _without_brackets(tokens: list[Token]) -> list[Token]:
    """The tokens without the brackets around "(R)" and "(L)", in lines that have both."""
    bracketed: list[int] = []
    sides: set[str] = set()
    dropped: set[int] = set()
    for index, token in enumerate(tokens):
        if token.kind == "newline":
            bracketed, sides = [], set()
        elif token.kind == "side" and _in_brackets(tokens, index):
            bracketed.append(index)
            sides.add(token.meaning)
            if sides >= _OPPOSITE.keys():
                dropped.update(around for at in bracketed for around in (at - 1, at + 1))
                bracketed = []
    return [token for index, token in enumerate(tokens) if index not in dropped] if dropped else tokens


def _without_brackets_of_signs(tokens: list[Token]) -> list[Token]:
    """As in "Hoffmann (-) (+)": the tokens without brackets around signs, in lines that have several."""
    bracketed: list[int] = []
    dropped: set[int] = set()
    for index, token in enumerate(tokens):
        if token.kind == "newline":
            bracketed = []
        elif token.kind == "value" and _is_sign(token) and _in_brackets(tokens, index):
            bracketed.append(index)
            if len(bracketed) > 1:
                dropped.update(around for at in bracketed for around in (at - 1, at + 1))
    return [token for index, token in enumerate(tokens) if index not in dropped] if dropped else tokens


def _is_sign(token: Token) -> bool:
    written = token.written if token.end - token.start == 1 else None
    return isinstance(written, Written) and written.polarity is not None


def _with_half_brackets(tokens: list[Token]) -> list[Token]:
    """In "R) KJ 2+ L) KJ 3+" the bracket that closes nothing is a colon."""
    if not any(token.kind == "close" and before.kind == "side" for before, token in pairwise(tokens)):
        return tokens
    found: list[Token] = []
    opened = False
    for index, token in enumerate(tokens):
        if token.kind in ("open", "newline"):
            opened = token.kind == "open"
        side = index > 0 and tokens[index - 1].kind == "side" and tokens[index - 1].end == token.start
        if token.kind == "close" and side and not opened:
            token = replace(token, kind="colon")
        opened = opened and token.kind != "close"
        found.append(token)
    return found


def _without_commas(tokens: list[Token]) -> list[Token]:
    """The tokens without a comma between a name and its side, which a colon or a value follows."""
    dropped = {
        index for index, token in enumerate(tokens) if token.kind == "comma" and _parts_side(tokens, index)
    }
    return [token for index, token in enumerate(tokens) if index not in dropped] if dropped else tokens


def _parts_side(tokens: list[Token], comma: int) -> bool:
    name, side, after = comma - 1, comma + 1, comma + 2
    if comma == 0 or after >= len(tokens) or tokens[side].kind != "side" or tokens[name].kind not in _NAMES:
        return False
    if tokens[after].kind in _LEADS_TO_VALUE:
        return after + 1 < len(tokens) and tokens[after + 1].kind in _VALUES
    while name > 0 and tokens[name - 1].kind in _NAMES:
        name -= 1
    begins = name == 0 or tokens[name - 1].kind in _BEFORE_LINE
    return begins and tokens[name].kind == "site" and tokens[after].kind in _VALUES


def _in_brackets(tokens: list[Token], index: int) -> bool:
    """Whether a token stands alone in brackets."""
    around = [token.kind for token in tokens[max(0, index - 1) : index + 2]]
    return around == ["open", tokens[index].kind, "close"]


def _is_plus(token: Token) -> bool:
    written = token.written
    return isinstance(written, Written) and written.counted and token.end - token.start == 1


def _joins(tokens: list[Token], index: int) -> bool:
    """Whether a side, a plus and the other side stand here and the plus belongs to neither side alone."""
    three = tokens[index : index + 3]
    if [token.kind for token in three] != ["side", "value", "side"] or not _is_plus(three[1]):
        return False
    if _OPPOSITE.get(three[0].meaning) != three[2].meaning:
        return False
    before = tokens[index - 1] if index else None
    after = tokens[index + 3] if index + 3 < len(tokens) else None
    touches, reaches = three[0].end == three[1].start, three[1].end == three[2].start
    if after is not None and (_counts(after) or (after.kind in ("dash", "no") and not touches)):
        return False
    if touches and reaches:
        return True
    if touches or (before is not None and _counts(before)):
        return False
    return not (before is not None and before.kind in _NAMES)


def _leads_as_equal(tokens: list[Token], index: int) -> bool:
    """As in "R=L throughout" at the beginning: nothing stands before it that would be compared."""
    three = tokens[index : index + 3]
    begins = index == 0 or tokens[index - 1].kind in ("newline", "stop")
    if not begins or [token.kind for token in three] != ["side", "equals", "side"]:
        return False
    return _OPPOSITE.get(three[0].meaning) == three[2].meaning


def _counts(token: Token) -> bool:
    """Whether a token is a grade in plus signs or a minus, so that a plus beside it is a grade as well."""
    written = token.written
    if not isinstance(written, Written):
        return False
    return written.counted or (written.polarity == "negative" and token.end - token.start == 1)
