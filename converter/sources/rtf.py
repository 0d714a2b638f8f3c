"""RTF: one note a file, named after the file; its text without the control words, tables as rows with pipes.

Written for this package because every piece of text must keep its place in the source, whatever the file
does the time must stay in proportion to its size, and what is left out must be said. Offsets into the source
count bytes, since RTF is written in bytes.
"""

import codecs
import re
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field, replace

from converter.model import Diagnostic
from converter.sources.flow import Flow, row_lines
from converter.sources.format import NoteStream, Opened
from converter.sources.narrative import BULLET
from converter.sources.options import SourceOptions
from converter.sources.origins import Origin
from converter.sources.rtf_words import (
    ASIDE,
    CHARACTERS,
    CHARSETS,
    CODE_PAGES,
    LEFT_OUT,
    LINE_ENDS,
    NUMBERED_CODE_PAGES,
    NUMBERS,
    SYMBOL_CHARSET,
    SYMBOL_FONT,
    SYMBOLS,
)
from converter.sources.troubles import error, warning
from converter.sources.whole_file import file_too_large, note_of_file

_TOKEN = re.compile(
    r"\\(?P<word>[A-Za-z]{1,32})(?P<number>-?\d{1,10})? ?"
    r"|(?P<bytes>(?:\\'[0-9A-Fa-f]{2}|[\x80-\xff])+)"
    r"|\\(?P<symbol>[^A-Za-z])|(?P<brace>[{}])|(?P<ends>[\r\n]+)|(?P<plain>[^\\{}\r\n\x80-\xff]+|\\)",
    re.DOTALL,
)
_BYTE = re.compile(r"\\'([0-9A-Fa-f]{2})|([\x80-\xff])")


def text_of_rtf(data: bytes, name: str, line: int | None = None) -> tuple[str, Origin, list[Diagnostic]]:
    """The text of an RTF document, where it stood, and what was left out.

    Args:
        data: the document.
        name: the file, for messages.
        line: its line, for messages.
    """
    reader = _Reader(data.decode("latin-1"))
    reader.run()
    text, origin = reader.finish().result()
    return text, origin, reader.troubles(name, line)


@dataclass(frozen=True, slots=True)
class _Group:
    """What holds inside a pair of braces."""

    silent: bool = False
    aside: bool = False
    hidden: bool = False
    font: int | None = None
    after_unicode: int = 1


@dataclass(slots=True)
class _Counts:
    """What was left out or guessed, to be said."""

    struck: int = 0
    aside: int = 0
    unreadable: int = 0
    pictures: int = 0


@dataclass(slots=True)
class _Reader:
    """Goes through the tokens of a document once."""

    source: str
    group: _Group = _Group()
    outer: list[_Group] = field(default_factory=list)
    flow: Flow = field(default_factory=Flow)
    cell: Flow | None = None
    row: list[Flow] = field(default_factory=list)
    code_page: str = "cp1252"
    fonts: dict[int, str] = field(default_factory=dict)
    in_fonts: bool = False
    skip: int = 0
    high: int = 0
    counts: _Counts = field(default_factory=_Counts)
    end: int | None = None

    def run(self) -> None:
        """Read everything up to the end of the document's own group."""
        at = max(self.source.find("{\\rtf"), 0)
        while self.end is None and (token := _TOKEN.match(self.source, at)):
            at = token.end()
            kind = token.lastgroup
            if kind == "plain":
                self._plain(token["plain"], token.start())
            elif kind == "bytes":
                self._bytes(token)
            elif kind == "brace":
                self._brace(token["brace"], at)
            elif kind == "symbol":
                self._symbol(token["symbol"], token.start())
            elif kind != "ends":
                at += self._word(token)

    def finish(self) -> Flow:
        """Write out a row that was left open, and give everything."""
        if self.cell is not None:
            self.row += [self.cell] if self.cell.trimmed() else []
            self._end_row()
        return self.flow

    def troubles(self, name: str, line: int | None) -> list[Diagnostic]:
        """What is to be said about the document."""
        counts = self.counts
        rest = self.source[self.end :].strip("\0 \t\r\n") if self.end is not None else ""
        said = [
            (
                counts.struck,
                "struck-out",
                f"Wording that is struck out or hidden was left out ({counts.struck}).",
            ),
            (counts.aside, "rtf-aside", "Page heads, page feet or comments were left out."),
            (
                counts.unreadable,
                "unreadable-character",
                f"Characters that the font or code page lacks are shown as \ufffd ({counts.unreadable}).",
            ),
            (counts.pictures, "not-text", f"Pictures hold no text to read ({counts.pictures})."),
            (self.end is None, "rtf-cut-off", "The RTF document has no end, so part of it may be missing."),
            (
                rest,
                "rtf-after-end",
                f"After the end of the RTF document {len(rest)} characters were left out.",
            ),
        ]
        return [warning(code, message, name, line) for holds, code, message in said if holds]

    def _target(self) -> Flow:
        return self.flow if self.cell is None else self.cell

    def _silent(self) -> bool:
        return self.group.silent or self.group.hidden

    def _plain(self, text: str, at: int) -> None:
        skipped = min(self.skip, len(text))
        self.skip -= skipped
        text, at = text[skipped:], at + skipped
        if not text:
            return
        self.high = 0
        if self._silent():
            self.counts.struck += self.group.hidden and not self.group.silent and bool(text.strip())
            self.counts.aside += self.group.aside and bool(text.strip())
        elif self._font() == "symbol":
            self._symbols(text.encode("latin-1"), [at + index for index in range(len(text))])
        else:
            self._target().verbatim(text, at)

    def _bytes(self, token: re.Match[str]) -> None:
        found = list(_BYTE.finditer(self.source, token.start(), token.end()))
        skipped = min(self.skip, len(found))
        self.skip -= skipped
        found = found[skipped:]
        if not found or self._silent():
            return
        self.high = 0
        raw = bytes(int(one[1], 16) if one[1] else ord(one[2]) for one in found)
        places = [one.start() for one in found]
        if self._font() == "symbol":
            self._symbols(raw, places)
        else:
            self._decoded(raw, places, all(one[2] for one in found))

    def _decoded(self, raw: bytes, places: list[int], unescaped: bool) -> None:
        text = _utf8(raw) if unescaped and len(raw) > 1 else None
        text = raw.decode(self._font(), "replace") if text is None else text
        self.counts.unreadable += text.count("\ufffd")
        for index, character in enumerate(text):
            at = places[index] if len(text) == len(places) else places[index * len(places) // len(text)]
            self._target().character(character, at)

    def _symbols(self, raw: bytes, places: list[int]) -> None:
        for byte, at in zip(raw, places, strict=True):
            self.counts.unreadable += byte not in SYMBOL_FONT
            self._target().character(SYMBOL_FONT.get(byte, "\ufffd"), at)

    def _font(self) -> str:
        font = self.group.font
        return self.fonts.get(font, self.code_page) if font is not None else self.code_page

    def _brace(self, brace: str, after: int) -> None:
        self.skip = 0
        if brace == "{":
            self.outer.append(self.group)
            return
        if self.outer:
            self.group = self.outer.pop()
            self.in_fonts = self.in_fonts and self.group.silent
        if not self.outer:
            self.end = after

    def _symbol(self, symbol: str, at: int) -> None:
        if self.skip and symbol != "*":
            self.skip -= 1
        elif symbol == "*":
            self.group = replace(self.group, silent=True)
        elif symbol in SYMBOLS and not self._silent():
            self._target().character(SYMBOLS[symbol], at)
        elif symbol in LINE_ENDS and not self._silent():
            self._target().break_line()

    def _word(self, token: re.Match[str]) -> int:
        """Do what a control word says; gives how many characters of binary data follow it."""
        word, number = token["word"], int(token["number"]) if token["number"] else None
        if word == "bin":
            return max(number or 0, 0)
        self.skip = 0
        if word in _STATES:
            _STATES[word](self, number)
        elif word in CODE_PAGES:
            self.code_page = CODE_PAGES[word]
        elif word in LEFT_OUT or word in ASIDE or word in NUMBERS:
            self._destination(word)
        elif self._silent():
            if word == "shptxt":
                self.group = replace(self.group, silent=False)
        elif word in CHARACTERS:
            self._target().character(CHARACTERS[word], token.start())
        elif word in LINE_ENDS:
            self._target().break_line()
        elif word in _LAYOUT:
            _LAYOUT[word](self)
        elif word == "u" and number is not None:
            self._unicode(number, token.start())
        return 0

    def _destination(self, word: str) -> None:
        if word in NUMBERS and not self._silent():
            self._target().mark(BULLET)
        self.counts.pictures += word == "pict" and not self.group.silent
        self.in_fonts = self.in_fonts or word == "fonttbl"
        self.group = replace(self.group, silent=True, aside=self.group.aside or word in ASIDE)

    def _unicode(self, number: int, at: int) -> None:
        self.skip = self.group.after_unicode
        code = number + 0x10000 if number < 0 else number
        if 0xD800 <= code < 0xDC00:
            self.high = code
            return
        if 0xDC00 <= code < 0xE000 and self.high:
            code = 0x10000 + ((self.high - 0xD800) << 10) + (code - 0xDC00)
        self.high = 0
        known = 0 < code < 0x110000 and not 0xD800 <= code < 0xE000
        self.counts.unreadable += not known
        self._target().character(chr(code) if known else "\ufffd", at)

    def _start_row(self) -> None:
        if self.cell is None:
            self.flow.new_line()
            self.cell = Flow()

    def _end_cell(self) -> None:
        if self.cell is None:
            self.flow.mark(" | ")
        else:
            self.row.append(self.cell)
            self.cell = Flow()

    def _nested_cell(self) -> None:
        self._target().mark(" | ")

    def _end_row(self) -> None:
        if self.cell is not None and self.cell.trimmed():
            self.row.append(self.cell)
        if self.row:
            self.flow.add_lines(row_lines(self.row))
        self.row, self.cell = [], None
        self.flow.new_line()

    def _set_font(self, number: int | None) -> None:
        self.group = replace(self.group, font=number)

    def _set_charset(self, number: int | None) -> None:
        font = self.group.font
        if self.in_fonts and font is not None and number is not None:
            known = "symbol" if number == SYMBOL_CHARSET else CHARSETS.get(number)
            if known:
                self.fonts[font] = known

    def _set_code_page(self, number: int | None) -> None:
        """Take a code page; where nobody knows it only ASCII is read; the rest counts as unreadable."""
        if number:
            self.code_page = NUMBERED_CODE_PAGES.get(number, f"cp{number}")
            with suppress(LookupError):
                codecs.lookup(self.code_page)
                return
            self.code_page = "ascii"

    def _set_after_unicode(self, number: int | None) -> None:
        self.group = replace(self.group, after_unicode=max(number if number is not None else 1, 0))

    def _set_hidden(self, number: int | None) -> None:
        self.group = replace(self.group, hidden=number != 0)

    def _set_plain(self, _number: int | None) -> None:
        self.group = replace(self.group, hidden=False)


_STATES: dict[str, Callable[[_Reader, int | None], None]] = {
    "f": _Reader._set_font,
    "fcharset": _Reader._set_charset,
    "ansicpg": _Reader._set_code_page,
    "uc": _Reader._set_after_unicode,
    "v": _Reader._set_hidden,
    "deleted": _Reader._set_hidden,
    "strike": _Reader._set_hidden,
    "striked": _Reader._set_hidden,
    "plain": _Reader._set_plain,
}
_LAYOUT: dict[str, Callable[[_Reader], None]] = {
    "trowd": _Reader._start_row,
    "intbl": _Reader._start_row,
    "cell": _Reader._end_cell,
    "nestcell": _Reader._nested_cell,
    "row": _Reader._end_row,
}


def _utf8(raw: bytes) -> str | None:
    """Bytes that were written as UTF-8, against the standard; None where they were not."""
    try:
        return raw.decode("utf-8")
    except UnicodeDecodeError:
        return None


def read_rtf(opened: Opened, options: SourceOptions) -> NoteStream:
    """The one note of an RTF document."""
    limit = 2 * options.largest_note + 65536
    data = opened.stream.read(limit + 1)
    if len(data) > limit:
        yield file_too_large(opened, options)
        return
    if not recognise_rtf(opened, options):
        yield error(
            "not-rtf",
            "The file is called RTF but does not start as RTF does.",
            opened.name,
            hint="If it is plain text, read it with --input-format text.",
        )
        return
    text, origin, troubles = text_of_rtf(data, opened.name)
    if len(text) > options.largest_note:
        yield file_too_large(opened, options)
        return
    yield from troubles
    yield from note_of_file(opened, text, origin, options)


def recognise_rtf(opened: Opened, _options: SourceOptions) -> bool:
    """Whether the file starts as every RTF document does."""
    return opened.head.removeprefix(b"\xef\xbb\xbf").lstrip().startswith(b"{\\rtf")
