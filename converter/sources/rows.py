"""A row of a table as a note: what Parquet files and the frames of a cluster have in common.

Takes the fields of a row as text; gives the Note, or says why the row is none.
"""

from collections.abc import Mapping
from dataclasses import replace

from converter.model import Diagnostic, Note
from converter.sources.fields import Place, note_from_fields, text_hash
from converter.sources.naming import stem_of
from converter.sources.options import SourceOptions
from converter.sources.troubles import error


def note_in_row(row: Mapping[str, str], options: SourceOptions) -> tuple[Note | None, list[Diagnostic]]:
    """The note of a row, and what was wrong with it; no note where the row has no text, or too much.

    Args:
        row: our field names with their values as text; `source` and `line` name the place of the row.
        options: give the system of notes that name none, and the largest note.
    """
    source = row.get("source", "")
    line = int(row["line"]) if row.get("line", "").isdecimal() else None
    text = row.get("text")
    if text is None:
        return None, [no_text(source, line)]
    if len(text) > options.largest_note:
        return None, [too_large(options.largest_note, source, line)]
    spare = f"{stem_of(source)}:{line}" if line is not None else f"row:{text_hash(text)[:16]}"
    note, troubles = note_from_fields({**row, "text": text}, Place(source, line, spare), options)
    return (note if source else replace(note, source=None)), troubles


def no_text(source: str, line: int | None) -> Diagnostic:
    """A row that cannot be a note."""
    return error("no-text", "The row has no text.", source, line)


def too_large(largest: int, source: str, line: int | None) -> Diagnostic:
    """A row that holds too much for a note."""
    return error(
        "too-large", f"The note holds more than {largest} characters, so it was left out.", source, line
    )
