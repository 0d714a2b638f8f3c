"""Takes a patient or a note out of an archive so that nothing of them remains in its file.

Takes the path of an archive; gives counts. What stays is copied into a fresh file, which takes the place of
the old one in one step: a database that deletes rows leaves their bytes behind. Killed at any moment it
leaves either the old archive or the new one, whole. What goes and what stays is written in `leaving.sql`.
"""

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from converter.archive.amending import PARTS
from converter.archive.forms import SCHEMA, bring_up_to_date, steps
from converter.archive.guarding import digest_of_note, digest_of_patient, digest_of_wish, guard_of
from converter.archive.linking import Links
from converter.archive.opening import open_archive, private_files
from converter.archive.values import Archive, ArchiveError, NoteKey

if TYPE_CHECKING:
    import duckdb

_CONFIG: dict[str, str | bool | int | float | list[str]] = {
    "autoinstall_known_extensions": "false",
    "autoload_known_extensions": "false",
    "temp_directory": "",
}
_NAMELESS = "note IN (SELECT note FROM gone)"
_NAMED = """
EXISTS (SELECT 1 FROM gone_keys k WHERE k.id = d.id AND k.system IS NOT DISTINCT FROM d.system)
OR d.source IN (SELECT source FROM gone_sources)
"""
_KEEP = {
    "notes": "SELECT * FROM old.notes WHERE note NOT IN (SELECT note FROM gone)",
    "readings": "SELECT * FROM old.readings WHERE note NOT IN (SELECT note FROM gone)",
    **{
        part: f"SELECT * FROM old.{part} WHERE reading NOT IN (SELECT reading FROM gone_rows)"  # noqa: S608 - ours
        for part in PARTS
    },
    **{
        table: f"SELECT * FROM old.{table} WHERE amendment NOT IN (SELECT amendment FROM gone_amendments)"  # noqa: S608
        for table in ("amendments", "amendments_undone")
    },
    "note_log": f"""
        SELECT * REPLACE (CASE WHEN {_NAMELESS} THEN NULL ELSE note END AS note,
                          CASE WHEN {_NAMELESS} THEN NULL ELSE reading END AS reading) FROM old.note_log""",  # noqa: S608
    "run_diagnostics": f"""
        SELECT * FROM old.run_diagnostics d WHERE ({_NAMED}) IS NOT TRUE
        UNION ALL BY NAME
        SELECT run_number, place, FALSE AS failed, 'forgotten' AS code, 'information' AS severity
        FROM old.run_diagnostics d WHERE {_NAMED}""",  # noqa: S608
    "patient_links": """
        SELECT * FROM old.patient_links l WHERE NOT EXISTS (
            SELECT 1 FROM gone_links g
            WHERE g.name = l.from_patient AND g.system IS NOT DISTINCT FROM l.of_system)""",
    **{table: f"SELECT * FROM old.{table}" for table in ("archive_info", "runs", "forgotten", "guard")},  # noqa: S608
}
"""What of each table stays; every table of an archive stands here."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Whom:
    """What is to be forgotten: a patient, or one note.

    Attributes:
        patient: identifier of a patient.
        note: identity of a note.
        system: of the patient's notes; None for all systems.
    """

    patient: str | None = None
    note: NoteKey | None = None
    system: str | None = None


@dataclass(frozen=True, slots=True)
class Forgotten:
    """How much was forgotten.

    Attributes:
        notes: versions of notes.
        findings: findings as they were read last.
        remarks: remarks of runs that named the notes.
    """

    notes: int
    findings: int
    remarks: int


def forget(path: Path, whom: Whom, by: str, at: str, salt: str, guard: bool = True) -> Forgotten:
    """Take a patient's notes, or one note, out of an archive, with everything that was made of them.

    The totals of runs stay; what the runs said of these notes loses its names. In the file that takes the
    archive's place nothing of them is left. Copies elsewhere, such as backups, exports and the source itself,
    are for their keepers.

    Args:
        path: the archive.
        whom: the patient, or the note.
        by: who has it forgotten.
        at: when, an ISO 8601 instant.
        salt: random text, for an archive that has no salt yet.
        guard: keep a salted digest, so that the same source does not bring it back.

    Raises:
        ArchiveError: there is nothing to forget, or the archive cannot be written; it is as it was before.
    """
    import duckdb

    path = path.resolve()
    open_archive(path, create=False).close()  # brings an older form up to date
    try:
        with _side_by_side(path) as (connection, fresh):
            done = _copy(connection, whom, by, at, salt, guard)
            connection.execute("CHECKPOINT new")
            connection.execute("DETACH new")
            if fresh.with_name(f"{fresh.name}.wal").exists():
                raise ArchiveError(f"{path}: the fresh archive is not whole; nothing changed.")
            shutil.copymode(path, fresh)
            fresh.replace(path)
            return done
    except (OSError, duckdb.Error):
        raise ArchiveError(f"{path}: the archive could not be written anew; nothing changed.") from None


def lift_guard(archive: Archive, whom: Whom) -> int:
    """Let what was forgotten come in again, in whichever system; how many digests are gone.

    Args:
        archive: opened for writing.
        whom: the patient, or the note, as when it was forgotten.

    Raises:
        ArchiveError: the archive cannot be written.
    """
    import duckdb

    try:
        asked = digest_of_wish(whom.patient, whom.note, guard_of(archive.connection).salt)
        sql = "DELETE FROM guard WHERE forgetting IN (SELECT forgetting FROM guard WHERE digest = ?)"
        return int(archive.connection.execute(sql, [asked]).fetchall()[0][0])
    except duckdb.Error:
        raise ArchiveError(f"{archive.path}: the archive could not be written; nothing changed.") from None


@contextmanager
def _side_by_side(path: Path) -> "Iterator[tuple[duckdb.DuckDBPyConnection, Path]]":
    """A connection to the archive and to an empty one beside it, which does not outlast the block."""
    import duckdb

    prefix = f".plexor-forget-{path.name}-"
    with private_files(), duckdb.connect(":memory:", config=_CONFIG) as connection:
        _attach(connection, path, "old")  # from here on nobody else writes to it
        connection.execute("CHECKPOINT old")
        for left in path.parent.glob(f"{prefix}*"):
            shutil.rmtree(left, ignore_errors=True)  # of a run that was killed
        with tempfile.TemporaryDirectory(dir=path.parent, prefix=prefix) as folder:
            fresh = Path(folder) / "archive"
            with duckdb.connect(str(fresh), config=_CONFIG) as empty:
                bring_up_to_date(empty, steps())
                empty.execute("DELETE FROM archive_info")
            _attach(connection, fresh, "new")
            yield connection, fresh


def _attach(connection: "duckdb.DuckDBPyConnection", path: Path, name: str) -> None:
    quoted = str(path).replace("'", "''")
    connection.execute(f"ATTACH '{quoted}' AS {name}")


def _copy(
    connection: "duckdb.DuckDBPyConnection", whom: Whom, by: str, at: str, salt: str, guard: bool
) -> Forgotten:
    names = _gather(connection, whom)
    done = _counted(connection, whom)
    for table, rows in _KEEP.items():
        connection.execute(f"INSERT INTO new.{table} BY NAME {rows}")
    number = 1 + _number(connection, "new.forgotten")
    row = [number, by, at, done.notes, done.findings]
    connection.execute("INSERT INTO new.forgotten VALUES (?, ?, ?, ?, ?)", row)
    if guard:
        held = connection.execute("SELECT salt FROM new.archive_info").fetchall()[0][0] or salt
        connection.execute("UPDATE new.archive_info SET salt = ?", [held])
        digests = {digest_of_wish(whom.patient, whom.note, held), *_digests(connection, names, held)}
        sql = "INSERT INTO new.guard SELECT ?, unnest(?::VARCHAR[])"
        connection.execute(sql, [number, sorted(digests)])
    return done


def _gather(connection: "duckdb.DuckDBPyConnection", whom: Whom) -> set[str]:
    """Gather what is to go; every name the patient had."""
    key = whom.note or NoteKey(None, "")
    names = _names(connection, whom)
    connection.execute("CREATE TABLE wish (patient VARCHAR, system VARCHAR, id VARCHAR, is_note BOOLEAN)")
    system = key.system if whom.note is not None else whom.system
    wish = [whom.patient, system, key.id, whom.note is not None]
    connection.execute("INSERT INTO wish VALUES (?, ?, ?, ?)", wish)
    connection.execute((SCHEMA / "leaving.sql").read_text(encoding="utf-8"))
    if whom.patient is not None:
        called = "SELECT DISTINCT source_patient FROM gone WHERE source_patient IS NOT NULL"
        names |= {name for (name,) in connection.execute(called).fetchall()}
    connection.execute(
        "CREATE TABLE gone_links AS SELECT from_patient AS name, of_system AS system FROM old.patient_links"
        " WHERE from_patient IN (SELECT unnest($1::VARCHAR[])) AND ($2 IS NULL OR of_system = $2)",
        [sorted(names), whom.system],
    )
    return names


def _names(connection: "duckdb.DuckDBPyConnection", whom: Whom) -> set[str]:
    """The patient's identifier and those that were merged into it."""
    if whom.patient is None:
        return set()
    rows = connection.execute("SELECT from_patient, of_system, to_patient FROM old.patient_links").fetchall()
    links = Links({(old, system): new for old, system, new in rows})
    if links.resolved(whom.patient, whom.system) is not None:
        raise ArchiveError("This patient was merged into another; forget that one.")
    merged = {old for old, system, _ in rows if links.resolved(old, whom.system or system) == whom.patient}
    return {whom.patient, *merged}


def _counted(connection: "duckdb.DuckDBPyConnection", whom: Whom) -> Forgotten:
    done = Forgotten(
        _number(connection, "gone"),
        _number(connection, "gone_findings"),
        _number(connection, f"old.run_diagnostics d WHERE {_NAMED}"),
    )
    if not done.notes and not done.remarks:
        what = "such note" if whom.note is not None else "note of this patient"
        raise ArchiveError(f"There is no {what} in the archive.")
    return done


def _number(connection: "duckdb.DuckDBPyConnection", what: str) -> int:
    return int(connection.execute(f"SELECT count(*) FROM {what}").fetchall()[0][0])  # noqa: S608 - our own


def _digests(connection: "duckdb.DuckDBPyConnection", names: set[str], salt: str) -> Iterator[str]:
    for system, name in connection.execute("SELECT system, id FROM gone_keys").fetchall():
        yield digest_of_note(NoteKey(system, name), salt)
    for (system,) in connection.execute("SELECT DISTINCT system FROM gone").fetchall():
        yield from (digest_of_patient(system, name, salt) for name in names)
