"""Plain text: one note a file, named after the file; the name may hold more of its fields."""

from converter.sources.fields import Place, note_from_fields
from converter.sources.file_names import fields_of_name
from converter.sources.format import Format, NoteStream, Opened
from converter.sources.options import SourceOptions
from converter.sources.troubles import error, warning


def read_text(opened: Opened, options: SourceOptions) -> NoteStream:
    """The one note of a plain text file."""
    lines = opened.lines(options)
    text = lines.everything(options.largest_note)
    yield from lines.last_troubles()
    if text is None:
        yield error(
            "too-large",
            f"The file holds more than {options.largest_note} characters, so it was left out.",
            opened.name,
        )
        return
    place = Place(opened.name, None, opened.note_id)
    named = fields_of_name(options.file_name, opened.path) if options.file_name else {}
    if named is None:
        yield warning("name-does-not-fit", f"The file's name does not fit {options.file_name}.", opened.name)
    note, troubles = note_from_fields({"id": opened.note_id, **(named or {}), "text": text}, place, options)
    yield from troubles
    yield note


TEXT = Format(
    name="text",
    suffixes=(".txt", ".text"),
    recognise=lambda _opened, _options: False,
    read=read_text,
)
