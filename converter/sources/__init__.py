"""Where notes come from: files, folders, globs and standard input, one file of code per format.

Takes what a person names; gives Notes one at a time, and a Diagnostic for whatever could not be taken as it
came. Leaves what the notes say to `reading`. A new format is a module of its own and a `Format` in
`registry.FORMATS`, which says when that module is imported.
"""

from converter.sources.fields import note_from_text
from converter.sources.identity import NOTE_KEPT
from converter.sources.notes import open_notes
from converter.sources.options import FIELDS, SourceOptions
from converter.sources.registry import format_names

__all__ = ["FIELDS", "NOTE_KEPT", "SourceOptions", "format_names", "note_from_text", "open_notes"]
