"""Reads a text with the shipped vocabulary, for the tests of this folder."""

from hashlib import sha256

from converter.model import Finding, Note
from converter.reading import read_note
from converter.words import shipped_vocabulary


def findings_of(text: str) -> tuple[Finding, ...]:
    """What the reader finds in a text."""
    note = Note(id="n", text=text, hash=sha256(text.encode()).hexdigest())
    return read_note(note, shipped_vocabulary()).findings
