"""Remembers which notes a server has accepted and in which words, so that they are not sent again.

A small SQLite file in the folder of the ledger; each batch is on the disk before the next is sent. It is also
what keeps two programs from sending with one ledger.
"""

import sqlite3
from collections.abc import Iterable
from pathlib import Path
from types import TracebackType
from typing import Self

from converter.upload.values import UploadError

ACCEPTED = "accepted.sqlite"
_ACCEPTED_TABLE = """
CREATE TABLE IF NOT EXISTS accepted (note TEXT PRIMARY KEY, digest TEXT NOT NULL) WITHOUT ROWID
"""


class Accepted:
    """What one server has accepted; use it in a `with` block."""

    def __init__(self, folder: Path, address: str, base: str) -> None:
        """Open the memory of a folder, or begin it.

        Args:
            folder: the folder, which exists.
            address: of the server; one folder belongs to one server.
            base: canonical base of our identifiers; under another one all would be there twice.

        Raises:
            UploadError: it belongs to another server, is damaged, or another program is sending with it.
        """
        self._database = sqlite3.connect(folder / ACCEPTED, timeout=0, isolation_level=None)
        try:
            self._database.execute("PRAGMA locking_mode=EXCLUSIVE")
            self._database.execute("BEGIN EXCLUSIVE")
            self._database.execute(
                "CREATE TABLE IF NOT EXISTS server (address TEXT NOT NULL, base TEXT NOT NULL)"
            )
            self._database.execute(_ACCEPTED_TABLE)
            self._check(folder, address, base)
            self._database.execute("COMMIT")
        except sqlite3.Error as error:
            self._database.close()
            raise UploadError(_why(folder, error)) from None
        except UploadError:
            self._database.close()
            raise

    def has(self, note: str, digest: str) -> bool:
        """Whether the server accepted a note in these very words."""
        row = self._database.execute("SELECT digest FROM accepted WHERE note = ?", (note,)).fetchone()
        return row is not None and row[0] == digest

    def add(self, notes: Iterable[tuple[str, str]]) -> None:
        """Remember notes and their digests; they are on the disk when this returns."""
        self._database.execute("BEGIN")
        self._database.executemany("INSERT OR REPLACE INTO accepted VALUES (?, ?)", notes)
        self._database.execute("COMMIT")

    def close(self) -> None:
        """Close the file."""
        self._database.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _check(self, folder: Path, address: str, base: str) -> None:
        known = self._database.execute("SELECT address, base FROM server").fetchone()
        if known is None:
            self._database.execute("INSERT INTO server VALUES (?, ?)", (address, base))
        elif known[0] != address:
            raise UploadError(f"{folder}: is of {known[0]}; for {address} name another --ledger.")
        elif known[1] != base:
            raise UploadError(
                f"{folder}: what was sent so far has identifiers under {known[1]}; under {base} it would "
                "be there twice. Set that base again, or name another --ledger."
            )


def _why(folder: Path, error: sqlite3.Error) -> str:
    if "locked" in str(error):
        return f"{folder}: another program is sending with this ledger."
    return f"{folder / ACCEPTED}: cannot be used ({error})."
