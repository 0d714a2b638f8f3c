"""Settles what marks and letters mean from what stands beside them: `x2`, `L-`, `(-)`, two arrows, `UL + LL`.

Takes the text and the vocabulary; gives all tokens of the note, boxes of forms read as well.
"""

import re
from dataclasses import replace

from converter.reading.notation.boxes import with_boxes_read
from converter.reading.notation.minus import is_minus, minus
from converter.reading.relevance.stems import PLAIN
from converter.reading.tokens import Token, tokens_by_themselves
from converter.reading.written import Count, Pair, Written
from converter.words import Vocabulary

_LITRES = re.compile(r"(?:(?<![\d.])\d+\.(?:[0-46-9]\d?|5\d)\s?|\d\s?(?=L/))(?P<unit>L)\b")
"""A number that no grade is, or a rate."""
_LEFT_GRADE = re.compile(r"[Ll][0-5]")


_BEFORE_A_LETTER = (
    "site",
    "side",
    "reflex",
    "region",
    "colon",
    "equals",
    "is",
    "dash",
    "other_exam",
    "slash",
)
_BEHIND_A_LETTER = frozenset(
    {"comma", "stop", "close", "newline", "slash", "and", "but", "side", "with", "except"}
    | {"region", "site", "reflex", "other_exam"}
)
_LIST = 12
"""Tokens around a small letter in which others of its list are looked for."""
_ALL_FOUR = frozenset({"all", "times"})
_LIMBS = frozenset({"ext", "exts", "extremities", "limbs", "extr"})
_BESIDE = frozenset({"close", "dash", "question", "uncertain", "greater"})
"""Marks whose meaning depends on the tokens beside them; of other tokens only values do so."""


def tokens_of_note(text: str, vocabulary: Vocabulary) -> list[Token]:
    """All tokens of a note, in order; fillers are left out."""
    tokens = _left_beside_right(text, _without_litres(text, tokens_by_themselves(text, vocabulary)))
    return _adjusted(text, with_boxes_read(text, _with_dashes_to_grades(tokens)), vocabulary)


def _without_litres(text: str, tokens: list[Token]) -> list[Token]:
    """In "vital capacity 2.8 L", "3 L/min" the letter is a unit and no side."""
    if _LITRES.search(text) is None:
        return tokens
    units = {match.start("unit") for match in _LITRES.finditer(text)}
    return [token for token in tokens if token.start not in units]


def _with_dashes_to_grades(tokens: list[Token]) -> list[Token]:
    """In "R-2+ L-3", "clonus R-3 beats" the dash touches side and grade: it joins them and is no minus."""
    found: list[Token] = []
    for index, token in enumerate(tokens):
        if token.written is None and token.kind != "dash":
            found.append(token)
            continue
        before = found[-1] if found else None
        side = before is not None and before.kind == "side" and before.end == token.start
        after = tokens[index + 1] if index + 1 < len(tokens) else None
        touches = after is not None and after.start == token.end and after.kind in ("value", "count")
        if side and token.kind == "dash" and touches:
            continue
        written = token.written
        if side and isinstance(written, Written) and written.low is not None and written.low < 0:
            grade = replace(written, low=-written.low, high=-(written.high or written.low))
            token = replace(token, start=token.start + 1, written=grade)
        found.append(token)
    return found


def _left_beside_right(text: str, tokens: list[Token]) -> list[Token]:
    """In `R2 L2` the second is the left side with its grade, and no root."""
    if _LEFT_GRADE.search(text) is None:
        return tokens
    parted: list[Token] = []
    for index, token in enumerate(tokens):
        if token.end - token.start == 2 and _LEFT_GRADE.fullmatch(text, token.start, token.end):
            gap = len(tokens) > index + 1 and tokens[index + 1].kind == "slash"
            after = tokens[index + 1 + gap : index + 3 + gap]
            before = parted[:-1] if parted and parted[-1].kind == "slash" else parted
            if _grades_right(before[-2:]) or _grades_right(after):
                grade = float(text[token.start + 1])
                side = Token("side", token.start, token.start + 1, "left", frozenset({"letter"}))
                written = Written(low=grade, high=grade, bare=True)
                parted += [side, Token("value", token.start + 1, token.end, written=written)]
                continue
        parted.append(token)
    return parted


def _grades_right(tokens: list[Token]) -> bool:
    """Whether two tokens are the right side with a grade right behind it: `R2`."""
    if len(tokens) != 2 or tokens[0].kind != "side" or tokens[1].kind != "value":
        return False
    return "letter" in tokens[0].flags and tokens[0].meaning == "right" and tokens[0].end == tokens[1].start


def _adjusted(text: str, tokens: list[Token], vocabulary: Vocabulary) -> list[Token]:
    """Settle what a token means from the tokens beside it: `x2`, `L-`, `(-)`, two arrows."""
    adjusted: list[Token] = []
    for index, token in enumerate(tokens):
        if token.kind == "equals" and adjusted and _says_equal(text, adjusted[-1], token):
            token = replace(token, kind="value", written=Written(descriptor="symmetric", weak=True))
        if token.written is None and token.kind not in _BESIDE:
            adjusted.append(token)
            continue
        if _is_and(text, tokens, index):
            token = replace(token, kind="and", written=None)
        if _taken_in(text, adjusted, token):
            continue
        if token.kind == "question" and _doubts(tokens, index):
            token = replace(token, kind="uncertain")
        elif token.kind == "uncertain" and _asks(text, tokens, index):
            token = replace(token, kind="question", flags=PLAIN)
        before = adjusted[-1] if adjusted else None
        if before is not None and _only_points(text, before, tokens, index):
            start = adjusted.pop().start if token.kind == "greater" else token.start
            token = Token("dash", start, token.end)
        elif "letter" in token.flags and not _stands_for_normal(text, before, tokens, index):
            token = replace(token, kind="other", written=None)
        elif token.kind == "count" and isinstance(token.written, Count) and token.written.repeat:
            token = _repeat(token, adjusted)
        elif token.kind == "count" and before is not None and _about(before, token):
            token = replace(token, start=adjusted.pop().start, written=Count("", repeat=False))
        elif token.kind == "dash" and before is not None and _denies(before, tokens, index):
            token = replace(token, kind="no")
        elif token.kind == "dash" and is_minus(text, tokens, index, adjusted, vocabulary):
            token = minus(adjusted[-1], token)
        elif "arrow" in token.flags and before is not None and "arrow" in before.flags:
            token = _with_arrow_before(token, adjusted)
        adjusted.append(token)
    return adjusted


def _says_equal(text: str, before: Token, token: Token) -> bool:
    """As in "biceps =, triceps =.": right behind a name, and nothing behind it, the sides are equal."""
    return before.kind in ("site", "reflex") and text[token.end : token.end + 1] in (",", ".", ";")


def _about(before: Token, count: Token) -> bool:
    """As in "clonus <3 beats", ">5 beats": how many there were is not said."""
    return before.kind in ("lesser", "greater") and before.end == count.start


def _taken_in(text: str, adjusted: list[Token], token: Token) -> bool:
    """Whether a token only completes what stands before it: "ext" in "x4 ext"."""
    before = adjusted[-1] if adjusted else None
    if before is not None and before.flags is _ALL_FOUR and text[token.start : token.end].lower() in _LIMBS:
        before.end = token.end
        return True
    return False


def _only_points(text: str, before: Token, tokens: list[Token], index: int) -> bool:
    """As in "R -> 3+", "KJ → 2+": an arrow that only points from a name to its grade."""
    token = tokens[index]
    after = tokens[index + 1] if index + 1 < len(tokens) else None
    sided = after is not None and after.kind == "side" and index + 2 < len(tokens)
    valued = tokens[index + 2] if sided else after
    if after is None or valued is None or valued.kind not in ("value", "pair"):
        return False
    if token.kind == "greater":
        named = tokens[index - 2] if index > 1 else None
        return before.kind in ("dash", "equals") and before.end == token.start and _is_name(named)
    return "arrow" in token.flags and token.meaning == "equivocal" and _is_name(before)


def _is_name(token: Token | None) -> bool:
    return token is not None and token.kind in ("site", "side", "reflex", "region")


def _stands_for_normal(text: str, before: Token | None, tokens: list[Token], index: int) -> bool:
    """Whether a letter is the value of what stands before it: "AJ N", "tone N", but not "N VII" or "N/V"."""
    token = tokens[index]
    after = tokens[index + 1] if index + 1 < len(tokens) else None
    bracketed = [t.kind for t in tokens[index + 1 : index + 4]] == ["open", "side", "close"]
    ends = after is None or after.kind in _BEHIND_A_LETTER or bracketed
    mate = text[token.end + 1 : token.end + 2] if text[token.end : token.end + 1] == "/" else "N"
    named = before is not None and (before.kind in _BEFORE_A_LETTER or (bracketed and before.kind == "comma"))
    earlier = [t.kind for t in tokens[max(0, index - 3) : index]]
    named = named or earlier in (["value", "region", "comma"], ["value", "side", "comma"])
    return (
        named and ends and mate == "N" and (text[token.start].isupper() or _listed_small(text, tokens, index))
    )


def _listed_small(text: str, tokens: list[Token], index: int) -> bool:
    """As in "power n. sens n. reflexes n.": a small letter, behind several names of a list."""
    near = range(max(1, index - _LIST), min(len(tokens), index + _LIST))
    small = [at for at in near if "letter" in tokens[at].flags and text[tokens[at].start] == "n"]
    return sum(tokens[at - 1].kind in ("other_exam", "site", "reflex") for at in small) > 1


def _with_arrow_before(token: Token, adjusted: list[Token]) -> Token:
    """Two arrows side by side are one for each side."""
    before = adjusted[-1]
    first, second = before.written, token.written
    if before.end != token.start or not (isinstance(first, Written) and isinstance(second, Written)):
        return token
    adjusted.pop()
    return replace(token, kind="pair", start=before.start, written=Pair(first, second))


def _doubts(tokens: list[Token], index: int) -> bool:
    """`?up`, `up?,`: a question mark that touches a value."""
    before, token = tokens[index - 1] if index else None, tokens[index]
    after = tokens[index + 1] if index + 1 < len(tokens) else None
    values = ("value", "pair")
    leads = after is not None and after.kind in values and after.start == token.end
    ends = before is not None and before.kind in values and before.end == token.start
    return leads or (ends and after is not None and after.kind in ("comma", "side"))


def _asks(text: str, tokens: list[Token], index: int) -> bool:
    """As in "C6 radiculopathy? Biceps 1+": a mark that ends a question about something else."""
    token, before = tokens[index], tokens[index - 1] if index else None
    if before is None or before.end != token.start or text[token.start] != "?":
        return False
    behind = text[token.end : token.end + 2]
    other = before.kind in ("other", "other_exam") or "root" in before.flags
    return other and (not behind.strip() or (behind[0] == " " and behind[1:].isupper()))


def _is_and(text: str, tokens: list[Token], index: int) -> bool:
    """Whether a plus sign means "and": "UL + LL", "knee + ankle jerks", "present + symmetrical"."""
    token = tokens[index]
    single = token.end - token.start == 1 and getattr(token.written, "counted", False)
    if not (single and 0 < index < len(tokens) - 1):
        return False
    before, after = tokens[index - 1], tokens[index + 1]
    if before.kind == "value" and getattr(after.written, "descriptor", None) == "symmetric":
        return True
    return before.kind == after.kind == "region" or _joins_names(text, tokens, index)


def _joins_names(text: str, tokens: list[Token], index: int) -> bool:
    """As in "knee + ankle jerks present", "BJ + TJ 2+": the plus sign of "BJ + TJ ++" grades the first.

    It joins where the second name gives the first its noun, or where the value of both is a number.
    """
    before, after = tokens[index - 1], tokens[index + 1]
    if before.kind != "site" or after.kind != "site" or "sign" in before.flags | after.flags:
        return False
    shares_noun = "trigger" not in before.flags and "trigger" in after.flags
    if shares_noun and text[after.start : after.end].lower().endswith(("jerks", "reflexes")):
        return True
    value = tokens[index + 2].written if len(tokens) > index + 2 else None
    if len(tokens) > index + 2 and tokens[index + 2].kind == "untested":
        return True
    return isinstance(value, Written) and value.low is not None and not value.counted and value.low > 0


def _denies(before: Token, tokens: list[Token], index: int) -> bool:
    """`2+ throughout, - clonus`: a minus before a sign, inside a line."""
    after = tokens[index + 1] if index + 1 < len(tokens) else None
    return before.kind == "comma" and after is not None and after.kind == "site" and "sign" in after.flags


def _repeat(token: Token, before: list[Token]) -> Token:
    """`clonus x3` counts beats; `2+ x2` says both sides and `2+ x4` all limbs."""
    if _counts_beats(before):
        return token
    times = token.written.text if isinstance(token.written, Count) else ""
    if times == "2":
        return replace(token, kind="side", meaning="both", written=None)
    if times == "4":
        return replace(token, kind="region", meaning="all_limbs:both", flags=_ALL_FOUR, written=None)
    return replace(token, kind="other", written=None)


def _counts_beats(before: list[Token]) -> bool:
    """Whether clonus is spoken of right before, with nothing between but its place: "clonus R ankle x4"."""
    for token in reversed(before[-6:]):
        if token.kind in ("clonus_word", "count") or (token.kind == "site" and "clonus" in token.meaning):
            return True
        other = token.kind == "reflex" or (token.kind == "site" and "place" not in token.flags)
        written = token.written if isinstance(token.written, Written) else Written()
        answered = written.descriptor not in (None, "present") or written.response is not None
        if other or answered or written.polarity == "negative":
            return False
    return False
