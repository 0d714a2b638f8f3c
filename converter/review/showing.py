"""The text of a note in pieces for a page: what each piece is, and no character that hides or misleads.

Takes a text and the places in it; gives pieces that joined are the text again, or a part of a long one. A
character that cannot be seen, or that turns the writing round, is a piece of its own that says what it is.
"""

import re
import sys
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import accumulate, groupby

from converter.model import Reading, Span
from converter.review.questions import Subject

LONG = 20_000
"""Characters from which only a part of a note is shown, unless all of it is asked for."""
_AROUND = 4_000
_CLOSE = 60
_SEEN = frozenset("\n\r\t")
_SAID = re.compile("\u27e8U\\+([0-9A-F]{4,6})\u27e9")
_HIDDEN = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})


@dataclass(frozen=True, slots=True)
class ShownPiece:
    """Some characters of a note, all with one mark.

    Attributes:
        text: the characters, or for hidden ones what they are: `U+202E`.
        start: place of the first in the note.
        mark: `finding`, `unread` or empty.
        subject: number of the place in question that it belongs to, from 0, or None.
        hidden: the name of a character that cannot be seen, or empty.
    """

    text: str
    start: int
    mark: str
    subject: int | None
    hidden: str


def pieces_shown(
    text: str, reading: Reading, subjects: Sequence[Subject] = (), part: tuple[int, int] | None = None
) -> list[ShownPiece]:
    """A text, or a part of it, in pieces.

    Args:
        text: the note.
        reading: its findings and unread wording are marked.
        subjects: the places in question.
        part: first character and the one after the last; None for all. What lies outside the text is left
            out, so that an archive without words shows none.
    """
    low, high = (min(place, len(text)) for place in part or (0, len(text)))
    labels: list[tuple[str, int | None]] = [("", None)] * (high - low)
    _label(labels, low, (span for one in reading.findings for span in one.spans), ("finding", None))
    _label(labels, low, (Span(one.start, one.end, "unread") for one in reading.unread), ("unread", None))
    for number, subject in enumerate(subjects):
        mark = "unread" if subject.finding is None else "finding"
        _label(labels, low, subject.spans, (mark, number))
    _join_over_spaces(text[low:high], labels)
    return list(_runs(text, labels, low))


def part_shown(text: str, subjects: Sequence[Subject], whole: bool = False) -> tuple[int, int]:
    """Which part of a text is shown: all of it, or of a long one what stands around the places."""
    if whole or len(text) <= LONG:
        return 0, len(text)
    start = min((subject.start for subject in subjects), default=0)
    end = max((subject.end for subject in subjects), default=0)
    return max(0, start - _AROUND), min(len(text), max(end, start + 2 * _AROUND) + _AROUND)


def close_up(text: str, subject: Subject) -> tuple[int, int]:
    """The words right around a place, cut at line ends and between words."""
    low, high = max(0, subject.start - _CLOSE), min(len(text), subject.end + _CLOSE)
    before, after = text[low : subject.start], text[subject.end : high]
    line = max(before.rfind("\n"), before.rfind("\r")) + 1
    low += line or (_first_gap(before) if low else 0)
    ends = [place for place in (after.find("\n"), after.find("\r")) if place >= 0]
    cut = min(ends) if ends else (after.rfind(" ") if high < len(text) else len(after))
    return low, subject.end + (cut if cut >= 0 else len(after))


def visible(text: str) -> str:
    """Text from outside without characters that hide or mislead, each said by its number instead."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(f"\u27e8{_number(one)}\u27e9" if _hides(one) else one for one in text)


def as_in_note(text: str) -> str:
    """Text that `visible` gave, with its hidden characters again."""
    return _SAID.sub(_character, text)


def _character(said: re.Match[str]) -> str:
    number = int(said[1], 16)
    return chr(number) if number <= sys.maxunicode else said[0]


def _first_gap(before: str) -> int:
    return before.find(" ") + 1


def _label(
    labels: list[tuple[str, int | None]], low: int, spans: Iterable[Span], label: tuple[str, int | None]
) -> None:
    for span in spans:
        start, end = max(span.start - low, 0), min(span.end - low, len(labels))
        if start < end:
            labels[start:end] = [label] * (end - start)


def _join_over_spaces(text: str, labels: list[tuple[str, int | None]]) -> None:
    """Spaces between two words of one mark have that mark too, so that a phrase is one piece."""
    last = 0
    for place, label in enumerate(labels):
        if text[place] in " \t":
            continue
        if label[0] and labels[last] == label and place - last > 1:
            labels[last + 1 : place] = [label] * (place - last - 1)
        last = place


def _runs(text: str, labels: list[tuple[str, int | None]], low: int) -> Iterable[ShownPiece]:
    lines = _lines(text[low : low + len(labels)])

    def told_by(place: int) -> tuple[str, int | None, str, int]:
        character = text[low + place]
        return (*labels[place], character if _hides(character) else "", lines[place] if lines else 0)

    for (mark, subject, hidden, _), places in groupby(range(len(labels)), told_by):
        own = list(places)
        start = low + own[0]
        if hidden:
            times = f" \u00d7 {len(own)}" if len(own) > 1 else ""
            yield ShownPiece(f"{_number(hidden)}{times}", start, mark, subject, _name(hidden))
        else:
            yield ShownPiece(text[start : low + own[-1] + 1], start, mark, subject, "")


def _lines(text: str) -> list[int]:
    """The line of each character where a browser would make one line end of two characters; else empty.

    Pieces then end with their line, so that places inside a piece can be counted by what a browser shows.
    """
    return list(accumulate((one == "\r" for one in text[:-1]), initial=0)) if "\r" in text else []


def _hides(character: str) -> bool:
    return character not in _SEEN and unicodedata.category(character) in _HIDDEN


def _number(character: str) -> str:
    return f"U+{ord(character):04X}"


def _name(character: str) -> str:
    return unicodedata.name(character, "control character").lower()
