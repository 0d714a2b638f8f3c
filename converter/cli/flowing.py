"""A table that is written row by row, its long cells wrapped: for runs whose end nobody has seen yet.

Takes columns with their shares of the width and rows of text; gives lines that fit a terminal, or a file read
in one. Tables whose rows are all at hand stand in `tables`.
"""

import re
import shutil
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import zip_longest
from typing import TextIO

from converter.cli.troubles import visible

_NARROWEST, _WIDEST, _IN_A_FILE = 80, 140, 100
_GAP = "  "
_BREAKS = re.compile(r"[^./|,:;#_(-]*[./|,:;#_(-]?")
"""Where a long word, mostly an address or a path, may be broken."""


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its heading, and either its width in characters or its share of what is left."""

    heading: str
    width: int = 0
    share: int = 0


class FlowingTable:
    """Writes rows as they come; the headings stand above the first."""

    def __init__(self, stream: TextIO, columns: Sequence[Column], width: int | None = None):
        """Prepare a table.

        Args:
            stream: where to write.
            columns: from left to right.
            width: characters in a line; else those of the terminal, within reason.
        """
        self._stream = stream
        self._headings = [column.heading for column in columns]
        self._widths = _widths(columns, width or _width())
        self._begun = False

    def section(self, title: str) -> None:
        """Write a line that says what the rows below it belong to."""
        self._begin()
        self._stream.write(f"{visible(title)}\n")

    def row(self, cells: Sequence[str]) -> None:
        """Write one row."""
        self._begin()
        self._write(cells)

    def _begin(self) -> None:
        if not self._begun:
            self._begun = True
            self._write(self._headings)

    def _write(self, cells: Sequence[str]) -> None:
        columns = [wrapped(visible(cell), width) for cell, width in zip(cells, self._widths, strict=True)]
        for parts in zip_longest(*columns, fillvalue=""):
            line = _GAP.join(part.ljust(width) for part, width in zip(parts, self._widths, strict=True))
            self._stream.write(f"{_GAP}{line.rstrip()}\n")


def wrapped(text: str, width: int) -> list[str]:
    """Text as lines of at most `width` characters, broken between words, or inside one that is too long.

    A text that is indented stays so, in every line.
    """
    indent = text[: min(len(text) - len(text.lstrip()), width // 2)]
    if indent:
        return [indent + line for line in wrapped(text.lstrip(), width - len(indent))]
    lines = [""]
    for word in text.split():
        space = " " if lines[-1] else ""
        for piece in _pieces(word, width):
            if len(lines[-1]) + len(space) + len(piece) > width:
                lines.append(piece)
            else:
                lines[-1] += space + piece
            space = ""
    return lines if lines[0] else lines[1:]


def _pieces(word: str, width: int) -> Iterator[str]:
    if len(word) <= width:
        yield word
        return
    for piece in _BREAKS.findall(word):
        yield from (piece[start : start + width] for start in range(0, len(piece), width))


def _width() -> int:
    return min(max(shutil.get_terminal_size((_IN_A_FILE, 24)).columns, _NARROWEST), _WIDEST)


def _widths(columns: Sequence[Column], width: int) -> list[int]:
    left = width - sum(column.width + len(_GAP) for column in columns)
    shares = sum(column.share for column in columns)
    return [column.width or left * column.share // shares for column in columns]
