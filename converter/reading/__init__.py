"""Reads reflex findings from the text of a note, each tied to the words it came from.

Takes a Note and a Vocabulary; gives a Reading. A newcomer reads `reader.py`, then `grammar/rules.py`. A note
goes through the folders in this order: `relevance`, `notation`, `layouts`, `sentences`, `grammar`.
"""

from typing import TYPE_CHECKING

from converter.lazily import names_of

if TYPE_CHECKING:
    from converter.reading.options import ReadingOptions
    from converter.reading.reader import read_note

__all__ = ["ReadingOptions", "read_note"]

__getattr__ = names_of(__name__, {"options": ["ReadingOptions"], "reader": ["read_note"]})
