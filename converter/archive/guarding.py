"""Keeps out what was forgotten: salted digests of notes and patients, and nothing else of them.

Takes notes; tells which of them are not to come in again. Whoever holds the archive and guesses an identifier
can tell whether it was forgotten, but nobody can read identifiers out of it.
"""

import hmac
import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from converter.archive.values import NoteKey
from converter.model import Note

if TYPE_CHECKING:
    import duckdb


@dataclass(frozen=True, slots=True)
class Guard:
    """What is not to come in again.

    Attributes:
        salt: what the digests are made with.
        digests: of notes and patients.
    """

    salt: str = ""
    digests: frozenset[str] = frozenset()

    def keeps_out(self, note: Note) -> bool:
        """Whether a note, or its patient, was forgotten."""
        if not self.digests:
            return False
        return not self.digests.isdisjoint(digests_of_note(note, self.salt))


def guard_of(connection: "duckdb.DuckDBPyConnection") -> Guard:
    """The guard of an archive."""
    digests = frozenset(one for (one,) in connection.execute("SELECT digest FROM guard").fetchall())
    salt = connection.execute("SELECT salt FROM archive_info").fetchall()[0][0]
    return Guard(salt or "", digests)


def digests_of_note(note: Note, salt: str) -> Iterator[str]:
    """The digests under which a note can be kept out."""
    yield digest_of_note(NoteKey(note.system, note.id), salt)
    if note.patient is not None:
        yield digest_of_patient(note.system, note.patient, salt)


def digest_of_note(key: NoteKey, salt: str) -> str:
    """The digest of a note's identity."""
    return _digest(("note", *key), salt)


def digest_of_patient(system: str | None, patient: str, salt: str) -> str:
    """The digest of a patient, as the notes of one system call them."""
    return _digest(("patient", system, patient), salt)


def digest_of_wish(patient: str | None, note: NoteKey | None, salt: str) -> str:
    """The digest of what was asked to be forgotten, by which it can be let in again."""
    return _digest(("asked", patient, None if note is None else note.id), salt)


def _digest(parts: Iterable[str | None], salt: str) -> str:
    return hmac.new(salt.encode(), json.dumps(list(parts)).encode(), "sha256").hexdigest()
