"""Tells quickly whether a note can speak of reflexes at all, so that most notes cost one pass.

Takes the vocabulary; gives a test for texts. It may say yes to a note without findings, never no to a note
with reflex wording.
"""

from collections.abc import Callable
from functools import lru_cache

from converter.words import Vocabulary, Word
from converter.words.phrases import tokens_of, wordings

_STEMS = frozenset(
    {
        "reflex",
        "refle",
        "relfex",
        "relex",
        "refelx",
        "refex",
        "reflx",
        "rfelex",
        "erflex",
        "clonus",
        "jerk",
        "babins",
        "hoffman",
        "hofman",
        "tromner",
        "trömner",
    }
    | {"plantar", "palmom", "glabell", "snout", "cremast", "bulbocav", "dtr", "msr", "atnr", "moro"}
)
"""Stems that count whatever the word lists hold."""
_TENDONS = frozenset({"biceps", "triceps", "brachioradialis", "patellar", "achilles"})


@lru_cache(maxsize=8)
def may_speak_of_reflexes(vocabulary: Vocabulary) -> Callable[[str], bool]:
    """A test that is true for every text in which a word of the vocabulary can begin a finding."""
    stems = _stems(vocabulary)

    def test(text: str) -> bool:
        lowered = text.lower()
        return any(stem in lowered for stem in stems)

    return test


def _stems(vocabulary: Vocabulary) -> tuple[str, ...]:
    """For each wording that can begin a finding its longest word; of those, only what no other contains."""
    words = set(_STEMS) | {
        max(tokens_of(wording), key=len)
        for row in vocabulary.rows
        if _begins_finding(row)
        for wording in wordings(row.phrase)
    }
    return tuple(
        word for word in sorted(words) if not any(other in word and other != word for other in words)
    )


def _begins_finding(row: Word) -> bool:
    tendon = row.role == "site" and row.meaning in _TENDONS and not row.flags & {"place", "short", "root"}
    return bool(row.flags & {"trigger", "testing", "toes", "plantars"}) or tendon
