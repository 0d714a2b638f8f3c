"""The text of a note in pieces, each with the mark of what the reader made of it."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from converter.model import Reading

MARKS = ("finding", "look_alike", "unread")
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


def pieces_of(text: str, reading: Reading) -> list[Piece]:
    """The whole text in pieces; joined they are the text again.

    Spaces between two words of one mark have that mark too, so that a phrase is one piece.

    Args:
        text: the note.
        reading: what was made of it.
    """
    marks = [""] * len(text)
    for mark in MARKS:
        for start, end in _spans(reading, mark):
            marks[start:end] = [mark] * (end - start)
    _join_over_spaces(text, marks)
    return list(_runs(text, marks))


def _spans(reading: Reading, mark: str) -> Iterable[tuple[int, int]]:
    if mark == "unread":
        return [(one.start, one.end) for one in reading.unread]
    if mark == "finding":
        return [(span.start, span.end) for finding in reading.findings for span in finding.spans]
    return []


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
