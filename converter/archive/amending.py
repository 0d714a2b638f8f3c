"""Makes and undoes amendments: each one transaction, which is there whole or not at all.

Takes an archive open for writing and an Amendment; gives its number. The amended form of the note's reading
is made anew at once, so that every search sees it. What is abnormal in it, the caller tells.
"""

import re
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

from converter.archive.amended import amended
from converter.archive.amendments import amendment_row, standing
from converter.archive.deciding import amended_rows
from converter.archive.inserting import Columns, insert_rows
from converter.archive.opening import private_files
from converter.archive.rows import Writer, identity_number
from converter.archive.stored import stored_readings
from converter.archive.transactions import transaction
from converter.archive.values import Archive, ArchiveError, Assess, NoteKey, Read
from converter.model import VERDICTS, Amendment
from converter.words import Vocabulary

T = TypeVar("T")

PARTS = (
    "exams", "findings", "reflexes", "unread", "assessments", "abnormalities", "not_examined", "diagnostics",
    "amendments_applied",
)  # fmt: skip
"""The tables that hold the parts of a reading."""
# FHIR R4 instant
_INSTANT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d+)?(Z|[+-]\d\d:\d\d)")
_TRIES, _PAUSE = 5, 0.05
_CURRENT = """
SELECT r.reading, r.amended FROM notes n JOIN readings r ON r.note = n.note
WHERE n.identity = ? AND n.id = ? AND n.system IS NOT DISTINCT FROM ? AND n.note_hash = ?
  AND n.to_run IS NULL AND r.to_run IS NULL
"""


class AmendmentError(ArchiveError):
    """An amendment cannot be made or undone; the archive is as it was before."""


@dataclass(frozen=True, slots=True)
class Maker:
    """What makes the amended form of a reading.

    Attributes:
        vocabulary: says which reflexes a region covers.
        assess: tells what is abnormal in a reading.
    """

    vocabulary: Vocabulary
    assess: Assess


def amend(archive: Archive, amendment: Amendment, maker: Maker) -> int:
    """Keep what a person said of a finding or a place; give the number of the amendment.

    Where somebody else writes at the same moment it is tried a few times.

    Args:
        archive: opened for writing.
        amendment: without a number; see `Amendment`.
        maker: makes the amended form of the reading.

    Raises:
        AmendmentError: the note is not there, or has another text, or the finding is not there any more.
        ArchiveError: the archive cannot be written.
    """
    if amendment.verdict not in VERDICTS:
        raise AmendmentError(f"{amendment.verdict!r} is no verdict; choose from {', '.join(VERDICTS)}.")
    if (amendment.finding is None) != (amendment.verdict == "no_finding"):
        raise AmendmentError(f"{amendment.verdict}: the finding is missing, or there should be none.")
    if not _INSTANT.fullmatch(amendment.at) or not amendment.by.strip():
        raise AmendmentError("An amendment says who judged, and when, as in 2031-03-02T08:00:00Z.")
    return _retried(archive, lambda: _amend(archive, amendment, maker))


def undo(archive: Archive, number: int, by: str, at: str, maker: Maker) -> None:
    """Take an amendment back; it stays on record as undone.

    Args:
        archive: opened for writing.
        number: of the amendment.
        by: who takes it back.
        at: when, an ISO 8601 instant.
        maker: makes the amended form of the reading.

    Raises:
        AmendmentError: there is no such amendment, or it was undone before.
        ArchiveError: the archive cannot be written.
    """
    _retried(archive, lambda: _undo(archive, number, by, at, maker))


def _amend(archive: Archive, amendment: Amendment, maker: Maker) -> int:
    connection, key = archive.connection, NoteKey(amendment.system, amendment.id)
    with private_files(), transaction(connection):
        read = list(stored_readings(archive, [key], as_read=True))
        own = standing(connection, [key]).get(key, [])
        _check_it_applies(amendment, read, own)
        number = _next(archive, "next_amendment")
        columns: Columns = {}
        writer = _writer(archive, maker)
        insert_rows(connection, columns, "amendments", [amendment_row(amendment, number, writer)])
        _remake(archive, read, [*own, replace(amendment, number=number)], maker.assess, writer, columns)
    return number


def _undo(archive: Archive, number: int, by: str, at: str, maker: Maker) -> None:
    connection = archive.connection
    with private_files(), transaction(connection):
        found = connection.execute(
            "SELECT system, id, undone_by IS NOT NULL FROM amendment_log WHERE amendment = ?", [number]
        ).fetchall()
        if not found:
            raise AmendmentError(f"There is no amendment {number} in the archive.")
        system, name, undone = found[0]
        if undone:
            raise AmendmentError(f"Amendment {number} was undone before.")
        connection.execute("INSERT INTO amendments_undone VALUES (?, ?, ?)", [number, by, at])
        key = NoteKey(system, name)
        read = list(stored_readings(archive, [key], as_read=True))
        own = standing(connection, [key]).get(key, [])
        _remake(archive, read, own, maker.assess, _writer(archive, maker), {})


def _remake(
    archive: Archive,
    read: Sequence[Read],
    own: Sequence[Amendment],
    assess: Assess,
    writer: Writer,
    columns: Columns,
) -> None:
    """Make the amended form of a note's readings anew, in the transaction under way."""
    connection = archive.connection
    for note, reading, _ in read:
        key = NoteKey(note.system, note.id)
        values = [identity_number(key), key.id, key.system, note.hash]
        for number, before in connection.execute(_CURRENT, values).fetchall():
            if before is not None:
                for table in PARTS:
                    connection.execute(f"DELETE FROM {table} WHERE reading = ?", [before])  # noqa: S608 - ours
            new = None
            if own:
                new = _next(archive, "next_reading")
                for table, rows in amended_rows(note, reading, own, assess, writer).items():
                    insert_rows(connection, columns, table, [(new, *row) for row in rows])
            connection.execute("UPDATE readings SET amended = ? WHERE reading = ?", [new, number])


def _check_it_applies(amendment: Amendment, read: Sequence[Read], own: Sequence[Amendment]) -> None:
    name = amendment.id
    if not read:
        raise AmendmentError(f"There is no note {name} in the archive.")
    same = next((reading for _, reading, _ in read if reading.note_hash == amendment.note_hash), None)
    if same is None:
        raise AmendmentError(f"The text of note {name} is another one now; look at it again.")
    _, taken, _ = amended(same, [*own, replace(amendment, number=None)])
    if not any(one.number is None for one in taken):
        raise AmendmentError(f"Note {name}: {_WHY_NOT[amendment.verdict]}")


_GONE = "no finding with these spans is there any more; look at the note again."
_WHY_NOT = {
    "confirmed": _GONE,
    "corrected": _GONE,
    "rejected": f"{_GONE[:-1]}, or it says something else now.",
    "added": "the added finding does not fit the note.",
    "no_finding": "a finding stands there; reject it instead.",
}


def _next(archive: Archive, counter: str) -> int:
    """Take the next free number."""
    connection = archive.connection
    number = int(connection.execute(f"SELECT {counter} FROM archive_info").fetchall()[0][0])  # noqa: S608
    connection.execute(f"UPDATE archive_info SET {counter} = {counter} + 1")  # noqa: S608 - our own column
    return number


def _writer(archive: Archive, maker: Maker) -> Writer:
    quotes = archive.connection.execute("SELECT quotes FROM archive_info").fetchall()[0][0]
    return Writer(maker.vocabulary, quotes is not False)


def _retried(archive: Archive, work: Callable[[], T]) -> T:
    """Do a piece of work; where another writer got in between, do it again a few times."""
    import duckdb

    if archive.read_only:
        raise ArchiveError(f"{archive.path}: the archive is open for reading only.")
    for left in reversed(range(_TRIES)):
        try:
            return work()
        except duckdb.TransactionException:
            if not left:
                raise ArchiveError(f"{archive.path}: somebody else is writing to it; try again.") from None
            time.sleep(_PAUSE)
        except KeyError:
            raise ArchiveError(_UNKNOWN_SITE) from None
        except duckdb.Error:
            raise ArchiveError(
                f"{archive.path}: the archive could not be written; nothing changed."
            ) from None
    raise AssertionError("the last try returns or raises")


_UNKNOWN_SITE = "The reading names a reflex that these word lists do not know; use those it was read with."
