"""What the tokens of a note can be, remembered for each piece of text: the same words come again.

Takes the vocabulary; gives an entry for every piece. Leaves the joining of pieces to `tokens`.
"""

import re
from dataclasses import dataclass, replace
from functools import lru_cache

from converter.reading.relevance.stems import PLAIN, STEMMED, has_stem
from converter.reading.written import Written, may_begin_value
from converter.words import Vocabulary, Word
from converter.words.phrases import normal

PIECES = re.compile(
    r"\b[CLSclst][1-8]\b(?!\+)|[^\W\d_]+(?:['’`´][^\W\d_]+)*['’]?|\d+(?:st|nd|rd|th)\b|\d+|\r\n|\r|\n"
    r"|[ \t\u00a0\u2009]+|\.{3,}|…|[^\w\s]|_|\s"
)
"""Cuts a text into pieces, leaving nothing out: roots, words, numbers, line ends, gaps, marks, space."""
_MARKS = {
    ",": "comma",
    ".": "stop",
    ";": "stop",
    "!": "stop",
    "?": "question",
    ":": "colon",
    "/": "slash",
    "\\": "slash",
    "(": "open",
    "[": "open",
    ")": "close",
    "]": "close",
    "-": "dash",
    "–": "dash",
    "—": "dash",
    "=": "equals",
    ">": "greater",
    "<": "lesser",
    "|": "pipe",
    "*": "other_mark",
    "•": "bullet",
    '"': "quote",
    "“": "quote",
    "”": "quote",
}
_ARROWS = {"flexor": "diminished", "extensor": "hyperactive"}
"""What an arrow before a muscle stretch reflex says; before a toe it is the direction."""
MISSPELT = "misspelt"
"""The flag of a word that was read as the known word it comes nearest to."""
_CAMEL = re.compile(r"(?:[A-Z]?[a-z]+|[A-Z]+(?![a-z]))")
"""The words of a name such as `KneeJerkRight`."""
_FEWEST_HUMPS = 2
_PASSED_OVER = frozenset({"-", "\n"})
"""What may stand between the words of one wording."""
_MOST = 100_000
"""Pieces that are remembered; with more of them the memory begins anew."""


@dataclass(frozen=True, slots=True)
class Sense:
    """What a wording is to the grammar: the parts of a token that do not depend on its place.

    Attributes:
        word: the row of the word list, or None for a piece that begins no wording.
        kind, meaning, flags, written: as in a token.
    """

    word: Word | None
    kind: str
    meaning: str = ""
    flags: frozenset[str] = PLAIN
    written: Written | None = None

    @property
    def may_have_maximum(self) -> bool:
        """Whether a maximum may follow, as in "nil out of four"."""
        return self.kind == "value" and self.meaning in ("absent", "trace")


_OTHER, _STEMMED = Sense(None, "other"), Sense(None, "other", flags=STEMMED)


@dataclass(frozen=True, slots=True)
class Entry:
    """What a piece of text can be.

    Attributes:
        normal: the piece as wordings are compared, spelt as the word lists spell it.
        misspelt: whether it was written another way.
        sense: what it is where nothing joins it.
        filler: whether it is left out where nothing joins it.
        follows: what may stand next in a longer wording; empty where it begins none.
        valued: whether a written value may begin with it.
        careful: whether what stands behind it may make a value of it.
        parts: the words of a name that is written as one, as `KneeJerkRight`; empty for all others.
    """

    normal: str
    misspelt: bool
    sense: Sense
    filler: bool
    follows: frozenset[str]
    valued: bool
    careful: bool
    parts: tuple[str, ...] = ()


class Lexicon(dict[str, Entry | None]):
    """Entries by piece of text, made when first asked for; None for space, which is no token."""

    def __init__(self, vocabulary: Vocabulary) -> None:
        super().__init__()
        self._words = vocabulary.words
        self._spelling = vocabulary.spelling
        self._senses: dict[str, Sense] = {}

    def __missing__(self, piece: str) -> Entry | None:
        if len(self) >= _MOST:
            self.clear()
        entry = self[piece] = self._entry(piece)
        return entry

    def sense(self, word: Word) -> Sense:
        """What a wording of a row is to the grammar."""
        made = self._senses.get(word.place)
        if made is None or made.word is not word:
            made = self._senses[word.place] = _sense_of(word)
        return made

    def _entry(self, piece: str) -> Entry | None:
        line_end = piece in ("\r\n", "\r", "\n")
        if not line_end and (piece.isspace() or piece == "…" or piece.startswith("...")):
            return None
        written = "\n" if line_end else normal(piece)
        name = self._spelling.mended(written) or written
        word, follows = self._words.beginning(name)
        sense = self.sense(word) if word is not None else _unknown(piece, written)
        if word is not None and name != written:
            sense = replace(sense, flags=sense.flags | {MISSPELT})
        valued = may_begin_value(piece)
        if follows:
            follows |= _PASSED_OVER
        careful = valued or sense.may_have_maximum
        parts = self._parts(piece) if word is None else ()
        return Entry(name, name != written, sense, sense.kind == "filler", follows, valued, careful, parts)

    def _parts(self, piece: str) -> tuple[str, ...]:
        """The words of the name of a field, where all of them are known and one speaks of reflexes."""
        parts = tuple(_CAMEL.findall(piece)) if not piece[1:].islower() else ()
        if len(parts) < _FEWEST_HUMPS or "".join(parts) != piece:
            return ()
        begun = [self._words.beginning(normal(part)) for part in parts]
        known = all(word is not None or follows for word, follows in begun)
        return parts if known and any(map(has_stem, parts)) else ()


@lru_cache(maxsize=8)
def lexicon_of(vocabulary: Vocabulary) -> Lexicon:
    """The lexicon of a vocabulary."""
    return Lexicon(vocabulary)


def _sense_of(word: Word) -> Sense:
    kind, written = word.role, None
    if word.role == "value":
        written = Written(
            descriptor=word.meaning, weak="weak" in word.flags, uncertain="uncertain" in word.flags
        )
    elif word.role == "response":
        kind, written = "value", Written(response=word.meaning)
        if "arrow" in word.flags:
            written = replace(written, descriptor=_ARROWS.get(word.meaning))
    elif word.role == "polarity":
        kind, written = "value", Written(polarity=word.meaning)
    return Sense(word, kind, word.meaning, word.flags, written)


def _unknown(piece: str, name: str) -> Sense:
    if name == "\n":
        return Sense(None, "newline")
    if not piece[0].isalnum() and len(piece) == 1:
        return Sense(None, _MARKS.get(name, "other_mark"))
    return _STEMMED if has_stem(piece) else _OTHER
