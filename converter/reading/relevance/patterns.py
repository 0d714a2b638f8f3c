"""Patterns for whole wordings of the vocabulary, searched for in one pass by `google-re2`.

Takes rows of the word lists; gives tests for texts. A test may say yes too often (whatever stands between
two words of a wording is passed over) but never no where a wording stands.
"""

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import lru_cache
from string import ascii_lowercase
from typing import Any

from converter.reading.relevance.stems import STEMS
from converter.words import Vocabulary, Word
from converter.words.phrases import tokens_of, wordings

Test = Callable[[str], bool]

LETTERS = re.compile(r"[^\W\d_]+")
_SPEAKING = frozenset({"trigger", "testing", "toes", "plantars"})
_NEVER_ALONE = frozenset({"place", "root", "infant", "plantars"})
"""Sites that a grade alone does not make a reflex; the others do, as in "biceps 2+"."""
_APOSTROPHES = tuple((mark * 2, " ") for mark in "'’`´") + tuple((mark, "") for mark in "'’`´")
_MEMORY = 64 << 20
GRADE_REACH = 60
"""Bytes between a joint and its grade; more than `bare_grades.REACH` characters."""
TRAILING_PLUS = r"\+|plus|\xe2\x81\xba|[0-9.\xbd] ?[pt]"
"""What may end a grade as only reflex grades end, in UTF-8."""
OF_FOUR = r"(?:/|of)[^0-9a-z]*(?:a[^0-9a-z]+possible[^0-9a-z]*)?(?:4|iv|four|[\x80-\xff])"
"""A maximum as only reflex grades have it, as in "2/4" and "two out of four"; any digit beyond ASCII too."""
EQUIVOCAL = r"\xc2\xb1|\btr\b"
"""Marks of a trace, in UTF-8; its words stand in the word lists."""
BESIDE_PLUS = r"\+|plus|\xe2\x81\xba|[0-9\x80-\xff](?:[^0-9a-z]{0,3}p|t)"
"""Every plus before or behind a grade, in UTF-8; "2p" and "2t" stand for one."""
SIDED_DIGIT = r"\b(?:r|rt|right|l|lt|left)[ \t]?[=: ][ \t]?[0-4]\b"
"""A digit for a side, as in "R=2", "R 2": of several tendons it grades reflexes."""
SIDED_TENDON = r"\b(?:patellar|achilles)[^a-z0-9]{1,4}(?:r|rt|right|l|lt|left)[^a-z0-9]{1,4}[a-z]"
"""A tendon that is answered side by side in words, as in "Patellar: Right: normal. Left: absent"."""
SIDED_SENTENCES = r"\b(?:r|l|rt|lt|right|left) ?: ?[a-z0-9+]+\. +(?:r|l|rt|lt|right|left) ?:"
"""A sentence for each side, as in "Patellar: Right: normal. Left: absent"."""
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
    options = _options()
    if options is None:
        return None
    import re2

    search = re2.compile(pattern.encode(), options).search
    return lambda data: search(data) is not None


def sorter(patterns: Iterable[str]) -> Callable[[bytes], Sequence[int]] | None:
    """Which of some patterns a text in UTF-8 holds, by number, in one pass; None without the library."""
    options = _options()
    if options is None:
        return None
    import re2

    together = re2.Set.SearchSet(options)
    for pattern in patterns:
        together.Add(pattern.encode())
    together.Compile()
    match = together.Match
    return lambda data: match(data) or ()


def _options() -> Any:
    try:
        import re2
    except ImportError:
        return None
    options = re2.Options()
    options.encoding = re2.Options.Encoding.LATIN1  # byte by byte: no letter beyond ASCII bounds a word
    options.never_capture, options.log_errors, options.max_mem = True, False, _MEMORY
    return options


def whole(rows: Iterable[Word]) -> str:
    """A pattern for the whole wordings of rows, whatever stands between their words."""
    found = {"[^a-z]+".join(words) for row in rows for words in words_in(row.phrase)}
    return f"(?:^|[^a-z])(?:{'|'.join(sorted(found - {''}))})(?:[^a-z]|$)"


def begins_reading(row: Word) -> bool:
    """Whether a wording makes its sentence one that is read even where nothing was said before it."""
    inverted = row.role == "quality" and row.meaning == "inverted"
    return bool(row.flags & _SPEAKING) or row.role == "reflex" or inverted


def begins_where_graded(row: Word) -> bool:
    """Whether a wording does so beside a grade as only reflexes have it, or where a legend is: a tendon."""
    tendon = row.role == "site" and "joint" in row.flags and not row.flags & _NEVER_ALONE
    return tendon and not begins_reading(row)


def without_look_alikes(vocabulary: Vocabulary) -> Callable[[bytes], bytes]:
    """Gives a text in UTF-8 without the words that only look like reflex talk, as "reflux".

    Words that a letter beyond ASCII touches stay, and so do those that another wording holds.
    """
    alone = {word for row in vocabulary.rows if row.role == "look_alike" for word in _sole(row)}
    others = {
        word
        for row in vocabulary.rows
        if row.role != "look_alike" or row.flags
        for words in words_in(row.phrase)
        for word in words
    }
    words = "|".join(sorted(alone - others, key=len, reverse=True))
    if not words:
        return lambda data: data
    whole_word = re.compile(rf"(?<![a-z\x80-\xff])(?:{words})(?![a-z\x80-\xff])".encode("latin-1"))
    holds = searcher(words)  # most texts hold none, and this tells it sooner
    return lambda data: whole_word.sub(b" ", data) if holds is None or holds(data) else data


def _sole(row: Word) -> Iterator[str]:
    """The wordings of a row that are one word of letters."""
    return (wording for wording in wordings(row.phrase) if wording.isascii() and wording.isalpha())


def says_trace(row: Word) -> bool:
    """Whether a word is a grade that only reflexes have."""
    return row.role == "value" and row.meaning == "trace"


def graded_places(vocabulary: Vocabulary) -> str:
    """A pattern for a joint that has its grade near, as in "Knee 2+ R": beside another one it is a reflex."""
    return rf"{places(vocabulary)}[^\x00]{{0,{GRADE_REACH}}}?(?:{TRAILING_PLUS}|\btr)"


def places(vocabulary: Vocabulary) -> str:
    """A pattern for a joint, whatever is said of it."""
    names = {
        "[^a-z]+".join(words)
        for row in vocabulary.rows
        if row.role == "site" and "place" in row.flags
        for words in words_in(row.phrase)
    }
    return rf"(?:^|[^a-z])(?:{'|'.join(sorted(names))})[^a-z]"


def slips(vocabulary: Vocabulary, rows: Iterable[Word]) -> str:
    """A pattern for every misspelt word, a slip away, that stands for a word of some rows."""
    spelling = vocabulary.spelling
    words = {word for row in rows for words in words_in(row.phrase) for word in words}
    found = {slip for word in spelling.mended_to & words for slip in _slips_of(word, spelling.known)}
    return f"(?:^|[^a-z])(?:{'|'.join(sorted(found))})(?:[^a-z]|$)" if found else "[^\x00-\xff]"


@lru_cache(maxsize=1024)
def _slips_of(word: str, known: frozenset[str]) -> tuple[str, ...]:
    """Patterns for the words a slip away from a word, without those that are known words themselves."""
    return tuple(_each_slip_of(word, known))


def _each_slip_of(word: str, known: frozenset[str]) -> Iterator[str]:
    for place in range(1, len(word) + 1):
        before, behind = word[:place], word[place:]
        yield f"{before}{_other_letter(before, behind, known)}{behind}"
        if behind:
            yield f"{before}{_other_letter(before, behind[1:], known)}{behind[1:]}"
            if before + behind[1:] not in known:
                yield before + behind[1:]
        if len(behind) > 1 and (swapped := f"{before}{behind[1]}{behind[0]}{behind[2:]}") not in known:
            yield swapped


def _other_letter(before: str, behind: str, known: frozenset[str]) -> str:
    """A letter, in UTF-8, that makes no known word of what stands before and behind it."""
    letters = "".join(letter for letter in ascii_lowercase if before + letter + behind not in known)
    return rf"(?:[{letters}]|[\x80-\xff]+)" if letters else r"[\x80-\xff]+"


@lru_cache(maxsize=4096)
def words_in(phrase: str) -> tuple[tuple[str, ...], ...]:
    """The words of each wording of a notation, without numbers and marks."""
    return tuple(
        tuple(part for token in tokens_of(wording) for part in LETTERS.findall(token))
        for wording in wordings(phrase)
    )
