"""Tells whether a text may hold a table of reflexes without one word that speaks of reflexes.

Takes the vocabulary; gives a test for texts, such as "R  L" over "Knee  2+  2+". The test says yes too often,
never no where there is such a table: its heads name two sides, one word for both, or two places, and a line
right below them, without an empty line between, begins with a place or a side and holds a value.
"""

import re
from collections.abc import Callable, Iterable
from functools import lru_cache, partial

from converter.reading.patterns import LETTERS, words_in
from converter.reading.table_heads import HEAD_KINDS
from converter.words import Vocabulary, Word

_MOST_HEADS = 80
"""Words of a line that is too long for heads; some of them may be fillers, which are no tokens."""
_FIRST = 4
"""Words among which the name of a row begins."""
_FIRST_LETTERS = 80
"""Letters of a line that mostly hold them."""
_VALUES = frozenset("0123456789+-\u2013\u2014\u00b1\u2191\u2193")
_NUMBERED = re.compile(r"\s*\d[.)]\s")
"""The number of a list is a value, which stands in no line of heads."""
_GAP = re.compile(r"\t|[ \u00a0]{2,}|\.{3,}|…|[|;,]")
_LABEL = 2
"""Words before heads one blank apart, which need not be known; other heads stand in cells of their own."""
_SAID = frozenset({"value", "polarity", "response", "untested", "no", "clonus_word", "quality"})


@lru_cache(maxsize=8)
def may_hold_bare_table(vocabulary: Vocabulary) -> Callable[[str], bool]:
    """A test that is true for every text, in lower case, in which such a table stands."""
    left, right, both = (_words(vocabulary, partial(_names_side, side)) for side in _SIDES)
    places = _words(vocabulary, lambda row: row.role in ("site", "region"))
    names = places | left | right | both
    values = _words(vocabulary, lambda row: row.role in _SAID)

    legends = _words(vocabulary, lambda row: row.role == "legend")
    known, never = _words_of_heads(vocabulary)

    def may_be_heads(line: str, words: list[str]) -> bool:
        sided = not left.isdisjoint(words) and not right.isdisjoint(words)
        several = sided or sum(word in places for word in words) >= 2
        if not several and both.isdisjoint(words):
            return False
        if not legends.isdisjoint(words):
            return True
        if _NUMBERED.match(line) or not never.isdisjoint(words):
            return False
        return (several and strange(words) <= _LABEL) or any(map(is_head, _GAP.split(line)))

    def is_head(cell: str) -> bool:
        words = LETTERS.findall(cell)
        return not names.isdisjoint(words) and not strange(words)

    def strange(words: list[str]) -> int:
        return sum(len(word) > 1 and word not in known for word in words)

    def may_be_row(line: str) -> bool:
        if names.isdisjoint(_first_words(line)):
            return False
        return not (_VALUES.isdisjoint(line) and values.isdisjoint(LETTERS.findall(line)))

    def test(text: str) -> bool:
        lines = text.splitlines()
        unseen, headed = 0, False
        for index, line in enumerate(lines):
            if not line or line.isspace() or _is_too_long(line):
                unseen, headed = index + 1, False
            elif may_be_row(line):  # few lines are, so what stands above is looked at only now
                headed = headed or any(
                    may_be_heads(above, LETTERS.findall(above)) for above in lines[unseen:index]
                )
                if headed:
                    return True
                unseen = index
        return False

    return test


def _first_words(line: str) -> list[str]:
    words = LETTERS.findall(line[:_FIRST_LETTERS])
    if len(words) <= _FIRST and len(line) > _FIRST_LETTERS:
        words = LETTERS.findall(line)
    return words[:_FIRST]


def _is_too_long(line: str) -> bool:
    return len(line) >= 2 * _MOST_HEADS and len(line.split(None, _MOST_HEADS)) > _MOST_HEADS


_SIDES = ("left", "right", "both")


def _names_side(side: str, row: Word) -> bool:
    return (row.role == "side" and row.meaning == side) or (
        row.role == "region" and row.meaning.endswith(f":{side}")
    )


def _words(vocabulary: Vocabulary, is_meant: Callable[[Word], bool]) -> frozenset[str]:
    """The longest word of each wording of some rows."""
    rows: Iterable[Word] = filter(is_meant, vocabulary.rows)
    return frozenset(max(words, key=len) for row in rows for words in words_in(row.phrase) if words)


def _words_of_heads(vocabulary: Vocabulary) -> tuple[frozenset[str], frozenset[str]]:
    """The words that wordings of a line of heads hold, and those that none of them holds, as "brisk"."""
    inside: set[str] = set()
    outside: set[str] = set()
    for row in vocabulary.rows:
        into = inside if row.role in HEAD_KINDS or row.role == "filler" else outside
        for words in words_in(row.phrase):
            into.update(words)
    return frozenset(inside), frozenset(outside - inside)
