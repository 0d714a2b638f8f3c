"""Zip archives: their members one at a time, in order of name, read in memory and never written to disk."""

import io
import zipfile
import zlib
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import IO, BinaryIO

from converter.model import Diagnostic
from converter.sources.inputs import without_packing
from converter.sources.opening import FLOOR, RATIO, Limited, PackedError, Readable
from converter.sources.troubles import error

_LARGEST_COPY = 256 * 1024 * 1024
_OFFICE = frozenset(("[Content_Types].xml", "META-INF/manifest.xml"))
_BROKEN = (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError, OSError, ValueError)


@dataclass(frozen=True, slots=True)
class Member:
    """A file in an archive.

    Attributes:
        name: its path in the archive, as it is written there; only a name, never a place to write to.
        note_id: the identifier of its note, where the whole file is one.
        stream: its bytes.
    """

    name: str
    note_id: str
    stream: Readable

    @property
    def suffix(self) -> str:
        """The end of its name that shows its format, lower case."""
        return PurePosixPath(without_packing(self.name)).suffix.lower()

    @property
    def path(self) -> str:
        """Its path without the suffix."""
        bare = PurePosixPath(without_packing(self.name))
        return bare.with_suffix("").as_posix() if bare.suffix else bare.as_posix()


def members(file: Path | None, stream: BinaryIO, source: str) -> Iterator[Member | Diagnostic]:
    """The members of an archive that may hold notes, and what is wrong with it.

    Hidden files are passed over. A member's stream is good until the next one is asked for.

    Args:
        file: the archive, where it is a file by itself; otherwise it is read into memory.
        stream: its bytes.
        source: its name, for messages.

    Raises:
        PackedError: the members together grow beyond all measure.
    """
    try:
        with _seekable(file, stream) as seekable, zipfile.ZipFile(seekable) as archive:
            yield from _members(archive, _size(seekable), source)
    except _BROKEN:
        yield error("broken-zip", "The zip archive is cut off or damaged, so it was not read.", source)


def _members(archive: zipfile.ZipFile, size: int, source: str) -> Iterator[Member | Diagnostic]:
    infos = sorted((info for info in archive.infolist() if _is_file(info)), key=lambda info: info.filename)
    if not _OFFICE.isdisjoint(archive.namelist()):
        yield error(
            "binary-file",
            "The file is not text (it looks like an office document), so it was not read.",
            source,
        )
        return
    if sum(info.compress_size for info in infos) > size:
        yield error(
            "unpacks-too-large",
            "The archive's members overlap, as in a zip bomb, so it was not read.",
            source,
        )
        return
    if not infos:
        yield error("nothing-found", "The zip archive holds no files.", source)
    stems = Counter(_stem(info) for info in infos)
    budget = _Budget(size)
    for info in infos:
        place = f"{source}/{info.filename}"
        if info.flag_bits & 1:
            yield error("encrypted", "The file in the archive is encrypted, so it was not read.", place)
            continue
        note_id = _stem(info) if stems[_stem(info)] == 1 else info.filename
        try:
            opened = archive.open(info)
        except _BROKEN:
            yield error("broken-zip", "The file in the archive is damaged, so it was not read.", place)
            continue
        with opened:
            yield Member(info.filename, note_id, _Checked(opened, info.compress_size, budget))


def _is_file(info: zipfile.ZipInfo) -> bool:
    parts = PurePosixPath(info.filename.replace("\\", "/")).parts
    hidden = any(part.startswith(".") and part not in (".", "..") for part in parts)
    return not info.is_dir() and not hidden and "__MACOSX" not in parts


def _stem(info: zipfile.ZipInfo) -> str:
    return PurePosixPath(without_packing(info.filename)).stem


@dataclass(slots=True)
class _Budget:
    """How many bytes all members together may still give."""

    size: int
    given: int = 0

    def take(self, count: int) -> None:
        self.given += count
        if self.given > FLOOR and self.given > RATIO * self.size:
            raise PackedError(
                "unpacks-too-large",
                f"The archive grows to more than {RATIO} times its size; the rest of it was not read.",
                "If it is sound, unpack it first.",
            )


class _Checked:
    """Gives a member's bytes; damage and excess become a PackedError."""

    def __init__(self, opened: IO[bytes], packed_size: int, budget: _Budget) -> None:
        self._limited = Limited(opened, lambda: packed_size)
        self._budget = budget

    def read(self, size: int, /) -> bytes:
        """The next bytes."""
        try:
            piece = self._limited.read(size)
        except _BROKEN as trouble:
            raise PackedError(
                "broken-zip",
                "The file in the archive is cut off or damaged; what stands after the damage was not read.",
            ) from trouble
        self._budget.take(len(piece))
        return piece


@contextmanager
def _seekable(file: Path | None, stream: BinaryIO) -> Iterator[BinaryIO]:
    if file is not None:
        with file.open("rb") as opened:
            yield opened
        return
    data = stream.read(_LARGEST_COPY + 1)
    if len(data) > _LARGEST_COPY:
        raise PackedError(
            "packed-zip",
            "The zip archive inside another file is too large to be read there, so it was left out.",
            "Unpack the outer file first.",
        )
    yield io.BytesIO(data)


def _size(stream: BinaryIO) -> int:
    size = stream.seek(0, io.SEEK_END)
    stream.seek(0)
    return size
