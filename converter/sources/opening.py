"""Opens an input as a stream of decompressed bytes whose first part can be looked at beforehand."""

import gzip
import io
import sys
import zlib
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, Protocol, cast

if TYPE_CHECKING:
    from _typeshed import WriteableBuffer

HEAD = 64 * 1024
FLOOR = 256 * 1024 * 1024
"""Bytes that packed data may grow to whatever its size."""
RATIO = 250
"""Times that packed data may grow beyond that; notes are known to shrink to a tenth, rarely to a fiftieth."""
_GZIP = b"\x1f\x8b"
_ZSTD = b"\x28\xb5\x2f\xfd"
ZIP = (b"PK\x03\x04", b"PK\x05\x06")
"""How a zip archive starts; the latter without members."""


class PackedError(Exception):
    """A packed file that cannot be read on.

    Attributes:
        code: of the diagnostic.
        message: one sentence.
        hint: what to do, or None.
    """

    def __init__(self, code: str, message: str, hint: str | None = None) -> None:
        super().__init__(message)
        self.code = code
        self.message = message
        self.hint = hint


BROKEN = (EOFError, zlib.error, gzip.BadGzipFile)
"""What reading raises where a gzip file is cut off or damaged."""
_DAMAGE = (*BROKEN, PackedError)


class Readable(Protocol):
    """Anything that gives bytes."""

    def read(self, size: int, /) -> bytes:
        """The next bytes, none at the end."""
        ...


@dataclass(frozen=True, slots=True)
class OpenBytes:
    """An open input.

    Attributes:
        head: its first bytes, up to 64 KiB, unpacked.
        stream: gives everything including them. Damage found while looking ahead is raised at its place.
        packed: whether what was opened is packed.
    """

    head: bytes
    stream: BinaryIO
    packed: bool


@contextmanager
def open_bytes(path: Path | None) -> Iterator[OpenBytes]:
    """Open a file, or standard input for None, which is left open. See `unpack`.

    Raises:
        OSError: the file cannot be opened or read.
    """
    with ExitStack() as stack:
        raw = sys.stdin.buffer if path is None else stack.enter_context(path.open("rb"))
        yield unpack(raw, stack)


def unpack(raw: Readable, stack: ExitStack) -> OpenBytes:
    """Look at a stream and unpack it where its content is gzip or zstd.

    Reading it may raise what `BROKEN` names, or PackedError: damage, a missing package, or data that grows
    beyond all measure as it is unpacked.
    """
    packed = _look_ahead(raw)
    if packed.head.startswith(_GZIP):
        inner: Readable = gzip.GzipFile(fileobj=_buffered(packed))
    elif packed.head.startswith(_ZSTD):
        inner = _Zstd(packed)
    else:
        return OpenBytes(packed.head, stack.enter_context(_buffered(packed)), False)
    stream = _look_ahead(Limited(inner, lambda: packed.given))
    return OpenBytes(stream.head, stack.enter_context(_buffered(stream)), True)


class Limited:
    """Refuses to go on where unpacked data has no measure any more."""

    def __init__(self, stream: Readable, consumed: Callable[[], int]) -> None:
        """Begin.

        Args:
            stream: gives the unpacked bytes.
            consumed: how many packed bytes they came from so far.
        """
        self._stream = stream
        self._consumed = consumed
        self._given = 0

    def read(self, size: int, /) -> bytes:
        """The next bytes.

        Raises:
            PackedError: there are too many.
        """
        piece = self._stream.read(size)
        self._given += len(piece)
        if self._given > FLOOR and self._given > RATIO * self._consumed():
            raise PackedError(
                "unpacks-too-large",
                f"The packed data grows to more than {RATIO} times its size; the rest of it was not read.",
                "If it is sound, unpack it first.",
            )
        return piece


class _Zstd:
    """Unpacks zstd (RFC 8878)."""

    def __init__(self, packed: "_Ahead") -> None:
        self._packed = packed
        self._file: Readable | None = None
        self._damage: type[Exception] = PackedError

    def read(self, size: int, /) -> bytes:
        """The next bytes."""
        if self._file is None:
            zstd = _zstd_module()
            self._file, self._damage = zstd.ZstdFile(_buffered(self._packed)), zstd.ZstdError
        try:
            return self._file.read(size)
        except (self._damage, EOFError) as error:
            raise PackedError(
                "broken-zstd",
                "The compressed file is cut off or damaged; what stands after the damage was not read.",
            ) from error


def _zstd_module() -> Any:
    """The standard library's module for zstd, from Python 3.14 on, or its backport."""
    from importlib import import_module

    for name in ("compression.zstd", "backports.zstd"):
        try:
            return import_module(name)
        except ImportError:
            continue
    raise PackedError(
        "needs-package", "Files compressed with zstd need the package backports.zstd, which is not installed."
    )


class _Ahead(io.RawIOBase):
    """Gives its head again, then what its stream still holds.

    Attributes:
        head: the first bytes.
        given: how many bytes were given so far.
    """

    def __init__(self, head: bytes, rest: Readable, damage: BaseException | None) -> None:
        self.head = head
        self.given = 0
        self._left = memoryview(head)
        self._rest = rest
        self._damage = damage

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: "WriteableBuffer") -> int:
        view = memoryview(buffer)
        if self._left:
            piece: bytes | memoryview = self._left[: len(view)]
            self._left = self._left[len(piece) :]
        elif self._damage is not None:
            raise self._damage
        else:
            piece = self._rest.read(len(view))
        view[: len(piece)] = piece
        self.given += len(piece)
        return len(piece)


def _buffered(stream: _Ahead) -> BinaryIO:
    return cast("BinaryIO", io.BufferedReader(stream, HEAD))


def _look_ahead(stream: Readable) -> _Ahead:
    pieces: list[bytes] = []
    size = 0
    damage: BaseException | None = None
    read = getattr(stream, "read1", stream.read)
    try:
        while size < HEAD and (piece := read(HEAD - size)):
            pieces.append(piece)
            size += len(piece)
    except _DAMAGE as error:
        damage = error
    return _Ahead(b"".join(pieces), stream, damage)
