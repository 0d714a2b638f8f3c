"""Notes made of the grammar's own words, whole and damaged: the laws of every reading hold.

Nothing raises, the same text reads the same, spans never lie, and the record comes back as it was.
"""

from fuzz_budget import tried
from fuzz_notes import notes
from hanging import ends_soon
from hypothesis import given
from reading_laws import hold_laws


@tried(400)
@given(notes)
def test_any_note(text: str) -> None:
    with ends_soon():
        hold_laws(text)
