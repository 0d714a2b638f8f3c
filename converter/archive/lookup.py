"""What the archive already knows of notes: which need reading, which failed, when one was first read.

Takes an open archive and notes or identities; gives answers without changing anything.
"""

from collections.abc import Iterable, Iterator
from itertools import islice

from converter.archive.batching import batches
from converter.archive.rows import details_of, identity_number
from converter.archive.values import Archive, FailedRow, NoteKey, Read
from converter.model import Note

_ONE = """
SELECT count(*) FROM notes n JOIN readings r ON r.note = n.note AND r.to_run IS NULL
WHERE n.identity = ? AND n.to_run IS NULL AND n.id = ? AND n.system IS NOT DISTINCT FROM ?
  AND n.note_hash = ? AND r.vocabulary = ?
"""
_MANY = """
WITH hits AS MATERIALIZED (
    SELECT n.note, n.system, n.id, n.note_hash, n.details
    FROM (SELECT unnest(?::BIGINT[]) AS identity) k JOIN notes n ON n.identity = k.identity
    WHERE n.to_run IS NULL
)
SELECT h.system, h.id, h.note_hash, h.details
FROM hits h JOIN readings r ON r.note = h.note AND r.to_run IS NULL
WHERE r.vocabulary = ? AND r.program = coalesce(?, r.program)
"""
_FIRST = """
SELECT min_by(u.started, u.run_number)
FROM notes n JOIN readings r ON r.note = n.note JOIN runs u ON u.run_number = r.from_run
WHERE n.identity = ? AND n.id = ? AND n.system IS NOT DISTINCT FROM ?
  AND n.note_hash = ? AND r.vocabulary = ? AND r.program = ?
"""
_FIRSTS = """
SELECT n.system, n.id, n.note_hash, r.vocabulary, r.program, min_by(u.started, u.run_number)
FROM (SELECT unnest(?::BIGINT[]) AS identity) k
JOIN notes n ON n.identity = k.identity JOIN readings r ON r.note = n.note
JOIN runs u ON u.run_number = r.from_run
GROUP BY ALL
"""
_PAGE = 500


def already_read(archive: Archive, note_key: NoteKey, note_hash: str, vocabulary: str) -> bool:
    """Whether a note with this text stands in the archive, read with this vocabulary.

    It asks the database once for each note; `needs_reading` is many times faster for a stream, and also
    looks at the note's other details.

    Args:
        archive: an open archive.
        note_key: identity of the note; a pair (system, id) will do.
        note_hash: SHA-256 of its text.
        vocabulary: fingerprint of the vocabulary.
    """
    key = NoteKey(*note_key)
    values = [identity_number(key), key.id, key.system, note_hash, vocabulary]
    return bool(archive.connection.cursor().execute(_ONE, values).fetchall()[0][0])


def needs_reading(
    archive: Archive, notes: Iterable[Note], vocabulary: str, program: str | None = None
) -> Iterator[tuple[Note, bool]]:
    """Tell for each note of a stream, in order, whether it has to be read.

    A note need not be read where the archive holds it with the same text and details, read with this
    vocabulary and, if given, this program. Hand such a note to `load` as it is: it is counted as a duplicate.
    """
    for batch in batches(notes, lambda note: len(note.text), 1000, 8_000_000):
        numbers = sorted({identity_number(NoteKey(note.system, note.id)) for note in batch})
        found = archive.connection.cursor().execute(_MANY, [numbers, vocabulary, program]).fetchall()
        known = set(found)
        for note in batch:
            yield note, (note.system, note.id, note.hash, details_of(note)) not in known


def failed_notes(archive: Archive) -> Iterator[FailedRow]:
    """The notes that failed and have not gone through since, in the order in which they failed."""
    columns = "run, system, id, note_hash, source, line, code, message, hint"
    found = archive.connection.cursor().execute(
        f"SELECT {columns} FROM failed_notes ORDER BY run_number, place"  # noqa: S608 - columns are ours
    )
    while row := found.fetchone():
        yield FailedRow(*row)


def first_read(
    archive: Archive, note_key: NoteKey, note_hash: str, vocabulary: str, program: str
) -> str | None:
    """When a run first read this text with this vocabulary and program, as the run said it; None if never."""
    key = NoteKey(*note_key)
    values = [identity_number(key), key.id, key.system, note_hash, vocabulary, program]
    started: str | None = archive.connection.cursor().execute(_FIRST, values).fetchall()[0][0]
    return started


def first_reads(archive: Archive, reads: Iterable[Read]) -> Iterator[tuple[Read, str | None]]:
    """Each note of a stream with the time at which its text was first read so, as `first_read` gives it."""
    waiting = iter(reads)
    while page := list(islice(waiting, _PAGE)):
        numbers = sorted({identity_number(NoteKey(note.system, note.id)) for note, _, _ in page})
        found = archive.connection.cursor().execute(_FIRSTS, [numbers]).fetchall()
        known = {tuple(row[:-1]): row[-1] for row in found}
        for read in page:
            note, reading, _ = read
            yield (
                read,
                known.get((note.system, note.id, note.hash, reading.vocabulary, reading.program)),
            )
