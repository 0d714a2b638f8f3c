"""Unread wording over many notes, the most frequent first, so that a team sees what its vocabulary lacks."""

from collections.abc import Iterable
from dataclasses import dataclass

from converter.model import Note, Reading, Unread

_AROUND = 30


@dataclass(frozen=True, slots=True)
class UnreadWording:
    """One wording that was not understood.

    Attributes:
        wording: in small letters, with single spaces.
        count: how often.
        notes: in how many notes.
        why: the reasons, in the order met.
        note: identifier of the first note with it.
        source: file of that note, or None.
        line: line of that file, or None.
        start: first character there.
        end: character after it.
        context: the words around it there.
    """

    wording: str
    count: int
    notes: int
    why: tuple[str, ...]
    note: str
    source: str | None
    line: int | None
    start: int
    end: int
    context: str


@dataclass(slots=True)
class _Tally:
    first: Note
    piece: Unread
    count: int
    notes: int
    last: Note
    why: dict[str, None]


def unread_wordings(read: Iterable[tuple[Note, Reading]]) -> list[UnreadWording]:
    """Every wording that was not understood, the most frequent first, equals in alphabetical order."""
    tallies: dict[str, _Tally] = {}
    for note, reading in read:
        for piece in reading.unread:
            wording = " ".join(piece.text.lower().split())
            tally = tallies.setdefault(wording, _Tally(note, piece, 0, 1, note, {}))
            tally.count += 1
            tally.notes += tally.last is not note
            tally.last = note
            tally.why[piece.why] = None
    ordered = sorted(tallies.items(), key=lambda item: (-item[1].count, item[0]))
    return [_wording(name, tally) for name, tally in ordered]


def _wording(name: str, tally: _Tally) -> UnreadWording:
    note, piece = tally.first, tally.piece
    around = note.text[max(0, piece.start - _AROUND) : piece.end + _AROUND]
    return UnreadWording(
        wording=name,
        count=tally.count,
        notes=tally.notes,
        why=tuple(tally.why),
        note=note.id,
        source=note.source,
        line=note.line,
        start=piece.start,
        end=piece.end,
        context=" ".join(around.split()),
    )
