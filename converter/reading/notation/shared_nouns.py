"""Completes names that share a noun with the next: "knee and ankle clonus", "palmar and plantar grasps".

Takes the text, the tokens and the vocabulary; gives the tokens with the first name as what it means together
with that noun. A name that means the same by itself is left as it is.
"""

import re
from dataclasses import replace
from itertools import pairwise

from converter.reading.lexicon import lexicon_of
from converter.reading.tokens import Token
from converter.words import Vocabulary
from converter.words.phrases import tokens_of

_JOINERS = frozenset({"and", "slash"})
_PARTS = {"upper": "abdominal:upper", "lower": "abdominal:lower"}
_BEFORE_VALUE = frozenset({"value", "is", "colon", "side", "dash"})
_ENDS = frozenset({"newline", "stop"})
_THREE = 3
_ABDOMEN = re.compile(r"\b(?:upper|lower)\b", re.IGNORECASE)
_FIRST = frozenset({"other", "site", "region"})


def with_nouns_shared(text: str, tokens: list[Token], vocabulary: Vocabulary) -> list[Token]:
    """The tokens of a note, each name before "and" or a slash completed by the noun of the name behind it."""
    found = list(tokens)
    joiners = [index for index, token in enumerate(tokens) if token.kind in _JOINERS]
    for index in reversed(joiners):
        three = found[max(0, index - 1) : index + 2]
        if len(three) == _THREE and three[2].kind == "site" and three[0].kind in _FIRST:
            found[index - 1] = _completed(text, three[0], three[2], vocabulary) or three[0]
    return _parts_completed(text, found) if _ABDOMEN.search(text) else found


def _parts_completed(text: str, tokens: list[Token]) -> list[Token]:
    """As in "upper abdominal reflexes present, lower absent", "Abd refl: R upper +": each with its value."""
    abdominal: Token | None = None
    found: list[Token] = []
    for token, after in pairwise([*tokens, Token("end", len(text), len(text))]):
        if token.kind in _ENDS and text[token.start] != ";":
            abdominal = None
        elif token.kind == "site":
            abdominal = token if token.meaning.partition(":")[0] == "abdominal" else None
        part = _PARTS.get(text[token.start : token.end].lower()) if abdominal is not None else None
        placed = after.kind in _BEFORE_VALUE or (bool(found) and found[-1].kind == "at")
        if abdominal is not None and part is not None and placed:
            token = replace(token, kind="site", meaning=part, flags=abdominal.flags | {"trigger"})
        found.append(token)
    return found


def _completed(text: str, first: Token, last: Token, vocabulary: Vocabulary) -> Token | None:
    """The first name with the noun of the last, or None where no list holds it or it means the same."""
    nouns = tokens_of(text[last.start : last.end].lower())[1:]
    own = tokens_of(text[first.start : first.end].lower())
    if not nouns or len(own) != 1 or not all(noun.isalpha() for noun in nouns):
        return None
    row = vocabulary.words.longest([*own, *nouns], 0)
    if row is None or row[1] != len(nouns) + 1 or row[0].role != "site":
        return None
    sense = lexicon_of(vocabulary).sense(row[0])
    alike = sense.meaning.partition(":")[0] == first.meaning.partition(":")[0]
    if alike and first.kind == "site":
        return None
    return replace(first, kind="site", meaning=sense.meaning, flags=sense.flags, written=None)
