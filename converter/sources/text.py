"""Plain text: one note a file, named after the file; the name may hold more of its fields."""

from converter.sources.format import NoteStream, Opened
from converter.sources.options import SourceOptions
from converter.sources.whole_file import file_too_large, note_of_file


def read_text(opened: Opened, options: SourceOptions) -> NoteStream:
    """The one note of a plain text file."""
    lines = opened.lines(options)
    text = lines.everything(options.largest_note)
    yield from lines.last_troubles()
    if text is None:
        yield file_too_large(opened, options)
    else:
        yield from note_of_file(opened, text, (), options)
