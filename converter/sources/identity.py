"""Sees to it that no two notes of one run share an identity.

Takes notes in order; gives each with an identity of its own, or leaves out an exact copy, and says so.
Keeps two 64-bit numbers a note, some 32 MB a million notes, not the notes.
"""

from dataclasses import fields, replace
from operator import attrgetter

from converter.model import Diagnostic, Note
from converter.sources.hashing import short_number
from converter.sources.number_table import NumberTable
from converter.sources.troubles import error, id_shown, warning

NOTE_KEPT = frozenset({"identity-clash"})
"""Codes of errors after which the note goes on all the same."""

_ELSEWHERE = frozenset({"id", "system", "text", "hash", "source", "line", "origin"})
_FURTHER = tuple(field.name for field in fields(Note) if field.name not in _ELSEWHERE)
_ABOUT = attrgetter(*_FURTHER)
_NOTHING = (None,) * len(_FURTHER)
"""What the source says about most notes beside their text."""


class Identities:
    """The identities met so far in a run."""

    def __init__(self) -> None:
        self._first = NumberTable()
        self._clashes: dict[int, set[int]] = {}

    def settle(self, note: Note) -> tuple[Note | None, Diagnostic | None]:
        """Give the note its place among those before it.

        A note that repeats an earlier one in every field is left out. One that shares the identity of an
        earlier note and differs in anything keeps its place, with `#2` (`#3` ...) added to its identifier.
        """
        key = short_number(note.system, note.id)
        content = key ^ _content(note)
        first = self._first.first(key, content)
        if first is None:
            return note, None
        others = self._clashes.setdefault(key, {first})
        if content in others:
            return None, _duplicate(note)
        others.add(content)
        number = len(others)
        while (free := short_number(note.system, f"{note.id}#{number}")) in self._first:
            number += 1
        self._first[free] = content
        return replace(note, id=f"{note.id}#{number}"), _clash(note, number)


def _content(note: Note) -> int:
    """A number for all that a note says beside its identity; its text's hash holds one already."""
    about = _ABOUT(note)
    return int(note.hash[:16], 16) if about == _NOTHING else short_number(note.hash, *about)


def _duplicate(note: Note) -> Diagnostic:
    return warning(
        "duplicate-note",
        f"Note {id_shown(note.id)} was already read with the same text, so this copy was left out.",
        note.source or "",
        note.line,
    )


def _clash(note: Note, number: int) -> Diagnostic:
    return error(
        "identity-clash",
        f"Another note is also called {id_shown(note.id)}; this one goes on as {id_shown(note.id)}#{number}.",
        note.source or "",
        note.line,
        hint="Correct the identifiers, or name the column of the system that they belong to.",
    )
