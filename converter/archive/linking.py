"""Follows merged patients: notes under an old identifier move to the new one, now and in later loads.

Takes an archive open for writing and pairs of identifiers; gives how many notes moved. What the source called
the patient stays beside each note, and each merging is a row, so that it can be told apart later.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from converter.archive.opening import private_files
from converter.archive.transactions import transaction
from converter.archive.values import Archive, ArchiveError
from converter.model import Note

if TYPE_CHECKING:
    import duckdb

_MOVE = """
UPDATE notes SET source_patient = coalesce(source_patient, patient), patient = $to
WHERE patient = $from AND ($system IS NULL OR system = $system)
"""


@dataclass(frozen=True, slots=True)
class Link:
    """Two identifiers of one patient.

    Attributes:
        old: the identifier that was merged into the other.
        new: the one that stands.
        system: system of the notes that it is about; None for all.
    """

    old: str
    new: str
    system: str | None = None


@dataclass(frozen=True, slots=True)
class Links:
    """The merged patients of an archive.

    Attributes:
        known: old identifier and system, None for all, to the new identifier.
    """

    known: Mapping[tuple[str, str | None], str] = field(default_factory=dict)

    def merged_into(self, note: Note) -> str | None:
        """The identifier that a note's patient has now, or None where it was not merged."""
        return None if note.patient is None or not self.known else self.resolved(note.patient, note.system)

    def resolved(self, patient: str, system: str | None) -> str | None:
        """The identifier that a patient has now, over several mergings; None where there was none."""
        now, met = patient, {patient}
        while (following := self._next(now, system)) is not None and following not in met:
            now = following
            met.add(now)
        return None if now == patient else now

    def _next(self, patient: str, system: str | None) -> str | None:
        return self.known.get((patient, system), self.known.get((patient, None)))


def links_of(connection: "duckdb.DuckDBPyConnection") -> Links:
    """The merged patients of an archive."""
    found = connection.execute("SELECT from_patient, of_system, to_patient FROM patient_links").fetchall()
    return Links({(old, system): new for old, system, new in found})


def relink(archive: Archive, links: Sequence[Link], by: str, at: str) -> list[int]:
    """Move the notes of merged patients; all of the links, or none. The totals of runs stay as they were.

    Args:
        archive: opened for writing.
        links: in order; a later one sees the earlier.
        by: who merges them.
        at: when, an ISO 8601 instant.

    Returns:
        How many versions of notes each link moved.

    Raises:
        ArchiveError: a link leads nowhere or in a circle, or the archive cannot be written.
    """
    import duckdb

    if archive.read_only:
        raise ArchiveError(f"{archive.path}: the archive is open for reading only.")
    try:
        with private_files(), transaction(archive.connection):
            return list(_moved(archive.connection, links, by, at))
    except duckdb.Error:
        raise ArchiveError(f"{archive.path}: the archive could not be written; nothing changed.") from None


def _moved(connection: "duckdb.DuckDBPyConnection", links: Sequence[Link], by: str, at: str) -> Iterable[int]:
    for number, link in enumerate(links, 1):
        known = links_of(connection)
        _check(link, known, f"Link {number}" if len(links) > 1 else "The link")
        values = {"from": link.old, "to": link.new, "system": link.system}
        moved = connection.execute(_MOVE, values).fetchall()[0][0]
        if known.resolved(link.old, link.system) != link.new:
            row = [link.old, link.new, link.system, by, at, moved]
            connection.execute("INSERT INTO patient_links VALUES (?, ?, ?, ?, ?, ?)", row)
        yield int(moved)


def _check(link: Link, known: Links, what: str) -> None:
    if not link.old.strip() or not link.new.strip():
        raise ArchiveError(f"{what} names no patient.")
    if link.old == link.new:
        raise ArchiveError(f"{what} leads from a patient to the same.")
    if known.resolved(link.new, link.system) is not None:
        raise ArchiveError(f"{what} leads to a patient who was merged into another; name that one.")
    before = known.resolved(link.old, link.system)
    if before not in (None, link.new):
        raise ArchiveError(f"{what} starts at a patient who was merged into another already.")
