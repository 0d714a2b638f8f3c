"""Writes what a server said about each resource, as CSV or JSON lines, as it says it.

Takes Answers; gives one row each. The server's explanations may hold words of notes, so the file is readable
by its owner only.
"""

import csv
import json
import os
from dataclasses import asdict, fields
from pathlib import Path
from types import TracebackType
from typing import Self

from converter.upload.values import Answer

COLUMNS = tuple(entry.name for entry in fields(Answer))
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


class Report:
    """A report that is being written; `.csv` in its name makes it CSV."""

    def __init__(self, path: Path) -> None:
        """Begin a report, in the place of an earlier one of this name.

        Raises:
            OSError: it cannot be written.
        """
        path.parent.mkdir(parents=True, exist_ok=True)
        opened = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        self._file = os.fdopen(opened, "w", encoding="utf-8", errors="replace", newline="")
        self._rows = csv.writer(self._file, lineterminator="\n") if path.suffix == ".csv" else None
        if self._rows is not None:
            self._rows.writerow(COLUMNS)

    def add(self, answer: Answer) -> None:
        """Write one row; it is in the file when this returns."""
        record = asdict(answer)
        if self._rows is None:
            self._file.write(json.dumps(record, ensure_ascii=False) + "\n")
        else:
            self._rows.writerow([_cell(record[name]) for name in COLUMNS])
        self._file.flush()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._file.close()


def _cell(value: object) -> object:
    """A cell that no spreadsheet takes for a formula."""
    return f"'{value}" if isinstance(value, str) and value.startswith(_FORMULA_STARTS) else value
