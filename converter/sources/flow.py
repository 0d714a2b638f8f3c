"""Lines of text put together from pieces of a marked-up document, each piece with its place in there.

Takes words, line breaks and marks in the order of reading; gives the text and the way back to the source.
White space is collapsed as a browser does it; a table's cells become one line a row, parted by pipes.
"""

import re
from collections.abc import Sequence
from itertools import zip_longest

from converter.sources.origins import Origin, joined

Piece = tuple[str, int]
"""Characters, and the place of the first one in the source; -1 for a mark that was put in."""

_WORDS = re.compile(r"[ \t\r\n\f]+|[^ \t\r\n\f]+")
_WHITE = " \t\r\n\f"
_LINE = re.compile(r"[^\r\n]*(?:\r\n|\r|\n)?")
_PUT_IN = -1


class Flow:
    """Lines of pieces, written from the top.

    Attributes:
        lines: the lines so far, without their ends.
    """

    def __init__(self) -> None:
        self.lines: list[list[Piece]] = [[]]
        self._space: int | None = None

    def words(self, text: str, at: int) -> None:
        """Add running text; any white space in it is one space, and none stands at the start of a line."""
        for match in _WORDS.finditer(text):
            if match[0][0] not in _WHITE:
                self.character(match[0], at + match.start())
            elif self._space is None:
                self._space = at + match.start()

    def verbatim(self, text: str, at: int) -> None:
        """Add text whose white space and lines are kept."""
        for match in _LINE.finditer(text):
            bare = match[0].rstrip("\r\n")
            if bare:
                self.lines[-1].append((bare, at + match.start()))
            if len(bare) < len(match[0]):
                self.break_line()

    def character(self, text: str, at: int) -> None:
        """Add characters as they are, such as what a reference or an escape at a place stands for."""
        line = self.lines[-1]
        if self._space is not None and line and not (line[-1][1] == _PUT_IN and line[-1][0][-1] == " "):
            line.append((" ", self._space))
        self._space = None
        self.lines[-1].append((text, at))

    def mark(self, text: str) -> None:
        """Add characters that show a layout and stand nowhere in the source."""
        self.lines[-1].append((text, _PUT_IN))

    def new_line(self) -> None:
        """Go on at the start of a line."""
        if self.lines[-1]:
            self.lines.append([])
        self._space = None

    def break_line(self) -> None:
        """End the line, even an empty one."""
        self.lines.append([])
        self._space = None

    def add_lines(self, lines: Sequence[list[Piece]]) -> None:
        """Add whole lines."""
        self.new_line()
        for line in lines:
            self.lines[-1].extend(line)
            self.break_line()

    def trimmed(self) -> list[list[Piece]]:
        """The lines without empty ones at the top and the bottom."""
        filled = [index for index, line in enumerate(self.lines) if line]
        return self.lines[filled[0] : filled[-1] + 1] if filled else []

    def result(self) -> tuple[str, Origin]:
        """The text, its lines parted by line feeds, and its origin."""
        pieces: list[str] = []
        stretches: list[tuple[int, int, int]] = []
        length = 0
        for index, line in enumerate(self.trimmed()):
            for text, at in [("\n", _PUT_IN), *line] if index else line:
                if at != _PUT_IN:
                    stretches.append((length, at, len(text)))
                pieces.append(text)
                length += len(text)
        return "".join(pieces), joined(stretches)


def row_lines(cells: Sequence[Flow]) -> list[list[Piece]]:
    """The lines of a table's row: cells between pipes; cells of several lines go on side by side.

    A row of one cell is no table: its lines stay as they are.
    """
    columns = [cell.trimmed() for cell in cells]
    if len(columns) == 1:
        return columns[0]
    lines = []
    for parts in zip_longest(*columns, fillvalue=[]):
        line: list[Piece] = [("|", _PUT_IN)]
        for part in parts:
            line += [(" ", _PUT_IN), *part, (" |", _PUT_IN)]
        lines.append(line)
    return lines
