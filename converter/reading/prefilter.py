"""Tells quickly whether a note can speak of reflexes at all, so that most notes cost one pass.

Takes the vocabulary; gives tests for texts. They may say yes to a note without findings, never no to a note
with reflex wording. The sharper test looks for whole wordings with `google-re2`, in one pass whatever their
number; where that library is missing the coarser one, which looks for parts of words, stands in.
"""

import re
from collections.abc import Callable, Iterable, Iterator
from functools import lru_cache

from converter.reading.stems import STEMS
from converter.reading.tables import HEAD_KINDS
from converter.words import Vocabulary, Word
from converter.words.phrases import tokens_of, wordings

_STEMS = frozenset(
    {"reflex", "refle", "relfex", "clonus", "jerk", "babins", "hoffman", "hofman", "tromner", "trömner"}
    | {"plantar", "palmom", "glabell", "snout", "cremast", "bulbocav", "dtr", "msr", "atnr", "moro"}
)
"""Stems that count whatever the word lists hold."""
_TENDONS = frozenset({"biceps", "triceps", "brachioradialis", "patellar", "achilles"})
_SPEAKING = frozenset({"trigger", "testing", "toes", "plantars"})
_NEVER_ALONE = frozenset({"place", "root", "infant", "plantars"})
"""Sites that a grade alone does not make a reflex; the others do, as in "biceps 2+"."""
_LETTERS = re.compile(r"[^\W\d_]+")
_LINES = re.compile(r"[^\r\n]+")
_APOSTROPHES = tuple((mark * 2, " ") for mark in "'’`´") + tuple((mark, "") for mark in "'’`´")
_PARTED = r"(?:\t|  |\xc2\xa0|[.][.][.]|\xe2\x80\xa6|[|]|;)"
"""What parts the cells of a line, in UTF-8."""
_MEMORY = 64 << 20

Test = Callable[[str], bool]


@lru_cache(maxsize=8)
def may_speak_of_reflexes(vocabulary: Vocabulary) -> Test:
    """A test that is true for every text in which a word of the vocabulary can begin a finding."""
    stems = _stems(vocabulary)
    search = _searcher("|".join(map(re.escape, stems)))
    if search is None:
        return lambda text: (lowered := text.lower()) and any(stem in lowered for stem in stems)
    return lambda text: search(_bytes(text.lower()))


@lru_cache(maxsize=8)
def worth_reading(vocabulary: Vocabulary) -> Test:
    """A test that is true for every text from which reading it whole gives anything.

    A sentence gives nothing before a wording of `_begins_reading` has been met, and a table nothing without
    a line of heads; so a text that holds neither is not worth reading.
    """
    coarse = may_speak_of_reflexes(vocabulary)
    rows = [row for row in vocabulary.rows if _begins_reading(row)]
    stems = STEMS.pattern.replace(r"\b", "")  # an apostrophe that parted words may be gone
    speaking = f"{_whole(rows)}|{stems}"
    heads = _heads(vocabulary, rows)
    either, speaks = _searcher(f"{speaking}|{heads}"), _searcher(speaking)
    if either is None or speaks is None:
        return coarse
    in_line, never_in_heads = _searcher(heads), _never_in_heads(vocabulary)

    def may_be_heads(line: str) -> bool:
        words = _LETTERS.findall(line)
        return never_in_heads.isdisjoint(words) and in_line is not None and in_line(_bytes(line))

    def test(text: str) -> bool:
        plain = _without_apostrophes(text.lower())
        data = _bytes(plain)
        if not either(data) or not coarse(text):
            return False
        return speaks(data) or any(map(may_be_heads, _LINES.findall(plain)))

    return test


def _without_apostrophes(lowered: str) -> str:
    """Words are compared without apostrophes; a doubled one parts words. The same text where none stands."""
    if "'" in lowered or "`" in lowered or not lowered.isascii():
        for mark, instead in _APOSTROPHES:
            lowered = lowered.replace(mark, instead)
    return lowered


def _bytes(text: str) -> bytes:
    try:
        return text.encode()
    except UnicodeEncodeError:  # half characters, which sources repair
        return text.encode(errors="replace")


def _searcher(pattern: str) -> Callable[[bytes], bool] | None:
    """A test for a pattern in UTF-8, linear in the text; None without the library."""
    try:
        import re2
    except ImportError:
        return None
    options = re2.Options()
    options.encoding = re2.Options.Encoding.LATIN1  # byte by byte: what is not ASCII is no boundary question
    options.never_capture, options.log_errors, options.max_mem = True, False, _MEMORY
    search = re2.compile(pattern.encode(), options).search
    return lambda data: search(data) is not None


def _whole(rows: Iterable[Word]) -> str:
    """A pattern for the whole wordings of rows, whatever stands between their words."""
    found = {"[^a-z]+".join(words) for row in rows for words in _words_of(row)}
    return f"(?:^|[^a-z])(?:{'|'.join(sorted(found - {''}))})(?:[^a-z]|$)"


def _begins_reading(row: Word) -> bool:
    """Whether a wording makes its sentence one that is read even where nothing was said before it."""
    tendon = row.role == "site" and "joint" in row.flags and not row.flags & _NEVER_ALONE
    return bool(row.flags & _SPEAKING) or row.role == "reflex" or tendon


def _heads(vocabulary: Vocabulary, others: list[Word]) -> str:
    """A pattern for two sides, or two places, in different cells of one line."""
    sides = [row for row in vocabulary.rows if row.role == "side" and row.meaning in ("left", "right")]
    places = [row for row in vocabulary.rows if row.role in ("site", "region") and row not in others]
    return "|".join(
        f"{named}(?:[^\r\n]*[^\r\na-z])??{_PARTED}(?:[^\r\n]*[^\r\na-z])??{named}"
        for named in map(_whole, (sides, places))
    )


def _never_in_heads(vocabulary: Vocabulary) -> frozenset[str]:
    """Words that no wording of a line of heads holds, as "was"."""
    inside: set[str] = set()
    outside: set[str] = set()
    for row in vocabulary.rows:
        into = inside if row.role in HEAD_KINDS or row.role == "filler" else outside
        for words in _words_of(row):
            into.update(words)
    return frozenset(outside - inside)


def _words_of(row: Word) -> Iterator[tuple[str, ...]]:
    """The words of each wording, without its numbers and marks."""
    for wording in wordings(row.phrase):
        yield tuple(part for token in tokens_of(wording) for part in _LETTERS.findall(token))


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
