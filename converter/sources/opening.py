"""Opens an input as a stream of decompressed bytes whose first part can be looked at beforehand."""

import gzip
import io
import sys
import zlib
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO, cast

if TYPE_CHECKING:
    from _typeshed import WriteableBuffer

HEAD = 64 * 1024
_GZIP = b"\x1f\x8b"
BROKEN = (EOFError, zlib.error, gzip.BadGzipFile)
"""What reading raises where a compressed file is cut off or damaged."""


@contextmanager
def open_bytes(path: Path | None) -> Iterator[tuple[bytes, BinaryIO]]:
    """Open a file, or standard input for None; gzip is seen by its content.

    Yields:
        The first bytes (up to 64 KiB), and a stream that gives everything including them. Damage found while
        looking ahead is raised by the stream, at its place. Standard input is left open.

    Raises:
        OSError: the file cannot be opened or read.
    """
    with ExitStack() as stack:
        raw = sys.stdin.buffer if path is None else stack.enter_context(path.open("rb"))
        stream = _look_ahead(raw)
        if stream.head.startswith(_GZIP):
            stream = _look_ahead(cast("BinaryIO", gzip.GzipFile(fileobj=_buffered(stream))))
        yield stream.head, stack.enter_context(_buffered(stream))


class _Ahead(io.RawIOBase):
    """Gives its head again, then what its stream still holds."""

    def __init__(self, head: bytes, rest: BinaryIO, damage: BaseException | None) -> None:
        self.head = head
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
        return len(piece)


def _buffered(stream: _Ahead) -> BinaryIO:
    return cast("BinaryIO", io.BufferedReader(stream, HEAD))


def _look_ahead(stream: BinaryIO) -> _Ahead:
    pieces: list[bytes] = []
    size = 0
    damage: BaseException | None = None
    read = getattr(stream, "read1", stream.read)
    try:
        while size < HEAD and (piece := read(HEAD - size)):
            pieces.append(piece)
            size += len(piece)
    except BROKEN as error:
        damage = error
    return _Ahead(b"".join(pieces), stream, damage)
