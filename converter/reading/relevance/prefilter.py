"""Tells quickly whether a note can speak of reflexes at all, so that most notes cost one pass.

Takes the vocabulary; gives tests for texts. They may say yes to a note without findings, never no to a note
with reflex wording. The sharper test looks for whole wordings; where the library that makes this fast is
missing the coarser one, which looks for parts of words, stands in.
"""

import re
from collections.abc import Callable, Iterator
from functools import lru_cache

from converter.reading.notation.letter_names import letter_series
from converter.reading.relevance.bare_tables import may_hold_bare_table
from converter.reading.relevance.patterns import (
    ANY_STEM,
    BESIDE_PLUS,
    EQUIVOCAL,
    OF_FOUR,
    SIDED_DIGIT,
    SIDED_SENTENCES,
    SIDED_TENDON,
    TRAILING_PLUS,
    Test,
    begins_reading,
    begins_where_graded,
    graded_places,
    places,
    plain_bytes,
    says_trace,
    searcher,
    slips,
    sorter,
    whole,
    without_look_alikes,
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
    stems = _stems(vocabulary)
    search = searcher(_beginning(vocabulary))
    if search is None:
        graded = re.compile(f"{_short_and_graded(vocabulary)}|{graded_places(vocabulary)}")

        def test(text: str) -> bool:
            lowered = text.lower()
            return any(map(lowered.__contains__, stems)) or graded.search(lowered) is not None

        return test
    return lambda text: search(text.lower().encode(errors="replace"))


@lru_cache(maxsize=8)
def worth_reading(vocabulary: Vocabulary) -> Test:
    """A test that is true for every text from which reading it whole gives anything.

    A sentence gives nothing before a wording that begins reading has been met, so a text without one is worth
    reading only where it may hold a table, or beside a legend or an order of sides, where a grade is listed
    even if nothing says what it is of.
    """
    sort = sorter(_sorts(vocabulary))
    if sort is None:
        return may_speak_of_reflexes(vocabulary)
    begins, may_hold_table = searcher(_beginning(vocabulary)), may_hold_bare_table(vocabulary)
    grades_joints, means_reflexes = _grades_joints(vocabulary), _means_reflexes(vocabulary)
    assert begins is not None

    def speaks(text: str, data: bytes) -> bool:
        found = sort(data)
        if _JOINTS in found and grades_joints(data):
            return True
        if _REFERS in found and _GRADED in found:
            return True
        lines = "\n" in text or "\r" in text
        if _SPEAKS in found and means_reflexes(data, lines or _REFERS in found):
            return True
        return lines and may_hold_table(text.lower())

    def test(text: str) -> bool:
        data = plain_bytes(text)
        return speaks(text, data) and begins(data)

    return test


_SPEAKS, _REFERS, _GRADED, _JOINTS = range(4)


def _sorts(vocabulary: Vocabulary) -> Iterator[str]:
    """Patterns in the order of their numbers; none of them counts, which would be slow beside the others."""
    named = _worded(vocabulary, lambda row: begins_reading(row) or begins_where_graded(row))
    yield f"{named}|{letter_series(vocabulary)}|{ANY_STEM}"
    yield whole(row for row in vocabulary.rows if row.role in _REFERRING)
    yield TRAILING_PLUS
    yield places(vocabulary)


def _means_reflexes(vocabulary: Vocabulary) -> Callable[[bytes, bool], bool]:
    """A sharper test for a text with a wording that begins reading, for what only looks like one and tendons.

    A tendon is a reflex by itself only beside a grade as reflexes have it, beside a legend, or in the lines
    of a table; whether the text may hold one of the latter two is told with it.
    """
    patterns = [
        f"{_worded(vocabulary, begins_reading)}|{letter_series(vocabulary)}|{ANY_STEM}",
        _worded(vocabulary, begins_where_graded),
        f"{_worded(vocabulary, says_trace)}|{OF_FOUR}|{EQUIVOCAL}|{BESIDE_PLUS}|{SIDED_DIGIT}|{SIDED_TENDON}",
    ]
    sort, without = sorter(patterns), without_look_alikes(vocabulary)
    assert sort is not None

    def test(data: bytes, beside: bool) -> bool:
        found = sort(without(data))
        return 0 in found or (1 in found and (beside or 2 in found))

    return test


def _worded(vocabulary: Vocabulary, is_meant: Callable[[Word], bool]) -> str:
    """A pattern for the wordings of some rows, also where one of their words is misspelt."""
    rows = [row for row in vocabulary.rows if is_meant(row)]
    return f"{whole(rows)}|{slips(vocabulary, rows)}"


def _beginning(vocabulary: Vocabulary) -> str:
    """A pattern for every part of a word that can begin a finding."""
    graded = [_short_and_graded(vocabulary), graded_places(vocabulary)]
    return "|".join([*map(re.escape, _stems(vocabulary)), *graded])


def _stems(vocabulary: Vocabulary) -> tuple[str, ...]:
    """For each wording that can begin a finding its longest word; of those, only what no other contains."""
    words = set(_STEMS) | {
        max(tokens_of(wording), key=len)
        for row in vocabulary.rows
        if _begins_finding(row)
        for wording in wordings(row.phrase)
    }
    kept: list[str] = []
    for word in sorted(words, key=len):
        if not any(shorter in word for shorter in kept):
            kept.append(word)
    return tuple(sorted(kept))


def _several_joints(vocabulary: Vocabulary) -> Callable[[bytes], bool]:
    """A test for the names of two joints: graded beside one another they stand for their reflexes."""
    names: dict[str, set[bytes]] = {}
    for row in vocabulary.rows:
        if row.role == "site" and "place" in row.flags:
            names.setdefault(row.meaning, set()).update(word.encode() for word in wordings(row.phrase))
    return lambda data: sum(any(map(data.__contains__, joint)) for joint in names.values()) > 1


@lru_cache(maxsize=8)
def may_grade_joints(vocabulary: Vocabulary) -> Test:
    """A test that is true for every text in which places, graded in a row, may stand for reflexes."""
    grades = _grades_joints(vocabulary)
    sided = searcher(rf"{SIDED_DIGIT}[^a-z0-9]{{1,4}}{SIDED_DIGIT}|{SIDED_SENTENCES}")

    def test(text: str) -> bool:
        data = plain_bytes(text)
        return grades(data) or (sided is not None and sided(data))

    return test


def _grades_joints(vocabulary: Vocabulary) -> Callable[[bytes], bool]:
    graded, several = searcher(graded_places(vocabulary)), _several_joints(vocabulary)
    return lambda data: several(data) and (graded is None or graded(data))


def _short_and_graded(vocabulary: Vocabulary) -> str:
    """A pattern for short names of tendons right before a grade, "bi 2+", and letters as names in a table.

    Alone they say nothing.
    """
    names = {
        wording
        for row in vocabulary.rows
        if row.role == "site" and row.meaning in _TENDONS and {"short", "joint"} <= row.flags
        for wording in wordings(row.phrase)
    }
    alone = "".join(letter for letter in sorted(vocabulary.cells.letters) if len(letter) == 1)
    in_heads = rf"(?:^|[\r\n])[ \t|]*(?:[{alone}][ \t|]+){{2,}}"
    in_rows = rf"(?:^|[\r\n])[ \t|]*[{alone}][ \t|:]+[+0-4]"
    name = rf"\b(?:{'|'.join(sorted(names))})"
    side = r"(?:[rl][^a-z0-9]{1,2})?"
    graded = rf"{name}\b[^a-z0-9]{{0,12}}(?:[rl][^a-z0-9]{{0,2}})?[+]?[0-4]|{name}[0-4]"
    inverted = rf"\binverted[^a-z0-9]{{1,3}}{side}{name}\b|{name}\b[^a-z0-9]{{1,3}}{side}inverted"
    return rf"{graded}|{inverted}|\brefs?\b|{in_heads}|{in_rows}|{letter_series(vocabulary)}"


def _begins_finding(row: Word) -> bool:
    tendon = row.role == "site" and row.meaning in _TENDONS and not row.flags & {"place", "short", "root"}
    return bool(row.flags & _SPEAKING) or tendon
