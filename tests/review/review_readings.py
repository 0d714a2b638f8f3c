"""Reads short invented notes for the tests of this folder."""

from hashlib import sha256

from converter.model import Note, Reading
from converter.reading import read_note
from converter.words import shipped_vocabulary


def read(text: str, name: str = "n") -> tuple[Note, Reading]:
    """A note and its reading."""
    note = Note(id=name, text=text, hash=sha256(text.encode()).hexdigest(), source="notes.csv", line=3)
    return note, read_note(note, shipped_vocabulary())
