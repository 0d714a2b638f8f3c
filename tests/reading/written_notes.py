"""The texts of all readable cases and demo notes, by name; and how a test reads one."""

from functools import cache
from hashlib import sha256
from pathlib import Path

from case_files import cases_in
from demo_notes import demo_texts

from converter.model import Note, Reading
from converter.reading import read_note
from converter.words import Vocabulary, shipped_vocabulary

FIXTURES = Path(__file__).parents[2] / "fixtures"


@cache
def written_notes() -> dict[str, str]:
    """Text by the place of the case, or by the id of the demo note."""
    cases = cases_in(FIXTURES / "cases" / "reading")
    return {case.place: case.note for case in cases if case.note is not None} | demo_texts(FIXTURES / "demo")


def read_text(text: str, vocabulary: Vocabulary | None = None) -> Reading:
    """The reading of a text."""
    note = Note(id="note", text=text, hash=sha256(text.encode()).hexdigest())
    return read_note(note, vocabulary or shipped_vocabulary())
