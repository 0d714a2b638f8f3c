"""Tells quickly whether a note can speak of reflexes at all, so that most notes cost one pass.

Takes the vocabulary; gives tests for texts. They may say yes to a note without findings, never no to a note
with reflex wording. The sharper test looks for whole wordings; where the library that makes this fast is
missing the coarser one, which looks for parts of words, stands in.
"""

import re
from functools import lru_cache

from converter.reading.bare_tables import may_hold_bare_table
from converter.reading.patterns import (
    ANY_STEM,
    TRAILING_PLUS,
    Test,
    begins_reading,
    graded_places,
    plain_bytes,
    searcher,
    slips,
    whole,
)
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
_REFERRING = frozenset({"legend", "side_ref"})
_SPEAKING = frozenset({"trigger", "testing", "toes", "plantars"})


@lru_cache(maxsize=8)
def may_speak_of_reflexes(vocabulary: Vocabulary) -> Test:
    """A test that is true for every text in which a word of the vocabulary can begin a finding."""
    stems, short = _stems(vocabulary), _short_and_graded(vocabulary)
    graded_joints = graded_places(vocabulary)
    search = searcher("|".join([*map(re.escape, stems), short, graded_joints]))
    if search is None:
        graded = re.compile(f"{short}|{graded_joints}")

        def test(text: str) -> bool:
            lowered = text.lower()
            return any(map(lowered.__contains__, stems)) or graded.search(lowered) is not None

        return test
    return lambda text: search(text.lower().encode(errors="replace"))


@lru_cache(maxsize=8)
def worth_reading(vocabulary: Vocabulary) -> Test:
    """A test that is true for every text from which reading it whole gives anything.

    A sentence gives nothing before a wording that begins reading has been met, so a text without one is worth
    reading only where it may hold a table.
    """
    coarse = may_speak_of_reflexes(vocabulary)
    speaking = whole(filter(begins_reading, vocabulary.rows))
    speaks = searcher(f"{speaking}|{slips(vocabulary)}|{ANY_STEM}")
    if speaks is None:
        return coarse
    may_hold_table = may_hold_bare_table(vocabulary)
    refers = searcher(whole(row for row in vocabulary.rows if row.role in _REFERRING)) or speaks
    graded = searcher(TRAILING_PLUS) or speaks
    grades_places = searcher(graded_places(vocabulary)) or speaks
    joints = _joints(vocabulary)

    def may_leave_grades(data: bytes) -> bool:
        """Beside a legend or an order of sides a grade is listed even where nothing says what it is of."""
        return refers(data) and graded(data)

    def grades_joints(data: bytes) -> bool:
        """Two joints with their grades are reflexes even where nothing else is said of them."""
        return grades_places(data) and sum(any(map(data.__contains__, names)) for names in joints) > 1

    def test(text: str) -> bool:
        if not coarse(text):
            return False
        data = plain_bytes(text)
        if speaks(data) or may_leave_grades(data) or grades_joints(data):
            return True
        return ("\n" in text or "\r" in text) and may_hold_table(text.lower())

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


def _joints(vocabulary: Vocabulary) -> tuple[tuple[bytes, ...], ...]:
    """The names of each joint that may stand for its reflex."""
    names: dict[str, set[bytes]] = {}
    for row in vocabulary.rows:
        if row.role == "site" and "place" in row.flags:
            names.setdefault(row.meaning, set()).update(word.encode() for word in wordings(row.phrase))
    return tuple(map(tuple, names.values()))


def _short_and_graded(vocabulary: Vocabulary) -> str:
    """A pattern for short names of tendons right before a grade, "bi 2+"; alone they say nothing."""
    names = {
        wording
        for row in vocabulary.rows
        if row.role == "site" and row.meaning in _TENDONS and {"short", "joint"} <= row.flags
        for wording in wordings(row.phrase)
    }
    return rf"\b(?:{'|'.join(sorted(names))})\b[^a-z0-9]{{0,3}}(?:[rl][^a-z0-9]{{0,2}})?[+]?[0-4]"


def _begins_finding(row: Word) -> bool:
    tendon = row.role == "site" and row.meaning in _TENDONS and not row.flags & {"place", "short", "root"}
    return bool(row.flags & _SPEAKING) or tendon
