"""What a target writes with: files that are counted and go on from part to part, and what is left out.

Takes text and bytes; gives files in one folder, and after each part what was added, for the journal.
"""

import gzip
import os
import re
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath
from typing import IO, cast

from converter.exports.values import ExportError
from converter.model import Diagnostic, Note

LEFT_OUT = "left-out.csv"
_QUOTED = re.compile(r'[",\r\n]')
Tell = Callable[[Diagnostic, Note | None], None]


@dataclass(slots=True)
class Size:
    """How much of a file is written: rows as the target counts them, and bytes."""

    rows: int = 0
    bytes: int = 0


@dataclass(slots=True)
class Written:
    """What is written so far, over all parts.

    Attributes:
        part: number of parts that are done.
        notes, findings: how many came in.
        files: name -> its size.
        left_out: reason -> notes.
        remarks: code of a diagnostic -> how often.
        read_with: (program, vocabulary) -> notes.
        counts: the target's own counts.
    """

    part: int = 0
    notes: int = 0
    findings: int = 0
    files: dict[str, Size] = field(default_factory=dict)
    left_out: Counter[str] = field(default_factory=Counter)
    remarks: Counter[str] = field(default_factory=Counter)
    read_with: Counter[tuple[str, str]] = field(default_factory=Counter)
    counts: Counter[str] = field(default_factory=Counter)


class TextFile:
    """A text file that is open for one part; UTF-8, line ends as given."""

    def __init__(self, stream: IO[bytes], size: Size) -> None:
        self._stream = stream
        self._size = size

    def write(self, text: str) -> int:
        """Write text that is no row of its own, or part of one."""
        self._stream.write(text.encode("utf-8", errors="replace"))
        return len(text)

    def row(self, text: str) -> None:
        """Write one row and its line end."""
        self.write(text + "\n")
        self._size.rows += 1

    def count(self, rows: int = 1) -> None:
        """Count rows that were written in another way."""
        self._size.rows += rows


class BinaryFile:
    """A file of bytes that is open for one part."""

    def __init__(self, stream: IO[bytes], size: Size) -> None:
        self._stream = stream
        self._size = size

    def write(self, data: bytes) -> int:
        """Write bytes."""
        return self._stream.write(data)

    def count(self, rows: int = 1) -> None:
        """Count rows."""
        self._size.rows += rows


class Writer:
    """Where a target puts what it makes. Names are paths inside the folder, such as `notes/a.csv`.

    A text file whose name ends in `.gz` is compressed, one gzip member for each part, without a time: the
    same content gives the same bytes.
    """

    def __init__(self, folder: Path, written: Written, tell: Tell, made: str | None = None) -> None:
        self.made = made
        """When the export was begun, as the manifest says it; also where it went on after an interruption."""
        self._folder = folder
        self._written = written
        self._tell = tell
        self._open: dict[str, tuple[IO[bytes], IO[bytes] | None]] = {}
        self._handles: dict[str, TextFile | BinaryFile] = {}
        self._touched: set[str] = set()

    @property
    def part(self) -> int:
        """Number of the part that is being written, from 1."""
        return self._written.part + 1

    @property
    def counts(self) -> Mapping[str, int]:
        """What was given to `add` so far, in this and all earlier parts."""
        return self._written.counts

    def add(self, name: str, number: int = 1) -> None:
        """Add to a count of the target's own, which outlasts parts and interruptions."""
        self._written.counts[name] += number

    def rows(self, name: str) -> int:
        """How many rows a file has so far; 0 where there is none."""
        return self._written.files[name].rows if name in self._written.files else 0

    def open_text(self, name: str, header: str = "") -> TextFile:
        """A text file, opened to go on; `header` is written where it is new, and is no row.

        Raises:
            ExportError: it is open for bytes, or the name leads out of the folder.
            OSError: it cannot be opened.
        """
        handle = self._handles.get(name)
        if handle is None:
            new = name not in self._written.files
            handle = self._handles[name] = TextFile(self._stream(name), self._written.files[name])
            handle.write(header if new else "")
        if not isinstance(handle, TextFile):
            raise ExportError(f"{name}: is open for bytes, so no text can be written to it.")
        return handle

    def open_binary(self, name: str) -> BinaryFile:
        """A file of bytes, opened to go on; never compressed.

        Raises:
            ExportError: it is open for text, or the name leads out of the folder.
            OSError: it cannot be opened.
        """
        handle = self._handles.get(name)
        if handle is None:
            stream = self._stream(name, packed=False)
            handle = self._handles[name] = BinaryFile(stream, self._written.files[name])
        if not isinstance(handle, BinaryFile):
            raise ExportError(f"{name}: is open for text, so no bytes can be written to it.")
        return handle

    def csv(self, name: str, columns: Sequence[str]) -> Callable[[Iterable[object]], None]:
        """A function that writes one row of a CSV file (RFC 4180, but lines end in a line feed).

        None is an empty cell, True and False are `true` and `false`; other values are written by `str`.
        """
        head = ",".join(columns) + "\n"
        handle = self.open_text(name, head)
        return lambda values: handle.row(",".join(_cell(value) for value in values))

    def path(self, name: str, rows: int | None = None) -> Path:
        """Where a file stands that a library writes by itself, in one go; `rows` says how many it has.

        Also the place of a file that was written before, to read it in `finish`.
        """
        path = self._place(name)
        if rows is not None:
            self._size(name).rows = rows
        self._touched.add(name)
        return path

    def leave_out(self, note: Note, reason: str) -> None:
        """Leave a note out, all of it, for a reason such as `no-patient`; it is counted and listed."""
        self._written.left_out[reason] += 1
        self.csv(LEFT_OUT, ("system", "id", "reason"))((note.system, note.id, reason))

    def tell(self, diagnostic: Diagnostic, note: Note | None = None) -> None:
        """Count what is doubtful, and let it be told."""
        self._written.remarks[diagnostic.code] += 1
        self._tell(diagnostic, note)

    def end_part(self) -> dict[str, Size]:
        """Close what is open and see that it is on the disk.

        Returns:
            The files of this part with their sizes.
        """
        for outer, inner in self._open.values():
            if inner is not None:
                inner.close()
            outer.flush()
            os.fsync(outer.fileno())
            outer.close()
        self._open.clear()
        self._handles.clear()
        for name in sorted(self._touched):
            path = self._place(name)
            if path.exists():
                self._size(name).bytes = path.stat().st_size
        touched = {name: self._size(name) for name in sorted(self._touched) if self._place(name).exists()}
        self._touched.clear()
        return touched

    def close(self) -> None:
        """Close what is open without caring for its content."""
        for outer, inner in self._open.values():
            if inner is not None:
                inner.close()
            outer.close()
        self._open.clear()

    def _stream(self, name: str, packed: bool = True) -> IO[bytes]:
        path = self._place(name)
        path.parent.mkdir(parents=True, exist_ok=True)
        self._size(name)
        self._touched.add(name)
        outer: IO[bytes] = path.open("ab")
        inner: IO[bytes] | None = None
        if packed and name.endswith(".gz"):
            packer = gzip.GzipFile(filename="", mode="wb", fileobj=outer, mtime=0)
            inner = cast("IO[bytes]", packer)
        self._open[name] = (outer, inner)
        return outer if inner is None else inner

    def _size(self, name: str) -> Size:
        return self._written.files.setdefault(name, Size())

    def _place(self, name: str) -> Path:
        parts = PurePosixPath(name).parts
        if not parts or name.startswith("/") or any(part in {"..", "."} for part in parts) or "\\" in name:
            raise ExportError(f"{name!r} is no name of a file inside the export.")
        return self._folder.joinpath(*parts)


def _cell(value: object) -> str:
    """A cell, quoted where a reader needs it; the standard library leaves a lone carriage return bare."""
    if value is None:
        return ""
    text = ("true" if value else "false") if isinstance(value, bool) else str(value)
    return '"' + text.replace('"', '""') + '"' if _QUOTED.search(text) else text
