"""Chooses notes by what `find` can ask for, in a fixed order that keeps the notes of a patient together.

Takes an open archive and a query; gives whole notes with their readings and assessments. A query that speaks
of the note alone chooses notes with and without findings; any other chooses the notes with a finding that
answers it.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from converter.archive.finding import check_query, conditions_of, found_sql
from converter.archive.queries import FindQuery
from converter.archive.stored import readings_numbered
from converter.archive.values import Archive, ArchiveError, NoteKey, Read

_ORDER = """
n.patient IS NULL, n.patient, n.authored_first NULLS LAST, n.authored NULLS LAST, n.system NULLS FIRST, n.id,
r.reading"""
_NOTES = "FROM notes n JOIN readings r ON r.note = n.note WHERE n.to_run IS NULL AND r.to_run IS NULL"
_OF_THE_NOTE = ("systems", "notes", "patients", "authors", "facilities", "note_kinds", "date_from", "date_to")
_PAGE = 1000


@dataclass(frozen=True, slots=True)
class Cohort:
    """Notes of an archive, chosen by a query.

    Attributes:
        archive: an open archive.
        query: what chooses them; its limit bounds the notes.
        by_findings: whether a note must hold a finding that answers, even where the query asks nothing of
            findings beyond their usual status.
    """

    archive: Archive
    query: FindQuery
    by_findings: bool = False

    def reads(self, skip: int = 0) -> Iterator[Read]:
        """The notes after the first so many: by patient (notes that name none last), time, system and id.

        Raises:
            ArchiveError: the query contradicts itself.
        """
        sql, values = self._numbers()
        numbers = (row[0] for row in _rows(self.archive, f"{sql} OFFSET ?", [*values, skip]))
        return readings_numbered(self.archive, numbers)

    def keys(self) -> Iterator[tuple[int, str | None, NoteKey]]:
        """The number of each reading, the patient and the identity of the note, in the same order.

        Raises:
            ArchiveError: the query contradicts itself.
        """
        sql, values = self._numbers()
        for number, _, _, _, patient, system, name in _rows(self.archive, sql, values):
            yield number, patient, NoteKey(system, name)

    def numbered(self, numbers: Iterable[int]) -> Iterator[Read]:
        """The notes of readings by their numbers, in the order of the numbers given."""
        return readings_numbered(self.archive, numbers)

    def state(self) -> str:
        """A fingerprint of what the archive holds of the chosen notes.

        Raises:
            ArchiveError: the query contradicts itself.
        """
        sql, values = self._numbers()
        seen = f"SELECT count(*), max(reading), bit_xor(hash(reading, note, note_hash, details)) FROM ({sql})"  # noqa: S608
        ((number, last, digest),) = _rows(self.archive, seen, values)
        return f"{number}-{last or 0}-{digest or 0:x}"

    def _numbers(self) -> tuple[str, list[Any]]:
        chosen, values = self._chosen()
        columns = "r.reading, n.note, n.note_hash, n.details, n.patient, n.system, n.id"
        sql = f"SELECT {columns} {_NOTES} AND r.reading IN ({chosen}) ORDER BY {_ORDER}"
        if self.query.limit is None:
            return sql, values
        return f"SELECT * FROM ({sql} LIMIT ?)", [*values, self.query.limit]  # noqa: S608 - our own names

    def _chosen(self) -> tuple[str, list[Any]]:
        """The numbers of the readings."""
        query = replace(self.query, limit=None)
        if self.by_findings or not _of_the_note_alone(query):
            found, values = found_sql(query)
            return f"SELECT reading FROM ({found})", values  # noqa: S608 - our own names
        check_query(query)
        conditions, values = conditions_of(replace(query, statuses=()))
        where = " AND ".join(conditions) or "TRUE"
        return f"SELECT reading FROM current_notes WHERE {where}", values  # noqa: S608 - our own names


def _of_the_note_alone(query: FindQuery) -> bool:
    """Whether a query asks nothing of a finding."""
    return query == FindQuery(**{name: getattr(query, name) for name in _OF_THE_NOTE})


def _rows(archive: Archive, sql: str, values: list[Any]) -> Iterator[tuple[Any, ...]]:
    import duckdb

    try:
        found = archive.connection.cursor().execute(sql, values)
        while page := found.fetchmany(_PAGE):
            yield from page
    except (duckdb.Error, UnicodeError, OverflowError):
        raise ArchiveError(f"{archive.path}: the archive could not be searched.") from None
