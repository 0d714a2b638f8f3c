"""Tells whether a text may hold a table of reflexes without one word that speaks of reflexes.

Takes the vocabulary; gives a test for texts, such as "R  L" over "Knee  2+  2+". The test says yes too often,
never no where there is such a table: its heads name two sides, one word for both, or two places, and a line
right below them, without an empty line between, begins with a place or a side and holds a value.
"""

import re
from collections.abc import Callable, Iterable
from functools import lru_cache, partial

from converter.reading.layouts.table_heads import HEAD_KINDS
from converter.reading.relevance.patterns import LETTERS, words_in
from converter.words import Vocabulary, Word

_MOST_HEADS = 80
"""Words of a line that is too long for heads; some of them may be fillers, which are no tokens."""
_FIRST = 4
"""Words among which the name of a row begins."""
_FIRST_LETTERS = 80
"""Letters of a line that mostly hold them."""
_FEWEST_LETTERS = 3
"""Heads of a line that names reflexes by letters; its first word may say something else."""
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
    return _BareTables(vocabulary).may_stand_in


class _BareTables:
    """What lines of heads and rows may hold, by one vocabulary."""

    def __init__(self, vocabulary: Vocabulary) -> None:
        self._left, self._right, self._both = (
            _words(vocabulary, partial(_names_side, side)) for side in _SIDES
        )
        self._places = _words(vocabulary, lambda row: row.role in ("site", "region"))
        self._names = self._places | self._left | self._right | self._both
        self._values = _words(vocabulary, lambda row: row.role in _SAID)
        self._named = self._places | frozenset(vocabulary.cells.letters)
        self._rows = _names_of_rows(vocabulary)
        self._legends = _words(vocabulary, lambda row: row.role == "legend")
        self._known, self._never = _words_of_heads(vocabulary)

    def may_stand_in(self, text: str) -> bool:
        """Whether such a table may stand in a text in lower case."""
        lines = text.splitlines()
        unseen, headed = 0, False
        for index, line in enumerate(lines):
            if not line or line.isspace() or _is_too_long(line):
                unseen, headed = index + 1, False
            elif self._may_be_row(line):  # few lines are, so what stands above is looked at only now
                headed = headed or any(map(self._may_be_heads, lines[unseen:index]))
                if headed:
                    return True
                unseen = index
        return False

    def _may_be_heads(self, line: str) -> bool:
        words = LETTERS.findall(line)
        if len(words) >= _FEWEST_LETTERS and sum(word in self._named for word in words) >= len(words) - 1:
            return True
        sided = not self._left.isdisjoint(words) and not self._right.isdisjoint(words)
        several = sided or sum(word in self._places for word in words) >= 2
        if not several and self._both.isdisjoint(words):
            return False
        if not self._legends.isdisjoint(words):
            return True
        if _NUMBERED.match(line) or not self._never.isdisjoint(words):
            return False
        return (several and self._strange(words) <= _LABEL) or any(map(self._is_head, _GAP.split(line)))

    def _is_head(self, cell: str) -> bool:
        words = LETTERS.findall(cell)
        return not self._names.isdisjoint(words) and not self._strange(words)

    def _strange(self, words: list[str]) -> int:
        return sum(len(word) > 1 and word not in self._known for word in words)

    def _may_be_row(self, line: str) -> bool:
        first = _first_words(line)
        if self._names.isdisjoint(first) and self._rows.isdisjoint(first[:1]):
            return False
        return not (_VALUES.isdisjoint(line) and self._values.isdisjoint(LETTERS.findall(line)))


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


def _names_of_rows(vocabulary: Vocabulary) -> frozenset[str]:
    """The words of cells that begin the name of a row."""
    cells = vocabulary.cells
    return frozenset(LETTERS.findall(name)[0] for name in [*cells.letters, *cells.limbs, *cells.names])


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
