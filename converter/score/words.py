"""Canonical words for the descriptors that labels use, from the vocabulary's own word lists."""

from converter.score.claims import Words
from converter.words import Vocabulary
from converter.words.phrases import tokens_of

_POLARITY = {"positive": "present", "negative": "absent"}
_ROLES = frozenset({"value", "condition", "polarity", "no"})


def canonical_words(vocabulary: Vocabulary) -> Words:
    """A function that gives the canonical word for a descriptor, else the descriptor itself."""
    known: dict[str, str] = {}

    def canonical(descriptor: str) -> str:
        if descriptor not in known:
            known[descriptor] = _looked_up(descriptor, vocabulary)
        return known[descriptor]

    return canonical


def _looked_up(descriptor: str, vocabulary: Vocabulary) -> str:
    if descriptor in vocabulary.descriptors:
        return descriptor
    tokens = tokens_of(descriptor)
    found = vocabulary.words.longest(tokens, 0)
    if found is None or found[1] < len(tokens) or found[0].role not in _ROLES:
        return descriptor
    word = found[0]
    return "absent" if word.role == "no" else _POLARITY.get(word.meaning, word.meaning)
