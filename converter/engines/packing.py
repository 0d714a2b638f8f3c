"""How notes are packed to travel: the values of their fields alone, pickled."""

import pickle
from collections.abc import Callable, Iterable, Sequence
from dataclasses import fields
from operator import attrgetter
from typing import Any

from converter.model import Note
from converter.model.making import maker

_FIELDS = tuple(field.name for field in fields(Note))
_made: Callable[..., Note] = maker(Note)

row_of = attrgetter(*_FIELDS)
"""The values of a note, in the order of its fields."""


def note_of(row: Sequence[Any]) -> Note:
    """The note with these values."""
    return _made(*row)


def packed(notes: Iterable[Note]) -> bytes:
    """Notes as bytes for another process of ours."""
    return pickle.dumps([row_of(note) for note in notes], pickle.HIGHEST_PROTOCOL)


def unpacked(content: bytes) -> list[Note]:
    """The notes that `packed` was given."""
    return [note_of(row) for row in pickle.loads(content)]  # noqa: S301 - from our own process
