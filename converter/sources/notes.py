"""The door of the package: from what a person names to notes, one at a time, in order."""

import codecs
from collections.abc import Iterator, Sequence

from converter.model import Diagnostic, Note
from converter.sources.file_names import compiled
from converter.sources.format import Format, NoteStream, Opened
from converter.sources.identity import Identities
from converter.sources.inputs import Input, SharedStems, expand_inputs, path_of
from converter.sources.opening import BROKEN, open_bytes
from converter.sources.options import SourceOptions
from converter.sources.registry import by_name, choose_format
from converter.sources.troubles import error


def open_notes(inputs: Sequence[str], options: SourceOptions | None = None) -> Iterator[Note | Diagnostic]:
    """The notes of files, folders, globs and standard input (`-`), with what is wrong about them.

    Notes come one at a time in the order of the inputs, a folder's files in the order of their names. What is
    wrong with a note comes just before it. An error lost a note, or set it apart from another with its
    identity; a warning says what was repaired. No two notes that are given share (`system`, `id`).

    Args:
        inputs: paths, glob patterns, `-`.
        options: how to read them.

    Raises:
        ValueError: the options name a format, a field or an encoding that does not exist.
    """
    options = options or SourceOptions()
    if options.input_format:
        by_name(options.input_format)
    if options.file_name:
        compiled(options.file_name)
    _check_encoding(options.encoding)
    return _settled(_raw_notes(inputs, options))


def _check_encoding(name: str | None) -> None:
    try:
        codecs.lookup(name or "utf-8")
    except LookupError as trouble:
        raise ValueError(f"there is no encoding {name}; common ones are utf-8, cp1252, utf-16") from trouble


def _settled(notes: NoteStream) -> NoteStream:
    identities = Identities()
    for item in notes:
        if isinstance(item, Diagnostic):
            yield item
            continue
        note, trouble = identities.settle(item)
        if trouble is not None:
            yield trouble
        if note is not None:
            yield note


def _raw_notes(inputs: Sequence[str], options: SourceOptions) -> NoteStream:
    stems = SharedStems(inputs)
    for item in expand_inputs(inputs):
        if isinstance(item, Diagnostic):
            yield item
        else:
            yield from _notes_of(item, stems.note_id(item), options)


def _notes_of(item: Input, note_id: str, options: SourceOptions) -> NoteStream:
    try:
        with open_bytes(item.path) as (head, stream):
            opened = Opened(name=item.name, note_id=note_id, path=path_of(item), head=head, stream=stream)
            if not head:
                yield from _check_empty(opened)
                return
            found = choose_format(opened, item.suffix, item.folder is None, options)
            yield from _spoken(found.read(opened, options), opened) if isinstance(found, Format) else (found,)
    except BROKEN:
        yield error(
            "broken-gzip",
            "The compressed file is cut off or damaged; what stands after the damage was not read.",
            item.name,
        )
    except OSError as trouble:
        reason = (trouble.strerror or str(trouble)).lower()
        yield error("unreadable", f"The file cannot be read ({reason}).", item.name)


def _spoken(items: NoteStream, opened: Opened) -> NoteStream:
    """The items, or where a file gives none, a word about that: no file passes in silence."""
    silent = True
    for item in items:
        silent = False
        yield item
    if silent:
        yield error("empty-file", "The file holds nothing but white space.", opened.name)


def _check_empty(opened: Opened) -> NoteStream:
    """Say that a file is empty, unless the first read shows that it is damaged."""
    opened.stream.read(1)
    yield error("empty-file", "The file is empty.", opened.name)
