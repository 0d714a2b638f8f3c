"""The lines of a note and their cells, parted by pipes, semicolons, tabs or wide gaps.

Takes the tokens of a note; gives lines and cells. The strokes of drawings are taken out; what
the cells mean is left to `tables` and `figures`.
"""

import re
import sys
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass

from converter.reading.tokens import Token

_GAP = re.compile(r"\t|[ \u00a0]{2,}|\.{3,}|…")
_RULE_LINE = re.compile(r"[\s|:+=_-]+")


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the note.

    Attributes:
        start, end: place in the note, without the line end.
        tokens: its tokens.
    """

    start: int
    end: int
    tokens: list[Token]


@dataclass(frozen=True, slots=True)
class Cell:
    """Tokens that stand together between two gaps or pipes."""

    start: int
    end: int
    tokens: list[Token]


def lines_of(text: str, tokens: list[Token]) -> list[Line]:
    """The lines of a note with their tokens."""
    lines: list[Line] = []
    current: list[Token] = []
    start = 0
    for token in tokens:
        if token.kind == "newline":
            lines.append(Line(start, token.start, current))
            current, start = [], token.end
        else:
            current.append(token)
    lines.append(Line(start, len(text), current))
    return lines


def lines_by_end(tokens: list[Token]) -> Iterator[list[Token]]:
    """The tokens of each line, its end among them."""
    line: list[Token] = []
    for token in tokens:
        line.append(token)
        if token.kind == "newline":
            yield line
            line = []
    yield line


def cells_of(text: str, line: Line, parting: str = "") -> list[Cell]:
    """The cells of a line: parted by pipes where there are any, else by tabs and wide gaps.

    Args:
        text: the note.
        line: the line.
        parting: the kind of the mark between cells, where it is known.
    """
    parting = parting or _parting(text, line)
    piped = bool(parting)
    cells: list[list[Token]] = [[]]
    bounds: list[tuple[int, int]] = []
    previous = line.start
    for token in line.tokens:
        if token.kind == parting:
            bounds.append((previous, token.start))
            cells.append([])
            previous = token.end
            continue
        if not piped and cells[-1] and _GAP.search(text, cells[-1][-1].end, token.start):
            bounds.append((cells[-1][0].start, cells[-1][-1].end))
            cells.append([])
        cells[-1].append(token)
    bounds.append((previous if piped else (cells[-1][0].start if cells[-1] else previous), line.end))
    made = [Cell(low, high, own) for (low, high), own in zip(bounds, cells, strict=True)]
    if piped:
        made = (
            made[1:] if made and not made[0].tokens and text[line.start : made[0].end].strip() == "" else made
        )
        made = (
            made[:-1]
            if made and not made[-1].tokens and not text[made[-1].start : line.end].strip()
            else made
        )
    return made


def pieces_of(text: str, line: Line, gaps: re.Pattern[str] = _GAP) -> Iterator[tuple[int, int]]:
    """Where the words of a line stand between its gaps, whether or not they are tokens."""
    start = line.start
    for gap in [*gaps.finditer(text, line.start, line.end), None]:
        end = gap.start() if gap else line.end
        piece = text[start:end]
        if piece.strip():
            yield start + len(piece) - len(piece.lstrip()), start + len(piece.rstrip())
        start = gap.end() if gap else end


def _parting(text: str, line: Line) -> str:
    """The kind of mark that parts the cells of a line; empty where gaps do."""
    if any(token.kind == "pipe" for token in line.tokens):
        return "pipe"
    semicolons = [t for t in line.tokens if t.kind == "stop" and text[t.start] == ";"]
    return "stop" if len(semicolons) >= 2 else ""


_BODY = re.compile(r"/ ?\|? ?\\|/ +\\|^[ \t]*-+\|-+[ \t]*$")
_STROKE = re.compile(r"(?<!\S)[/\\|oO_()-]+(?!\S)")
_NEAR = 5


def drawn_lines(text: str, lines: list[Line]) -> set[int]:
    """Indices of the lines that hold the body of a drawn figure."""
    if "\\" not in text and "|-" not in text:
        return set()
    return {index for index, line in enumerate(lines) if _BODY.search(text[line.start : line.end])}


def without_drawing(text: str, lines: list[Line]) -> list[Line]:
    """Take the strokes of a drawn figure out of lines near its body, so that its grades stand alone."""
    bodies = drawn_lines(text, lines)
    if not bodies:
        return lines
    near = {index for body in bodies for index in range(body - _NEAR, body + _NEAR + 1)}
    cleaned = []
    for index, line in enumerate(lines):
        if index not in near:
            cleaned.append(line)
            continue
        strokes = [match.span() for match in _STROKE.finditer(text, line.start, line.end)]
        kept = [token for token in line.tokens if not _inside(token.start, strokes)]
        cleaned.append(Line(line.start, line.end, kept))
    return cleaned


def _inside(place: int, strokes: list[tuple[int, int]]) -> bool:
    before = bisect_right(strokes, (place, sys.maxsize)) - 1
    return before >= 0 and place < strokes[before][1]


def is_rule(text: str, line: Line) -> bool:
    """Whether a line only draws a rule between heads and rows."""
    drawn = text[line.start : line.end]
    return bool(drawn.strip()) and _RULE_LINE.fullmatch(drawn) is not None
