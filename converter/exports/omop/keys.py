"""Keys that stay: a small SQLite file that remembers which number each note and row was given.

Takes what a row is about; gives its number, the same in every export that uses the file. Numbers are counted
up and never given twice, also where a row is gone; they are never made from identifiers.
"""

import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from converter.exports.omop.site_files import LARGEST
from converter.exports.values import ExportError

_FORM = "plexor-keys-1"
_WAIT = 10.0  # seconds that a second export waits for the first
_TABLES = """
CREATE TABLE about (name TEXT PRIMARY KEY, value TEXT NOT NULL);
CREATE TABLE keys (
    entity TEXT NOT NULL, system TEXT NOT NULL, id TEXT NOT NULL, part TEXT NOT NULL, number INTEGER NOT NULL,
    PRIMARY KEY (entity, system, id, part), UNIQUE (entity, number)
) WITHOUT ROWID;
CREATE TABLE next (entity TEXT PRIMARY KEY, number INTEGER NOT NULL);
"""


@dataclass(slots=True)
class Keys:
    """Keys while they are being given; everything is kept once the block of `giving` ends well."""

    connection: sqlite3.Connection
    path: Path
    first: int
    _next: dict[str, int] = field(default_factory=dict)

    def key(self, entity: str, system: str | None, note: str, part: str = "") -> int:
        """The number of a row of a table, given now where it has none.

        Args:
            entity: the table.
            system: the space in which the note's id is unique.
            note: identifier of the note.
            part: what of the note the row is about; empty for the note itself.

        Raises:
            ExportError: there are no numbers left.
        """
        known = self.known(entity, system, note, part)
        if known is not None:
            return known
        number = self._next.get(entity) or self._stored(entity)
        if number > LARGEST:
            raise ExportError(f"{self.path}: there are no numbers left for the table {entity}.")
        self._next[entity] = number + 1
        self.connection.execute(
            "INSERT INTO keys VALUES (?, ?, ?, ?, ?)", (entity, system or "", note, part, number)
        )
        return number

    def known(self, entity: str, system: str | None, note: str, part: str = "") -> int | None:
        """The number of a row, or None where it never had one."""
        found = self.connection.execute(
            "SELECT number FROM keys WHERE entity = ? AND system = ? AND id = ? AND part = ?",
            (entity, system or "", note, part),
        ).fetchone()
        return None if found is None else int(found[0])

    def gone(self, held: Iterable[tuple[str | None, str]]) -> Iterator[int]:
        """The numbers of notes that are none of those held now, in order."""
        self.connection.execute(
            "CREATE TEMPORARY TABLE held (system TEXT, id TEXT, PRIMARY KEY (system, id))"
        )
        self.connection.executemany(
            "INSERT OR IGNORE INTO held VALUES (?, ?)", ((system or "", note) for system, note in held)
        )
        found = self.connection.execute(
            "SELECT number FROM keys k WHERE entity = 'note' AND NOT EXISTS"
            " (SELECT 1 FROM held h WHERE h.system = k.system AND h.id = k.id) ORDER BY number"
        )
        yield from (int(number) for (number,) in found)

    def save(self) -> None:
        """Write down where to go on."""
        self.connection.executemany("INSERT OR REPLACE INTO next VALUES (?, ?)", list(self._next.items()))

    def _stored(self, entity: str) -> int:
        found = self.connection.execute("SELECT number FROM next WHERE entity = ?", (entity,)).fetchone()
        return self.first if found is None else int(found[0])


def prepare_keys(path: Path, made_by: str, first: int | None = None) -> str:
    """Make the file where there is none; give the name that it was made under, which never changes.

    Args:
        path: the file.
        made_by: a name for a new file that no other has, such as the identifier of the run.
        first: the first number of a new file, 1 unless said.

    Raises:
        ExportError: the file cannot be used, or begins at another number.
    """
    if not path.exists():
        _make(path, made_by, first or 1)
    with _opened(path) as (connection, about):
        connection.rollback()
    if first is not None and about["first"] != str(first):
        raise ExportError(f"{path}: the keys in it begin at {about['first']}; leave --first-key out.")
    return about["made_by"]


@contextmanager
def giving(path: Path) -> Iterator[Keys]:
    """Open a file to give keys; another export with the same file waits.

    Raises:
        ExportError: the file cannot be used, or another export uses it for long.
    """
    with _opened(path) as (connection, about):
        keys = Keys(connection, path, int(about["first"]))
        yield keys
        keys.save()
        connection.commit()


@contextmanager
def _opened(path: Path) -> Iterator[tuple[sqlite3.Connection, dict[str, str]]]:
    try:
        connection = sqlite3.connect(f"{path.absolute().as_uri()}?mode=rw", uri=True, timeout=_WAIT)
    except sqlite3.Error as error:
        raise ExportError(f"{path}: the file of keys cannot be opened.") from error
    try:
        connection.execute("BEGIN IMMEDIATE")
        about = dict(connection.execute("SELECT name, value FROM about").fetchall())
        if about.get("form") != _FORM:
            raise ExportError(f"{path}: this is no file of keys.")
        yield connection, about
    except sqlite3.OperationalError as error:
        busy = "locked" in str(error)
        why = "another export is using the file of keys" if busy else "the file of keys cannot be used"
        raise ExportError(f"{path}: {why}.") from error
    except sqlite3.DatabaseError as error:
        raise ExportError(f"{path}: this is no file of keys.") from error
    finally:
        connection.close()


def _make(path: Path, made_by: str, first: int) -> None:
    """Make the file whole or not at all, readable by its owner only."""
    part = path.with_name(f".{path.name}.part")
    try:
        part.unlink(missing_ok=True)
        part.touch(mode=0o600)
        connection = sqlite3.connect(part)
        connection.executescript(_TABLES)
        rows = [("form", _FORM), ("made_by", made_by), ("first", str(first))]
        connection.executemany("INSERT INTO about VALUES (?, ?)", rows)
        connection.commit()
        connection.close()
        part.rename(path)
    except (OSError, sqlite3.Error) as error:
        raise ExportError(f"{path}: the file of keys cannot be made.") from error
