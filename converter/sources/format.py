"""What a format of notes is: how it is recognised and how its notes are read."""

import io
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib import import_module
from pathlib import Path
from typing import Any, BinaryIO

from converter.model import Diagnostic, Note
from converter.sources.decode import Lines, guess_encoding, known_encoding
from converter.sources.naming import stem_of
from converter.sources.options import SourceOptions

NoteStream = Iterator[Note | Diagnostic]


@dataclass(frozen=True, slots=True, kw_only=True)
class Opened:
    """An input that is open for reading, decompressed.

    Attributes:
        name: the file as messages name it.
        note_id: the identifier of its note, where the whole file is one note.
        path: its path without its suffix, from the folder that was named.
        head: its first bytes, which `stream` gives again.
        stream: all its bytes.
        file: the file that the stream reads from the start, where there is one and it is not packed.
    """

    name: str
    note_id: str
    path: str
    head: bytes
    stream: BinaryIO
    file: Path | None = None

    @property
    def stem(self) -> str:
        """The file's name without folders and suffixes, to make spare identifiers from."""
        return stem_of(self.name)

    def lines(self, options: SourceOptions, declared: str | None = None) -> Lines:
        """Its lines as text.

        Args:
            options: may name the encoding.
            declared: the encoding that the input itself names; a byte order mark counts before it.
        """
        guessed = guess_encoding(self.head)
        if guessed == "utf-8" and declared:
            guessed = known_encoding(declared) or guessed
        return Lines(self.stream, self.name, options.encoding or guessed)

    def first_lines(self, options: SourceOptions) -> list[str]:
        """The lines in the first bytes; the last one may be cut off."""
        text = self.head.decode(options.encoding or guess_encoding(self.head), errors="ignore")
        return [line.rstrip("\r\n") for line in io.StringIO(text, newline="") if line.strip()]


@dataclass(frozen=True, slots=True, kw_only=True)
class Format:
    """A format of notes.

    Its code stands in a module of its own, which is imported when a file may be in the format. There
    `read_NAME(opened, options)` gives the notes of an input, and what is wrong with them, in order;
    `recognise_NAME(opened, options)` says whether an input's first bytes can be nothing else.

    Attributes:
        name: what `--input-format` calls it.
        suffixes: ends of file names that suggest it, lower case with the dot.
        module: the module of this package that reads it.
        may_be: whether `recognise_NAME` is to be asked, for the first bytes and their text from its first
            mark on; it says no only where that would.
        binary: whether its files are not text.
    """

    name: str
    suffixes: tuple[str, ...]
    module: str
    may_be: Callable[[bytes, str], bool]
    binary: bool = False

    def recognise(self, opened: Opened, options: SourceOptions) -> bool:
        """Whether the first bytes of an input can be nothing else."""
        return bool(self._function("recognise")(opened, options))

    def read(self, opened: Opened, options: SourceOptions) -> NoteStream:
        """The notes of an input, and what is wrong with them, in order."""
        notes: NoteStream = self._function("read")(opened, options)
        return notes

    def _function(self, verb: str) -> Any:
        return getattr(import_module(f"converter.sources.{self.module}"), f"{verb}_{self.name}")
