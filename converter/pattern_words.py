"""A pattern of reflexes in the words of the trade, such as `absent ankle with brisk knee`.

Takes the words; gives a Pattern of the archive. The vocabulary knows the names of reflexes and levels, so a
site's own words count here too. What is not understood is refused, never passed over.
"""

import re

from converter.archive import ArchiveError, Asymmetry, Change, Pattern, Sign, Together
from converter.words import Vocabulary
from converter.words.phrases import tokens_of

SHAPES = (
    "asymmetry of at least 2 at the ankles",
    "absent ankle with brisk knee",
    "changed by 2 within 90 days at the left knee",
)
"""One example of each kind."""

_NUMBER = r"(?:at least )?(?P<number>\d+(?:\.\d+)?)(?: grades?)?"
_WHERE = r"(?: (?:at|of|in) (?P<where>.+))?"
_ASYMMETRY = re.compile(rf"(?:asymmetry|side difference) of {_NUMBER}{_WHERE}")
_CHANGE = re.compile(
    rf"(?P<way>change|increase|decrease)d? (?:by|of) {_NUMBER}"
    rf" within (?P<days>\d+) (?P<unit>day|week)s?{_WHERE}"
)
_TOGETHER = re.compile(r"(?P<first>.+?) (?:with|and) (?P<second>.+?)(?P<any> on (?:any|either) sides?)?")
_WAYS = {"change": "any", "increase": "up", "decrease": "down"}
_DAYS = {"day": 1, "week": 7}
_LEVELS = {
    "absent": ("absent",),
    "low": ("low",),
    "normal": ("normal",),
    "high": ("high", "clonus"),
}
"""Which levels a word of each level stands for: a reflex with clonus is brisk as well."""
_PASSED = frozenset({"the", "at", "a", "an", "is", "are"})


def pattern_of(words: str, vocabulary: Vocabulary) -> Pattern:
    """The pattern that the words speak of; see `SHAPES`.

    Raises:
        ArchiveError: they are not understood; one sentence names the part.
    """
    text = " ".join(words.lower().split())
    if found := _ASYMMETRY.fullmatch(text):
        return _asymmetry(words, found, vocabulary)
    if found := _CHANGE.fullmatch(text):
        return _change(words, found, vocabulary)
    if found := _TOGETHER.fullmatch(text):
        first, second = (_sign(words, found[name], vocabulary) for name in ("first", "second"))
        return Together(first, second, same_side=not found["any"])
    raise _refusal(words, "is no pattern that is known here")


def site_named(words: str, vocabulary: Vocabulary) -> str | None:
    """The reflex that words such as `knee` or `ankle jerk` name, or None where they name none, or more."""
    try:
        site, side, level = _parts(words, words.lower(), vocabulary)
    except ArchiveError:
        return None
    return None if side or level else site


def _asymmetry(words: str, found: re.Match[str], vocabulary: Vocabulary) -> Asymmetry:
    site, side, level = _parts(words, found["where"] or "", vocabulary)
    if side or level or (found["where"] and not site):
        raise _refusal(words, "takes the name of one reflex after the number, without a side")
    return Asymmetry(_number(words, found["number"]), site)


def _change(words: str, found: re.Match[str], vocabulary: Vocabulary) -> Change:
    site, side, level = _parts(words, found["where"] or "", vocabulary)
    if level or (found["where"] and not site):
        raise _refusal(words, "takes the name of one reflex after the days, with a side or without")
    return Change(
        _number(words, found["number"]),
        int(found["days"]) * _DAYS[found["unit"]],
        site,
        side,
        _WAYS[found["way"]],
    )


def _sign(words: str, text: str, vocabulary: Vocabulary) -> Sign:
    site, side, level = _parts(words, text, vocabulary)
    if not site or not level or side:
        raise _refusal(words, f"needs a level and a reflex, such as `absent ankle`, and not {text!r}")
    return Sign(site, _LEVELS[level])


def _number(words: str, written: str) -> float:
    number = float(written)
    if number <= 0:
        raise _refusal(words, "needs a number of grades above 0")
    return number


def _parts(words: str, text: str, vocabulary: Vocabulary) -> tuple[str | None, str | None, str | None]:
    """The reflex, the side and the level that a text names, each once at most."""
    tokens, at = tokens_of(text), 0
    found: dict[str, str] = {}
    while at < len(tokens):
        known, end = vocabulary.words.longest(tokens, at) or (None, at + 1)
        kind, value = (known.role, known.meaning) if known else (None, "")
        if kind == "value":
            kind, value = "level", _level(value, vocabulary)
        named = {"site": value.partition(":")[0] in vocabulary.reflexes, "level": value in _LEVELS}
        if kind in named | {"side": True} and named.get(kind, value in ("left", "right")):
            if kind in found:
                raise _refusal(words, f"names more than one {_CALLED[kind]} in {text!r}")
            found[kind] = value.partition(":")[0]
        elif any(token not in _PASSED for token in tokens[at:end]):
            raise _refusal(words, f"has a word that means nothing here: {' '.join(tokens[at:end])!r}")
        at = end
    return found.get("site"), found.get("side"), found.get("level")


_CALLED = {"site": "reflex", "side": "side", "level": "level"}


def _level(word: str, vocabulary: Vocabulary) -> str:
    descriptor = vocabulary.descriptors.get(word)
    return (descriptor.level if descriptor else None) or word


def _refusal(words: str, why: str) -> ArchiveError:
    shapes = "; ".join(SHAPES)
    return ArchiveError(f"The pattern {words!r} {why}; write it like one of these: {shapes}.")
