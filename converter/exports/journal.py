"""The journal of an export that is being made: what is finished, so that an interrupted one can go on.

Takes what was written after each part; gives back what stood there when the export was interrupted. The
first line says what is being made, each further line what one part added.
"""

import json
import os
from collections import Counter
from pathlib import Path
from typing import IO, Any

from converter.exports.writer import Size, Written

JOURNAL = "journal.jsonl"
_COUNTERS = ("left_out", "remarks", "counts")


class Journal:
    """The journal of one folder, open for writing."""

    def __init__(self, folder: Path, head: dict[str, Any], *, new: bool) -> None:
        """Begin a journal, or go on with one.

        Raises:
            OSError: it cannot be written.
        """
        self._file: IO[str] = (folder / JOURNAL).open("w" if new else "a", encoding="utf-8", newline="\n")
        if new:
            self._line(head)

    def add(self, written: Written, touched: dict[str, Size]) -> None:
        """Note that a part is done.

        Args:
            written: all that is written so far.
            touched: the files of this part.
        """
        self._line(
            {
                "part": written.part,
                "notes": written.notes,
                "findings": written.findings,
                "files": {name: [size.rows, size.bytes] for name, size in touched.items()},
                "read_with": [[*key, number] for key, number in written.read_with.items()],
                **{name: getattr(written, name) for name in _COUNTERS},
            }
        )

    def close(self) -> None:
        """Close the file."""
        self._file.close()

    def _line(self, record: dict[str, Any]) -> None:
        self._file.write(json.dumps(record, ensure_ascii=True, separators=(",", ":")) + "\n")
        self._file.flush()
        os.fsync(self._file.fileno())


def interrupted(folder: Path) -> tuple[dict[str, Any], Written] | None:
    """What an interrupted export had been asked for and had finished; None where that cannot be told.

    The files are cut back to what the last finished part left; a line that was cut short counts as unwritten.
    """
    path = folder / JOURNAL
    if not path.is_file():
        return None
    lines = path.read_bytes().split(b"\n")
    try:
        records = [json.loads(line) for line in lines[:-1]]
        if not records:
            return None
        written = _written(records[1:])
        _cut_back(folder, written)
    except (ValueError, KeyError, TypeError, OSError):
        return None
    with path.open("r+b") as journal:  # whoever goes on writes behind the last whole line
        journal.truncate(sum(len(line) + 1 for line in lines[:-1]))
    return records[0], written


def _written(records: list[dict[str, Any]]) -> Written:
    written = Written()
    for record in records:
        written.part, written.notes = record["part"], record["notes"]
        written.findings = record["findings"]
        for name, (rows, size) in record["files"].items():
            written.files[name] = Size(rows, size)
        written.read_with = Counter({(one[0], one[1]): one[2] for one in record["read_with"]})
        for name in _COUNTERS:
            setattr(written, name, Counter(record[name]))
    return written


def _cut_back(folder: Path, written: Written) -> None:
    """Bring the files to the sizes that the journal knows.

    Raises:
        ValueError: a file is shorter than that.
    """
    for path in sorted(folder.rglob("*")):
        name = path.relative_to(folder).as_posix()
        if path.is_dir() or name == JOURNAL:
            continue
        if name not in written.files:
            path.unlink()
    for name, size in written.files.items():
        path = folder / name
        if path.stat().st_size < size.bytes:
            raise ValueError(f"{name} is shorter than the journal says")
        os.truncate(path, size.bytes)
