"""Names reflexes that a line lists by a letter each: "B 2+ T 2+ K 3+ A 2+", "B2, T2, K3", "B (2+) | K (1+)".

Takes the text and the tokens of a note; gives the tokens with such letters as names. A letter says nothing by
itself, so a series must grade three reflexes or more, of arms and legs, or two behind a word for reflexes,
each once. One of all four, as "B 2/2 T 2/2 K 2/2 A 1/1", means reflexes where no other word says so.
"""

import re
from bisect import bisect_left
from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache

from converter.reading.tokens import Token, value_at
from converter.reading.written import Pair, Written
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
_INITIALS, _REACH = 2, 6
_STRONGEST = 5
"""The best grade of strength."""


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


def with_tendons_named(text: str, tokens: list[Token], vocabulary: Vocabulary) -> list[Token]:
    """The tokens of a note; a muscle's name is a tendon's where it is graded in a list of reflexes.

    As in "BJ 2+, KJ 2+, TA 1+": beside names of reflexes and of nothing else that is examined, with a grade
    that strength seldom has, "TA" is the tendo Achillis, unless the ankle is named too. Elsewhere it is the
    tibialis anterior. A line of its own counts with the lines above it: "Deltoid  R 1+" under "Jaw  1+".
    """
    names = vocabulary.cells.among_reflexes
    found = list(tokens)
    for index, token in enumerate(tokens):
        name = text[token.start : token.end]
        site = names.get(name.lower()) if token.kind == "other_exam" else None
        if site is None or (len(name) <= _INITIALS and not name.isupper()):
            continue
        beside = _beside(text, found, index)
        if _graded_low(tokens[index + 1 : index + _REACH]) and _lists_reflexes(text, beside, site):
            found[index] = replace(token, kind="site", meaning=site, flags=_TENDON)
    return found


def _beside(text: str, tokens: list[Token], index: int) -> list[Token]:
    """The other tokens of the sentence, and of the lines above it up to an empty one."""
    start = end = index
    while start and not _ends_list(text, tokens, start - 1):
        start -= 1
    while end < len(tokens) and tokens[end].kind != "newline" and not _ends_list(text, tokens, end):
        end += 1
    return [*tokens[start:index], *tokens[index + 1 : end]]


def _ends_list(text: str, tokens: list[Token], index: int) -> bool:
    blank = tokens[index].kind == "newline" and index > 0 and tokens[index - 1].kind == "newline"
    return blank or (tokens[index].kind == "stop" and text[tokens[index].start] != ";")


def _lists_reflexes(text: str, tokens: list[Token], other: str) -> bool:
    """Whether tokens name a reflex or the patella, not muscles alone, and nothing else, but not the other."""
    sites = [token for token in tokens if token.kind == "site"]
    foreign = any(token.kind in ("other_exam", "look_alike") for token in tokens)
    reflexes = any("trigger" in t.flags or text[t.start : t.end].lower().startswith("pat") for t in sites)
    reflexes = reflexes or (bool(sites) and any(token.kind == "reflex" for token in tokens))
    return reflexes and not foreign and not any(token.meaning == other for token in sites)


def _graded_low(tokens: list[Token]) -> bool:
    """Whether the first grade is one as reflexes have it: "1+", "2/4", "1+/1+"."""
    value = next((token for token in tokens if token.kind not in ("side", "is", "colon", "equals")), None)
    written = value.written if value is not None else None
    if isinstance(written, Pair):
        plus = written.first.plus == "trailing" or (written.first.counted and written.second.counted)
        return written.second.low == _STRONGEST - 1 or plus
    if not isinstance(written, Written) or (written.high or 0) >= _STRONGEST - 1:
        return False
    return written.plus == "trailing" or (written.counted and written.polarity is None)


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
