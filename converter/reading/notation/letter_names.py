"""Names reflexes that a line lists by a letter each: "B 2+ T 2+ K 3+ A 2+", "B2, T2, K3", "B (2+) | K (1+)".

Takes the text and the tokens of a note; gives the tokens with such letters as names. A letter says nothing by
itself, so a series must grade three reflexes or more, of arms and legs, or two behind a word for reflexes,
each once. One of all four, as "B 2/2 T 2/2 K 2/2 A 1/1", means reflexes where no other word says so.
"""

import re
from bisect import bisect_left
from collections.abc import Iterator
from functools import lru_cache

from converter.reading.tokens import Token, value_at
from converter.words import Vocabulary

_FEWEST = 3
_LINE = 300
"""Characters of a line in which its word for reflexes is looked for."""
_GRADE = r"(?:[+][0-4]|[0-4][+]{0,3}|[+]{1,4})"
_VALUE = rf"(?:{_GRADE}(?:/{_GRADE})?|trace|tr|absent|nil|±)"
_BOUND = r"(?![\w/+]|\.\d)"
_JOIN = r"[ \t]*[,;|]?[ \t]*(?:and[ \t]+|&[ \t]*)?"
_BESIDE_NAME = r"[ \t]?(?:[:=-]|–)?[ \t]?[(\[]?"
_CLOSE = r"[)\]]?"
_SIDED = rf"(?:R[ ]?=[ ]?L|[RL])[ :]?[ ]?{_VALUE}(?:[ ]?[,/]?[ ]?[RL][ :]?[ ]?{_VALUE})?"
"""Values with their sides, "R 2+ L 1+", "R=L 2+"."""
_SLASHED = re.compile(r"(?<![\w/])[A-Z](?:/[A-Z]){3,5}(?![\w/])")
_ARMS = frozenset({"biceps", "triceps", "brachioradialis"})
_LEGS = frozenset({"patellar", "achilles"})
_ALL = frozenset({"biceps", "triceps", "patellar", "achilles"})
_TENDON = frozenset({"joint", "short"})
_SPEAKING = _TENDON | {"trigger"}


def with_letters_named(text: str, tokens: list[Token], vocabulary: Vocabulary) -> list[Token]:
    """The tokens of a note; each letter of a series of graded reflexes is the name of one."""
    nouns = [token.start for token in tokens if token.kind == "reflex"]
    named: list[list[Token]] = []
    for match in _series(vocabulary).finditer(text):
        groups = list(_groups(match, vocabulary))
        sites = [group[0].meaning for group in groups]
        each_once = len(set(sites)) == len(sites)
        if each_once and (_grades_arms_and_legs(sites) or _spoken(text, nouns, match.start())):
            groups[0][0].flags = _SPEAKING if set(sites) >= _ALL else _TENDON
            named += groups
    named += _slashed(text, vocabulary)
    return _replaced(text, tokens, sorted(named, key=lambda group: group[0].start)) if named else tokens


def _slashed(text: str, vocabulary: Vocabulary) -> list[list[Token]]:
    """The names of "B/S/T/K/A": letters of tendons of arms and legs alone, parted by slashes."""
    found: list[list[Token]] = []
    for match in _SLASHED.finditer(text):
        letters = match[0].split("/")
        sites = [vocabulary.cells.letters.get(letter.lower()) for letter in letters]
        known = [site for site in sites if site is not None]
        if len(set(known)) == len(letters) and set(known) >= _ALL:
            places = range(match.start(), match.end(), 2)
            found += [
                [Token("site", at, at + 1, site, _SPEAKING)] for at, site in zip(places, known, strict=True)
            ]
    return found


def letter_series(vocabulary: Vocabulary) -> str:
    """A pattern, in lower case, for what may be a series of letters with their grades."""
    value = rf"(?:{_VALUE}|{_SIDED.lower()})"
    one = rf"(?:{'|'.join(_names(vocabulary))}){_BESIDE_NAME}{value}{_CLOSE}"
    single = "".join(name for name in _names(vocabulary) if len(name) == 1)
    slashed = rf"\b[{single}](?:/[{single}]){{3,5}}\b"
    return rf"\b{one}(?:{_JOIN}{one}){{{_FEWEST - 1},}}|{slashed}"


def _names(vocabulary: Vocabulary) -> list[str]:
    return sorted(vocabulary.cells.letters, key=lambda name: (-len(name), name))


@lru_cache(maxsize=8)
def _one(vocabulary: Vocabulary) -> re.Pattern[str]:
    names = "|".join(name[0].upper() + f"(?i:{name[1:]})" for name in _names(vocabulary))
    value = rf"(?:(?P<value>{_VALUE})|{_SIDED})"
    return re.compile(rf"(?P<name>{names}){_BESIDE_NAME}{value}{_BOUND}{_CLOSE}")


@lru_cache(maxsize=8)
def _series(vocabulary: Vocabulary) -> re.Pattern[str]:
    one = re.sub(r"\?P<\w+>", "?:", _one(vocabulary).pattern)
    return re.compile(rf"(?<![\w/]){one}(?:{_JOIN}{one})+")


def _groups(series: re.Match[str], vocabulary: Vocabulary) -> Iterator[list[Token]]:
    """Each name with its grade; a grade in words, and one with its side, is a token already."""
    for one in _one(vocabulary).finditer(series.string, series.start(), series.end()):
        site = vocabulary.cells.letters[one["name"].lower()]
        name = Token("site", one.start("name"), one.end("name"), site, _TENDON)
        touches = one.start("value") == one.end("name")
        value = value_at(series.string, one.start("value"), touches) if one["value"] else None
        yield [name, value] if value is not None else [name]


def _grades_arms_and_legs(sites: list[str]) -> bool:
    return len(sites) >= _FEWEST and not _ARMS.isdisjoint(sites) and not _LEGS.isdisjoint(sites)


def _spoken(text: str, nouns: list[int], start: int) -> bool:
    """Whether reflexes are named before a place in the same line and sentence: "UL reflexes: B 2+, T 1+"."""
    reach = max(0, start - _LINE)
    line = max(reach, *(text.rfind(mark, reach, start) + 1 for mark in ("\n", "\r", ". ")))
    before = bisect_left(nouns, start)
    return before > 0 and nouns[before - 1] >= line


def _replaced(text: str, tokens: list[Token], groups: list[list[Token]]) -> list[Token]:
    """The tokens with those of the groups in place of what stood there."""
    spans = [(group[0].start, _past_bracket(text, group)) for group in groups]
    apart: list[Token] = []
    place = 0
    for token in tokens:
        while place < len(spans) and spans[place][1] <= token.start:
            place += 1
        if place == len(spans) or token.end <= spans[place][0]:
            apart.append(token)
    named = [token for group in groups for token in group]
    return sorted([*apart, *named], key=lambda token: token.start)


def _past_bracket(text: str, group: list[Token]) -> int:
    """Where a name with its grade ends, with the bracket that closes around the grade."""
    end = group[-1].end
    return end + (len(group) > 1 and text[end : end + 1] in (")", "]"))
