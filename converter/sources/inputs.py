"""Turns what a person names - files, folders, globs, `-` - into files to open, in a fixed order."""

import glob
import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePath

from converter.model import Diagnostic
from converter.sources.hashing import short_number
from converter.sources.troubles import error, information, warning

STANDARD_INPUT = "-"
_PACKINGS = (".gz", ".zst", ".zstd")


@dataclass(frozen=True, slots=True)
class Input:
    """One file to read, or standard input.

    Attributes:
        path: the file, or None for standard input.
        folder: the named folder that it was found in, or None where it was named itself.
    """

    path: Path | None
    folder: Path | None = None

    @property
    def name(self) -> str:
        """The file as messages name it."""
        return "standard input" if self.path is None else self.path.as_posix()

    @property
    def suffix(self) -> str:
        """The end of its name that shows its format, lower case, without `.gz` or `.zst`."""
        return PurePath(without_packing(self.name)).suffix.lower() if self.path else ""

    @property
    def stem(self) -> str:
        """Its name without folders and suffix."""
        return PurePath(without_packing(self.name)).stem if self.path else "standard-input"

    @property
    def relative(self) -> str:
        """Its path from the named folder, or as it was named."""
        if self.path is None:
            return self.stem
        return (self.path.relative_to(self.folder) if self.folder else self.path).as_posix()


def path_of(item: Input) -> str:
    """The path of an input from the named folder, without its suffix."""
    bare = PurePath(without_packing(item.relative))
    return bare.with_suffix("").as_posix() if bare.suffix and item.path else bare.as_posix()


def expand_inputs(inputs: Sequence[str]) -> Iterator[Input | Diagnostic]:
    """The files behind the inputs, in the order of the inputs; folders are walked in order of name.

    A name that exists is taken as it is, even with `*` or `[` in it. Hidden files are passed over; links to
    folders are not followed, and said. Each file is given once.
    """
    seen: set[int] = set()
    for name in inputs:
        found = False
        for item in _behind(name):
            found = True
            if isinstance(item, Diagnostic) or _is_new(item, seen):
                yield item
            elif item.folder is None:
                yield information("named-twice", "The input is named twice and read once.", item.name)
        if not found:
            yield _nothing(name)


class SharedStems:
    """Knows which stems more than one of the files has; keeps hashes, not names."""

    def __init__(self, inputs: Sequence[str]) -> None:
        once: set[int] = set()
        self._shared: set[int] = set()
        if len(inputs) > 1 or any(name != STANDARD_INPUT and not Path(name).is_file() for name in inputs):
            for item in expand_inputs(inputs):
                if isinstance(item, Input):
                    key = short_number(item.stem)
                    (self._shared if key in once else once).add(key)

    def note_id(self, item: Input) -> str:
        """The identifier of the note that a whole file is: its stem, or its path where others share that."""
        return item.relative if short_number(item.stem) in self._shared else item.stem


def _behind(name: str) -> Iterator[Input | Diagnostic]:
    if name == STANDARD_INPUT:
        yield Input(None)
        return
    path = Path(name)
    if path.is_dir():
        yield from _walk(path, path)
    elif path.exists():
        yield Input(path)
    elif glob.has_magic(name):
        for match in sorted(glob.iglob(name, recursive=True)):  # noqa: PTH207 - a pattern may be absolute
            yield from _behind(match) if not Path(match).is_dir() else ()


def _walk(folder: Path, top: Path) -> Iterator[Input | Diagnostic]:
    try:
        with os.scandir(folder) as entries:
            ordered = sorted(entries, key=lambda entry: entry.name)
    except OSError as trouble:
        yield error("unreadable", f"The folder cannot be opened ({_reason(trouble)}).", folder.as_posix())
        return
    for entry in ordered:
        path = folder / entry.name
        if entry.name.startswith("."):
            continue
        if entry.is_dir(follow_symlinks=False):
            yield from _walk(path, top)
        elif entry.is_dir():
            yield warning("link-passed-over", "The link to a folder was not followed.", path.as_posix())
        elif entry.is_file():
            yield Input(path, top)
        else:
            yield warning("not-a-file", "The entry is not a file, so it was passed over.", path.as_posix())


def _is_new(item: Input, seen: set[int]) -> bool:
    key = short_number(os.path.realpath(item.path) if item.path else None)
    if key in seen:
        return False
    seen.add(key)
    return True


def _nothing(name: str) -> Diagnostic:
    path = Path(name)
    if path.is_dir():
        return error("nothing-found", "The folder holds no files.", name)
    if glob.has_magic(name):
        return error("nothing-found", "No file fits this pattern.", name)
    return error("missing-input", "There is no such file or folder.", name)


def _reason(trouble: OSError) -> str:
    return (trouble.strerror or str(trouble)).lower()


def without_packing(name: str) -> str:
    """A file's name without the ending that says how it is packed."""
    packing = next((end for end in _PACKINGS if name.lower().endswith(end)), "")
    return name[: len(name) - len(packing)]
