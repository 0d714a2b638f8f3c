"""The text of a note in pieces, each with the mark of what the reader made of it."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from converter.model import Reading, Span, Unread

MARKS = ("look_alike", "finding", "unread")
"""What a piece can be, the stronger mark last; a piece without any of them has none."""


@dataclass(frozen=True, slots=True)
class Piece:
    """Some characters of a note, all with one mark.

    Attributes:
        text: the characters.
        mark: one of MARKS, or empty for characters that nothing was made of.
    """

    text: str
    mark: str


def pieces_of(text: str, reading: Reading, look_alikes: Iterable[Span] = ()) -> list[Piece]:
    """The whole text in pieces; joined they are the text again.

    Spaces between two words of one mark have that mark too, so that a phrase is one piece.

    Args:
        text: the note.
        reading: what was made of it.
        look_alikes: places of wordings that look like findings and are none.
    """
    marks = [""] * len(text)
    by_mark: dict[str, Iterable[Span | Unread]] = {
        "look_alike": look_alikes,
        "finding": (span for finding in reading.findings for span in finding.spans),
        "unread": reading.unread,
    }
    for mark in MARKS:
        for span in by_mark[mark]:
            marks[span.start : span.end] = [mark] * (span.end - span.start)
    _join_over_spaces(text, marks)
    return list(_runs(text, marks))


def _join_over_spaces(text: str, marks: list[str]) -> None:
    last = 0
    for place in range(1, len(text)):
        if text[place] in " \t":
            continue
        gap = place - last - 1
        if gap and marks[place] and marks[last] == marks[place]:
            marks[last + 1 : place] = [marks[place]] * gap
        last = place


def _runs(text: str, marks: list[str]) -> Iterator[Piece]:
    start = 0
    for place in range(1, len(text) + 1):
        if place == len(text) or marks[place] != marks[start]:
            yield Piece(text[start:place], marks[start])
            start = place
