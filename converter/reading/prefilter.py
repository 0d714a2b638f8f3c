"""Tells quickly whether a note can speak of reflexes at all, so that most notes cost one pass.

Takes the vocabulary; gives tests for texts. They may say yes to a note without findings, never no to a note
with reflex wording. The sharper test looks for whole wordings; where the library that makes this fast is
missing the coarser one, which looks for parts of words, stands in.
"""

import re
from functools import lru_cache

from converter.reading.patterns import (
    ANY_STEM,
    Test,
    begins_reading,
    heads,
    heads_test,
    plain_bytes,
    searcher,
    whole,
)
from converter.words import Vocabulary, Word
from converter.words.phrases import tokens_of, wordings

_STEMS = frozenset(
    {"reflex", "refle", "relfex", "clonus", "jerk", "babins", "hoffman", "hofman", "tromner", "trömner"}
    | {"plantar", "palmom", "glabell", "snout", "cremast", "bulbocav", "dtr", "msr", "atnr", "moro"}
)
"""Stems that count whatever the word lists hold."""
_TENDONS = frozenset({"biceps", "triceps", "brachioradialis", "patellar", "achilles"})
_SPEAKING = frozenset({"trigger", "testing", "toes", "plantars"})


@lru_cache(maxsize=8)
def may_speak_of_reflexes(vocabulary: Vocabulary) -> Test:
    """A test that is true for every text in which a word of the vocabulary can begin a finding."""
    stems = _stems(vocabulary)
    search = searcher("|".join(map(re.escape, stems)))
    if search is None:
        return lambda text: any(map(text.lower().__contains__, stems))
    return lambda text: search(text.lower().encode(errors="replace"))


@lru_cache(maxsize=8)
def worth_reading(vocabulary: Vocabulary) -> Test:
    """A test that is true for every text from which reading it whole gives anything.

    A sentence gives nothing before a wording that begins reading has been met, and a table nothing without a
    line of heads; so a text that holds neither is not worth reading.
    """
    coarse = may_speak_of_reflexes(vocabulary)
    pattern = f"{whole(filter(begins_reading, vocabulary.rows))}|{ANY_STEM}"
    either, speaks = searcher(f"{pattern}|{heads(vocabulary)}"), searcher(pattern)
    may_be_table = heads_test(vocabulary)
    if either is None or speaks is None or may_be_table is None:
        return coarse

    def test(text: str) -> bool:
        data = plain_bytes(text)
        return either(data) and coarse(text) and (speaks(data) or may_be_table(data))

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
    return bool(row.flags & _SPEAKING) or tendon
