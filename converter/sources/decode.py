"""Turns the bytes of a text file into lines, with their line ends kept, and says what it had to guess.

UTF-8 is expected. A byte order mark names UTF-8, UTF-16 or UTF-32. A byte that is not UTF-8 is read as
Windows-1252, or as ISO 8859-1 where Windows-1252 leaves it undefined. The rest of its line stays as it is:
extracts are often pasted together from systems with different encodings.
"""

import codecs
import io
import re
from collections.abc import Iterator
from dataclasses import replace
from typing import BinaryIO

from converter.model import Diagnostic
from converter.sources.troubles import warning

_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_ESCAPED = re.compile("[\udc80-\udcff]")
_COMMON = re.compile(
    r"utf-?8|(us-)?ascii|(iso|8859|windows|cp|latin|koi8|mac|euc|gb|big5|shift|ms)[\w-]*",
    re.IGNORECASE | re.ASCII,
)
_UNDEFINED = frozenset((0x81, 0x8D, 0x8F, 0x90, 0x9D))


def _single_bytes() -> dict[int, str]:
    """What each byte from 0x80 means outside UTF-8, keyed by its escape."""
    return {
        0xDC00 + byte: bytes([byte]).decode("latin-1" if byte in _UNDEFINED else "cp1252")
        for byte in range(0x80, 0x100)
    }


_FALLBACK = _single_bytes()


def guess_encoding(head: bytes) -> str:
    """The encoding that the first bytes of a file show: by its mark, or by the zeros of UTF-16."""
    for mark, name in _MARKS:
        if head.startswith(mark):
            return name
    even, odd = head[0::2].count(0), head[1::2].count(0)
    half = len(head) // 2
    if half >= 4 and odd > half * 0.7 and even < half * 0.1:
        return "utf-16-le"
    if half >= 4 and even > half * 0.7 and odd < half * 0.1:
        return "utf-16-be"
    return "utf-8"


def known_encoding(declared: str) -> str | None:
    """The encoding that a document declares, by the name that Python gives it; None for one it cannot read.

    ISO 8859-1 is read as Windows-1252, as browsers do: most documents that declare it hold the latter.
    """
    if not _COMMON.fullmatch(declared):
        return None
    try:
        name = codecs.lookup(declared).name
    except LookupError:
        return None
    return {"iso8859-1": "cp1252", "ascii": "utf-8"}.get(name, name)


def is_text_encoding(name: str) -> bool:
    """Whether Python can read text in an encoding of this name."""
    try:
        io.TextIOWrapper(io.BytesIO(), encoding=name)
    except (LookupError, ValueError):
        return False
    return True


class Lines:
    """The lines of a text stream, each with its own line end, and what was guessed about their encoding.

    Iterating gives lines; a line feed, a carriage return or both end one.

    Attributes:
        number: lines given so far.
        encoding: the encoding used.
    """

    def __init__(self, stream: BinaryIO, source: str, encoding: str) -> None:
        self.number = 0
        self.encoding = encoding
        self._source = source
        self._utf8 = codecs.lookup(encoding).name in ("utf-8", "utf-8-sig", "ascii")
        self._text = io.TextIOWrapper(
            stream,
            encoding="utf-8" if codecs.lookup(encoding).name == "ascii" else encoding,
            errors="surrogateescape" if self._utf8 else "replace",
            newline="",
        )
        self._first_guess: int | None = None
        self._guesses = 0
        self._latin1 = False
        self._told = 0

    def __iter__(self) -> Iterator[str]:
        while line := self.next_line():
            yield line

    def next_line(self, longest: int = -1) -> str:
        """The next line, or its first `longest` characters; empty at the end."""
        line = self._text.readline(longest)
        self.number += bool(line)
        return line if line.isascii() else self._repaired(line)

    def rest_of_line(self) -> int:
        """Pass over what `next_line` left of a line; gives how many characters that were."""
        passed = 0
        while piece := self._text.readline(65536):
            passed += len(piece)
            if piece.endswith(("\n", "\r")):
                break
        return passed

    def everything(self, longest: int) -> str | None:
        """The whole text, or None where it has more than `longest` characters."""
        text = self._text.read(longest + 1)
        if len(text) > longest:
            return None
        if text.isascii():
            return text
        return "".join(self._counted(line) for line in io.StringIO(text, newline=""))

    @property
    def guessed(self) -> bool:
        """Whether anything was guessed so far."""
        return self._guesses > 0

    def troubles(self) -> Iterator[Diagnostic]:
        """What was guessed: the first line as soon as it is met, and at the end how many there were."""
        if self._first_guess is not None and not self._told:
            self._told = 1
            yield self._trouble(f"A character on line {self._first_guess} is not {self._shown()}; it was")

    def last_troubles(self) -> Iterator[Diagnostic]:
        """What is left to say once all lines were read."""
        yield from self.troubles()
        if self._guesses > self._told:
            yield self._trouble(f"Characters on {self._guesses} lines are not {self._shown()}; they were")

    def _counted(self, line: str) -> str:
        self.number += 1
        return line if line.isascii() else self._repaired(line)

    def _repaired(self, line: str) -> str:
        if not self._utf8:
            if "\ufffd" in line:
                self._guess()
            return line
        if not _ESCAPED.search(line):
            return line
        self._guess()
        repaired = line.translate(_FALLBACK)
        self._latin1 = self._latin1 or any(chr(byte) in repaired for byte in _UNDEFINED)
        return repaired

    def _guess(self) -> None:
        self._first_guess = self._first_guess or self.number
        self._guesses += 1

    def _shown(self) -> str:
        return "UTF-8" if self._utf8 else self.encoding.upper()

    def _trouble(self, start: str) -> Diagnostic:
        if not self._utf8:
            rest = " replaced by \ufffd."
        elif self._latin1:
            rest = " read as Windows-1252, or as ISO 8859-1 where that has no such character."
        else:
            rest = " read as Windows-1252."
        return warning(
            "wrong-encoding",
            start + rest,
            self._source,
            self._first_guess,
            hint="Name the encoding with --encoding, or in plexor.toml under [notes], if this is wrong.",
        )


def decoded(
    data: bytes, source: str, declared: str | None = None, line: int | None = None
) -> tuple[str, list[Diagnostic]]:
    """The text of some bytes, by the same rules as a file's, and what was guessed about it.

    Args:
        data: the bytes.
        source: the file that they came from, for messages.
        declared: the encoding that they are said to have; a byte order mark counts before it.
        line: their line in the file, for messages.
    """
    guessed = guess_encoding(data[:65536])
    if guessed == "utf-8" and declared:
        guessed = known_encoding(declared) or guessed
    lines = Lines(io.BytesIO(data), source, guessed)
    text = lines.everything(len(data)) or ""
    return text, [replace(trouble, line=line) for trouble in lines.last_troubles()]
