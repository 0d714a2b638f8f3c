"""The door of the package: from what a person names to notes, one at a time, in order."""

from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from converter.model import Diagnostic, Note
from converter.sources.decode import is_text_encoding
from converter.sources.file_names import compiled
from converter.sources.format import Format, NoteStream, Opened
from converter.sources.identity import Identities
from converter.sources.inputs import Input, SharedStems, expand_inputs, path_of
from converter.sources.opening import BROKEN, ZIP, OpenBytes, PackedError, open_bytes, unpack
from converter.sources.options import SourceOptions
from converter.sources.registry import by_name, choose_format
from converter.sources.troubles import error

_DEEPEST_ARCHIVE = 3


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
    if name and not is_text_encoding(name):
        raise ValueError(f"there is no encoding {name}; common ones are utf-8, cp1252, utf-16")


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
    named = _Named(item.name, note_id, path_of(item), item.suffix, item.folder is None)
    with ExitStack() as stack:
        try:
            opened = stack.enter_context(open_bytes(item.path))
        except OSError as trouble:
            yield _unreadable(trouble, item.name)
            return
        yield from _notes_in(named, opened, None if opened.packed else item.path, options, 0)


@dataclass(frozen=True, slots=True)
class _Named:
    """What a file is called: in messages, as a note, as a path, by its suffix; was it named itself."""

    name: str
    note_id: str
    path: str
    suffix: str
    itself: bool


def _notes_in(
    named: _Named, opened: OpenBytes, file: Path | None, options: SourceOptions, depth: int
) -> NoteStream:
    """The notes of an open file; what stops the reading of it is said, and the next file comes."""
    try:
        if not opened.head:
            yield from _check_empty(opened.stream, named.name)
        elif opened.head.startswith(ZIP):
            yield from _notes_of_members(named, opened, file, options, depth)
        else:
            yield from _notes_of_file(named, opened, file, options)
    except PackedError as trouble:
        yield error(trouble.code, trouble.message, named.name, hint=trouble.hint)
    except UnicodeError:
        yield error(
            "unreadable-encoding",
            f"The file is not written in {options.encoding}; what stands after the damage was not read.",
            named.name,
            hint="Name another encoding, such as utf-16-le where utf-16 has no byte order mark.",
        )
    except BROKEN:
        yield error(
            "broken-gzip",
            "The compressed file is cut off or damaged; what stands after the damage was not read.",
            named.name,
        )
    except OSError as trouble:
        yield _unreadable(trouble, named.name)


def _notes_of_file(named: _Named, opened: OpenBytes, file: Path | None, options: SourceOptions) -> NoteStream:
    source = Opened(
        name=named.name,
        note_id=named.note_id,
        path=named.path,
        head=opened.head,
        stream=opened.stream,
        file=file,
    )
    found = choose_format(source, named.suffix, named.itself, options)
    yield from _spoken(found.read(source, options), source) if isinstance(found, Format) else (found,)


def _notes_of_members(
    named: _Named, opened: OpenBytes, file: Path | None, options: SourceOptions, depth: int
) -> NoteStream:
    from converter.sources.zipped import members

    if depth == _DEEPEST_ARCHIVE:
        yield error(
            "nested-too-deeply", "Archives are nested too deeply, so this one was not read.", named.name
        )
        return
    for member in members(file, opened.stream, named.name):
        if isinstance(member, Diagnostic):
            yield member
            continue
        inner = _Named(f"{named.name}/{member.name}", member.note_id, member.path, member.suffix, False)
        with ExitStack() as stack:
            yield from _notes_in(inner, unpack(member.stream, stack), None, options, depth + 1)


def _unreadable(trouble: OSError, name: str) -> Diagnostic:
    return error(
        "unreadable", f"The file cannot be read ({(trouble.strerror or str(trouble)).lower()}).", name
    )


def _spoken(items: NoteStream, opened: Opened) -> NoteStream:
    """The items, or where a file gives none, a word about that: no file passes in silence."""
    first = next(items, None)
    if first is None:
        yield error("empty-file", "The file holds nothing but white space.", opened.name)
    else:
        yield first
        yield from items


def _check_empty(stream: BinaryIO, name: str) -> NoteStream:
    """Say that a file is empty, unless the first read shows that it is damaged."""
    stream.read(1)
    yield error("empty-file", "The file is empty.", name)
