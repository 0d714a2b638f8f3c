"""Patterns for whole wordings of the vocabulary, searched for in one pass by `google-re2`.

Takes rows of the word lists; gives tests for texts. A test may say yes too often (whatever stands between
two words of a wording is passed over) but never no where a wording stands.
"""

import re
from collections.abc import Callable, Iterable
from functools import lru_cache

from converter.reading.stems import STEMS
from converter.reading.tables import HEAD_KINDS
from converter.words import Vocabulary, Word
from converter.words.phrases import tokens_of, wordings

Test = Callable[[str], bool]

LETTERS = re.compile(r"[^\W\d_]+")
_LINES = re.compile(r"[^\r\n]+")
_SPEAKING = frozenset({"trigger", "testing", "toes", "plantars"})
_NEVER_ALONE = frozenset({"place", "root", "infant", "plantars"})
"""Sites that a grade alone does not make a reflex; the others do, as in "biceps 2+"."""
_APOSTROPHES = tuple((mark * 2, " ") for mark in "'’`´") + tuple((mark, "") for mark in "'’`´")
_PARTED = r"(?:\t|  |\xc2\xa0|[.][.][.]|\xe2\x80\xa6|[|]|;)"
"""What parts the cells of a line, in UTF-8."""
_MEMORY = 64 << 20
ANY_STEM = STEMS.pattern.replace(r"\b", "")
"""Every stem of reflex talk, also where an apostrophe that parted words is gone."""


def plain_bytes(text: str) -> bytes:
    """Text as patterns see it, in UTF-8: lower case, and without apostrophes, as words are compared."""
    lowered = text.lower()
    if "'" in lowered or "`" in lowered or not lowered.isascii():
        for mark, instead in _APOSTROPHES:
            lowered = lowered.replace(mark, instead)
    try:
        return lowered.encode()
    except UnicodeEncodeError:  # half characters, which sources repair
        return lowered.encode(errors="replace")


def searcher(pattern: str) -> Callable[[bytes], bool] | None:
    """A test for a pattern in UTF-8, linear in the text; None where the library is missing."""
    try:
        import re2
    except ImportError:
        return None
    options = re2.Options()
    options.encoding = re2.Options.Encoding.LATIN1  # byte by byte: no letter beyond ASCII bounds a word
    options.never_capture, options.log_errors, options.max_mem = True, False, _MEMORY
    search = re2.compile(pattern.encode(), options).search
    return lambda data: search(data) is not None


def whole(rows: Iterable[Word]) -> str:
    """A pattern for the whole wordings of rows, whatever stands between their words."""
    found = {"[^a-z]+".join(words) for row in rows for words in _words_in(row.phrase)}
    return f"(?:^|[^a-z])(?:{'|'.join(sorted(found - {''}))})(?:[^a-z]|$)"


def begins_reading(row: Word) -> bool:
    """Whether a wording makes its sentence one that is read even where nothing was said before it."""
    tendon = row.role == "site" and "joint" in row.flags and not row.flags & _NEVER_ALONE
    return bool(row.flags & _SPEAKING) or row.role == "reflex" or tendon


def heads(vocabulary: Vocabulary) -> str:
    """A pattern for two sides, or two places, in different cells of one line."""
    sides = [row for row in vocabulary.rows if row.role == "side" and row.meaning in ("left", "right")]
    places = [row for row in vocabulary.rows if row.role in ("site", "region") and not begins_reading(row)]
    return "|".join(
        f"{named}(?:[^\r\n]*[^\r\na-z])??{_PARTED}(?:[^\r\n]*[^\r\na-z])??{named}"
        for named in map(whole, (sides, places))
    )


def heads_test(vocabulary: Vocabulary) -> Callable[[bytes], bool] | None:
    """A test for a line that may be the heads of a table without reflex wording of its own."""
    in_line, never = searcher(heads(vocabulary)), _never_in_heads(vocabulary)
    if in_line is None:
        return None

    def test(data: bytes) -> bool:
        return in_line(data) and any(
            never.isdisjoint(LETTERS.findall(line)) and in_line(line.encode())
            for line in _LINES.findall(data.decode())
        )

    return test


def _never_in_heads(vocabulary: Vocabulary) -> frozenset[str]:
    """Words that no wording of a line of heads holds, as "was"."""
    inside: set[str] = set()
    outside: set[str] = set()
    for row in vocabulary.rows:
        into = inside if row.role in HEAD_KINDS or row.role == "filler" else outside
        for words in _words_in(row.phrase):
            into.update(words)
    return frozenset(outside - inside)


@lru_cache(maxsize=4096)
def _words_in(phrase: str) -> tuple[tuple[str, ...], ...]:
    """The words of each wording of a notation, without numbers and marks."""
    return tuple(
        tuple(part for token in tokens_of(wording) for part in LETTERS.findall(token))
        for wording in wordings(phrase)
    )
