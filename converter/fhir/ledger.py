"""What a folder has been given before, so that a later run can take back what no longer holds.

Keeps `ledger.jsonl`, one line per note, sorted. Notes of the current run are replaced in a temporary
database, so that memory does not grow with their number; a journal beside it keeps what an interrupted run
had already written.
"""

import json
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from converter.fhir.json_text import json_text

LEDGER = "ledger.jsonl"
_JOURNAL = "ledger.jsonl.part"


@dataclass(frozen=True, slots=True, kw_only=True)
class Sent:
    """One resource as it was last sent.

    Attributes:
        type, id: its kind and UUID.
        finding: the finding it stands for, or None.
        hash: SHA-256 of its content as built.
        status: the status it was sent with, or None.
        time: its own time (date or recorded), or None.
        stub: what a retraction needs to repeat; empty where it cannot be retracted.
    """

    type: str
    id: str
    finding: str | None
    hash: str
    status: str | None
    time: str | None
    stub: dict[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteEntry:
    """One note and everything sent for it.

    Attributes:
        note: UUID of the note.
        system, id: its identity at the source.
        note_hash: SHA-256 of its text.
        sent: its resources.
    """

    note: str
    system: str | None
    id: str | None
    note_hash: str
    sent: tuple[Sent, ...]


class Ledger:
    """The ledger of one folder during one run. Close it to put the new one in place."""

    def __init__(self, folder: Path) -> None:
        """Read what the folder holds.

        Raises:
            OSError: the folder cannot be read or written.
            ValueError: its ledger is damaged.
        """
        self._folder = folder
        self._work = TemporaryDirectory(prefix="plexor-")
        self._database = sqlite3.connect(Path(self._work.name) / "ledger.sqlite", isolation_level=None)
        self._database.executescript(
            "PRAGMA journal_mode=OFF; PRAGMA synchronous=OFF;"
            "CREATE TABLE note (note TEXT PRIMARY KEY, line TEXT, seen TEXT) WITHOUT ROWID;"
            "CREATE TABLE owner (resource TEXT PRIMARY KEY, note TEXT) WITHOUT ROWID; BEGIN;"
        )
        try:
            self._load(folder / LEDGER)
            _cut_to_whole_lines(folder / _JOURNAL)
            self._load(folder / _JOURNAL)
            self._journal = (folder / _JOURNAL).open("a", encoding="utf-8", newline="\n")
        except (OSError, ValueError):
            self._close_work()
            raise

    def previous(self, note: str) -> NoteEntry | None:
        """What was sent for a note before."""
        row = self._database.execute("SELECT line FROM note WHERE note = ?", (note,)).fetchone()
        return None if row is None else _entry(row[0])

    def seen(self, note: str) -> str | None:
        """The hash of a note's text where this run has had the note already."""
        row = self._database.execute("SELECT seen FROM note WHERE note = ?", (note,)).fetchone()
        return None if row is None else row[0]

    def written_by_this_run(self, resource: str) -> bool:
        """Whether the note that owns an earlier resource has come again in this run."""
        query = "SELECT seen FROM owner JOIN note USING (note) WHERE resource = ?"
        row = self._database.execute(query, (resource,)).fetchone()
        return row is not None and row[0] is not None

    def not_seen(self) -> Iterator[NoteEntry]:
        """What was sent for notes that have not come in this run."""
        names = self._database.execute("SELECT note FROM note WHERE seen IS NULL ORDER BY note").fetchall()
        entries = (self.previous(note) for (note,) in names)
        return (entry for entry in entries if entry is not None)

    def record(self, entry: NoteEntry) -> None:
        """Note what is about to be sent for a note."""
        line = json_text(_record(entry))
        self._journal.write(line + "\n")
        self._journal.flush()
        self._put(entry, line, entry.note_hash)

    def close(self) -> None:
        """Put the new ledger in place."""
        part = self._folder / f"{LEDGER}.new"
        with part.open("w", encoding="utf-8", newline="\n") as lines:
            for (line,) in self._database.execute("SELECT line FROM note ORDER BY note"):
                lines.write(line + "\n")
        part.replace(self._folder / LEDGER)
        self.abandon(forget=True)

    def abandon(self, *, forget: bool) -> None:
        """Stop without a new ledger; the journal keeps what was written, unless nothing was put in place."""
        self._journal.close()
        self._close_work()
        if forget:
            (self._folder / _JOURNAL).unlink()

    def _close_work(self) -> None:
        self._database.close()
        self._work.cleanup()

    def _load(self, file: Path) -> None:
        if not file.exists():
            return
        with closing(file.open(encoding="utf-8")) as lines:
            for number, line in enumerate(lines, start=1):
                if not line.endswith("\n"):
                    break  # an interrupted run's last line
                try:
                    entry = _entry(line)
                except (KeyError, TypeError, ValueError) as error:
                    raise ValueError(f"{file}:{number}: is no line of a ledger") from error
                self._put(entry, line.rstrip("\n"), None)

    def _put(self, entry: NoteEntry, line: str, seen: str | None) -> None:
        row = (entry.note, line, seen)
        self._database.execute("INSERT OR REPLACE INTO note VALUES (?, ?, ?)", row)
        owned = [(f"{sent.type}/{sent.id}", entry.note) for sent in entry.sent]
        self._database.executemany("INSERT OR REPLACE INTO owner VALUES (?, ?)", owned)


def _cut_to_whole_lines(file: Path) -> None:
    """Take away the beginning of a line that an interrupted run left; the next would be glued to it."""
    if not file.exists():
        return
    with file.open("r+b") as lines:
        end = 0
        for line in lines:
            end += len(line) if line.endswith(b"\n") else 0
        lines.truncate(end)


def _record(entry: NoteEntry) -> dict[str, Any]:
    return {
        "note": entry.note,
        "system": entry.system,
        "id": entry.id,
        "note_hash": entry.note_hash,
        "sent": [
            {
                "type": sent.type,
                "id": sent.id,
                "finding": sent.finding,
                "hash": sent.hash,
                "status": sent.status,
                "time": sent.time,
                "stub": sent.stub,
            }
            for sent in entry.sent
        ],
    }


def _entry(line: str) -> NoteEntry:
    record = json.loads(line)
    sent = tuple(Sent(**one) for one in record.pop("sent"))
    return NoteEntry(**record, sent=sent)


def entries(folder: Path) -> Iterator[NoteEntry]:
    """The ledger of a folder, note by note.

    Raises:
        OSError: it cannot be read.
    """
    with (folder / LEDGER).open(encoding="utf-8") as lines:
        for line in lines:
            yield _entry(line)
