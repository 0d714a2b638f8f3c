"""Whether a sentence grades tendons as only reflexes are graded: "biceps 2+", "jerks brisk".

Takes the tokens of a sentence; other parts of the examination in it are graded alike, so they forbid it.
"""

from itertools import pairwise

from converter.reading.tokens import Token
from converter.reading.written import Pair, Run, Written

_NO_TENDON = frozenset({"place", "root", "infant", "plantars"})
"""Flags of names that a grade does not make a tendon's."""
_MAXIMUM = 4
_STRENGTH, _STRONGEST = 4, 5
"""Grades that strength has and reflexes seldom."""


def grades_tendons(tokens: list[Token], *, foreign: bool = False) -> bool:
    """Whether tendons are graded as only reflexes are: "biceps 2+", "patellar 2/4", never "biceps 4/5"."""
    if any(_inverted(tokens, index) or _graded_jerks(tokens, index) for index in range(len(tokens))):
        return True
    if jerks_meant(tokens) or _out_of_four(tokens):
        return True
    if foreign or not others_apart(tokens):
        return False
    return (
        _leading_plus(tokens)
        or _joints_beside_toes(tokens)
        or any(
            token.kind == "site"
            and "joint" in token.flags
            and not token.flags & _NO_TENDON
            and token.meaning != "plantar"
            and _graded_as_reflex(tokens, index)
            for index, token in enumerate(tokens)
        )
    )


def others_apart(tokens: list[Token]) -> bool:
    """Whether what else was examined cannot be mistaken for reflexes, nor they for it.

    As in "Spurling + R, R tri 1+": a test that provokes, beside grades that strength seldom has. And as in
    "patellar 2/4, TA 4/5": reflexes out of four, strength out of five, and no grade without its maximum.
    """
    others = [index for index, token in enumerate(tokens) if token.kind == "other_exam"]
    if all(tokens[index].meaning == "provocation" for index in others):
        return not others or not any((value.high or 0) >= _STRENGTH for value in _values(tokens))
    maxima = [t.written.second.low for t in tokens if isinstance(t.written, Pair)]
    graded = [t for t in tokens if isinstance(t.written, Written) and t.written.graded]
    return set(maxima) == {4, 5} and not graded and all(_out_of_five(tokens, index) for index in others)


def _values(tokens: list[Token]) -> list[Written]:
    written = [token.written for token in tokens]
    pairs = [one for w in written if isinstance(w, Pair) for one in (w.first, w.second)]
    return [*pairs, *(one for one in written if isinstance(one, Written))]


def _out_of_five(tokens: list[Token], index: int) -> bool:
    """Whether a grade out of five follows, perhaps behind a side."""
    behind = next((t for t in tokens[index + 1 :] if t.kind not in ("side", "is", "colon")), None)
    written = behind.written if behind is not None else None
    return isinstance(written, Pair) and written.second.low == _STRONGEST


def jerks_meant(tokens: list[Token]) -> set[int]:
    """As in "Jerks: knee 2+", "arm jerks 2+", "tone normal, jerks brisk": jerks with a value are reflexes."""
    meant: set[int] = set()
    examined = any(t.meaning == "motor" or "plantars" in t.flags or "toes" in t.flags for t in tokens)
    for index, token in enumerate(tokens):
        short = "short" in token.flags
        if token.kind != "reflex" or "jerk" not in token.flags or not (short or _is_plural(token)):
            continue
        behind = [t for t in tokens[index + 1 : index + 4] if t.kind not in ("is", "colon", "side")][:1]
        headed = index == 0 and len(tokens) > 1 and tokens[1].kind == "colon" and not short
        opens = index == 0 or tokens[index - 1].kind in ("comma", "and", "otherwise")
        if headed or (behind and has_plus(behind[0])) or (opens and _worded(tokens[index + 1 :], examined)):
            meant.add(index)
    return meant


def _is_plural(token: Token) -> bool:
    return token.end - token.start == len("jerks")


def _worded(behind: list[Token], examined: bool) -> bool:
    """As in "jerks present and equal": alone, or before a place, a word that only reflexes have.

    "Jerks present" is of reflexes too where tone, power or the plantars are examined beside it.
    """
    said: list[str | None] = []
    for token, after in pairwise([*behind, None]):
        if token is not None and isinstance(token.written, Written) and not token.written.graded:
            said.append(token.written.descriptor)
        elif token is None or token.kind in _BEHIND_A_WORD:
            break
        elif not _joins_word(token, after):
            return False
    return any(word is not None and (examined or word not in ("present", "absent")) for word in said)


def _joins_word(token: Token, after: Token | None) -> bool:
    placed = token.kind == "at" and after is not None and after.kind in ("side", "region", "site")
    return placed or token.kind in ("is", "side", "and", "colon", "region", "site")


def has_plus(token: Token) -> bool:
    """Whether a token is a grade with a plus, or one of plus signs."""
    first = token.written.first if isinstance(token.written, Pair) else token.written
    return isinstance(first, Written) and (first.plus != "none" or first.counted)


def _out_of_four(tokens: list[Token]) -> bool:
    """As in "Ach 0/4, Pat 1/4 R": two tendons or more, each out of four, where strength is not named."""
    if any(token.meaning == "motor" for token in tokens):
        return False
    graded = {
        token.meaning
        for token, after in pairwise(t for t in tokens if t.kind != "side")
        if token.kind == "site"
        and "joint" in token.flags
        and not token.flags & _NO_TENDON
        and (
            getattr(after.written, "denominator", None) == _MAXIMUM
            or (isinstance(after.written, Pair) and after.written.second.low == _MAXIMUM)
        )
    }
    return len(graded) > 1


def _leading_plus(tokens: list[Token]) -> bool:
    """As in "biceps +2, patellar +3 R": two tendons or more, each with a grade that leads with its plus."""
    graded = {
        token.meaning
        for token, after in pairwise(t for t in tokens if t.kind != "side")
        if token.kind == "site"
        and "joint" in token.flags
        and not token.flags & {"place", "root", "infant"}
        and isinstance(after.written, Written)
        and after.written.plus == "leading"
    }
    return len(graded) > 1


def _joints_beside_toes(tokens: list[Token]) -> bool:
    """As in "Knees 2+, ankles 1+, toes down": joints graded in one line with the direction of the toes."""
    answered = graded = False
    for token, after in pairwise(t for t in tokens if t.kind not in ("side", "is", "colon")):
        written = after.written if isinstance(after.written, Written) else None
        if token.kind == "site" and written is not None:
            plantar = "toes" in token.flags or token.meaning == "plantar"
            answered = answered or (plantar and written.response is not None)
            as_reflexes = written.plus == "trailing" or written.counted
            graded = graded or ("place" in token.flags and as_reflexes)
    return answered and graded


def _inverted(tokens: list[Token], index: int) -> bool:
    """As in "inverted supinator", "SJ inverted": only a reflex is."""
    named = tokens[index].kind == "site" and "joint" in tokens[index].flags
    beside = tokens[max(0, index - 1) : index + 2]
    return named and any(token.kind == "quality" and token.meaning == "inverted" for token in beside)


def _graded_jerks(tokens: list[Token], index: int) -> bool:
    """As in "Jerks: elbow 2+", "UL jerks brisk": jerks with a grade or a strength are reflexes."""
    if tokens[index].kind != "reflex" or "jerk" not in tokens[index].flags:
        return False
    following = [token for token in tokens[index + 1 : index + 8] if token.kind not in _BEFORE_JERKS_GRADE]
    named = bool(following) and following[0].kind in ("site", "region")
    value = following[named] if len(following) > named else None
    written = value.written if value is not None else None
    if isinstance(written, Pair):
        written = written.first
    if not isinstance(written, Written):
        return False
    if written.graded:
        return written.plus == "trailing" or written.counted or written.denominator == 4
    leads = index == 0 or tokens[index - 1].kind in ("region", "at", "side")
    ends = len(following) == named + 1 or following[named + 1].kind in (
        "comma",
        "side",
        "and",
        "site",
        "region",
    )
    if index == 0 and len(following) > named + 2 and following[named + 1].kind == "and":
        alike = following[named + 2].written
        ends = ends or (isinstance(alike, Written) and alike.descriptor == "symmetric")
        return ends and written.descriptor in ("brisk", "normal", "absent", "present")
    return leads and ends and written.descriptor in ("brisk", "normal", "absent")


_BEFORE_JERKS_GRADE = frozenset({"side", "colon", "dash", "is", "at", "equals", "open"})


_BEHIND_A_WORD = frozenset({"comma", "but", "except", "otherwise", "open", "stop"})
_BEFORE_A_GRADE = {"side", "colon", "open", "close", "is", "slash", "comma", "at", "value"}


def _graded_as_reflex(tokens: list[Token], index: int) -> bool:
    """Whether the first grade behind a tendon is one: "biceps 2+", "triceps absent on the left, 2+ right"."""
    for token in tokens[index + 1 : index + 10]:
        written = token.written
        if isinstance(written, Pair):
            if written.second.low == 4:
                return (written.first.low or 0) <= 4
            return written.first.plus == "trailing" and written.second.low != 5
        if isinstance(written, Run):
            return any(value.plus == "trailing" for value in written.values)
        if isinstance(written, Written) and written.descriptor != "absent":
            return written.plus == "trailing" or written.denominator == 4
        if token.kind not in _BEFORE_A_GRADE and "root" not in token.flags:
            return False
    return False
