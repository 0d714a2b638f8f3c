"""What the formats share in which a whole file is one note."""

from dataclasses import replace

from converter.model import Diagnostic
from converter.sources.fields import Place, note_from_fields
from converter.sources.file_names import fields_of_name
from converter.sources.format import NoteStream, Opened
from converter.sources.options import SourceOptions
from converter.sources.origins import Origin
from converter.sources.troubles import error, warning


def note_of_file(opened: Opened, text: str, origin: Origin, options: SourceOptions) -> NoteStream:
    """The note that a whole file is, with the fields that its name holds."""
    place = Place(opened.name, None, opened.note_id)
    named = fields_of_name(options.file_name, opened.path) if options.file_name else {}
    if named is None:
        yield warning("name-does-not-fit", f"The file's name does not fit {options.file_name}.", opened.name)
    note, troubles = note_from_fields({"id": opened.note_id, **(named or {}), "text": text}, place, options)
    yield from troubles
    yield replace(note, origin=origin) if origin else note


def file_too_large(opened: Opened, options: SourceOptions) -> Diagnostic:
    """What is said of a file that holds too many characters to be one note."""
    return error(
        "too-large",
        f"The file holds more than {options.largest_note} characters, so it was left out.",
        opened.name,
    )
