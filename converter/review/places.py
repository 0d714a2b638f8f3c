"""Finds words that a person typed or marked in the text of a note.

Takes the text and the words; gives the places where they stand. White space counts as one space, since a
browser does not keep it.
"""

import re
from dataclasses import dataclass

_AROUND = 40
_MOST = 50


@dataclass(frozen=True, slots=True)
class Place:
    """One place where words stand.

    Attributes:
        start: first character.
        end: character after the last one.
        before: words before it on its line.
        words: the words as they stand there.
        after: words after it.
    """

    start: int
    end: int
    before: str
    words: str
    after: str


def places_of(text: str, words: str, near: int = 0) -> list[Place]:
    """Where words stand in a text, the place nearest to `near` first; at most 50.

    Case counts where the words stand so somewhere; else it does not.
    """
    parts = words.split()
    if not parts:
        return []
    pattern = r"\s+".join(map(re.escape, parts))
    found = list(re.finditer(pattern, text)) or list(re.finditer(pattern, text, re.IGNORECASE))
    nearest = sorted(found, key=lambda match: (abs(match.start() - near), match.start()))
    return [place_at(text, match.start(), match.end()) for match in nearest[:_MOST]]


def place_at(text: str, start: int, end: int) -> Place:
    """A place with the words around it, from its own line where that is short."""
    return Place(
        start=start,
        end=end,
        before=_line_end(text[max(0, start - _AROUND) : start]),
        words=text[start:end],
        after=_line_start(text[end : end + _AROUND]),
    )


def _line_end(text: str) -> str:
    return re.split(r"[\r\n]", text)[-1]


def _line_start(text: str) -> str:
    return re.split(r"[\r\n]", text)[0]
