"""Loads notes and their readings into the archive, a batch at a time, each batch one transaction.

Takes an open archive and a stream of items; gives the totals of the run. Memory holds one batch. Killed at
any moment it leaves an archive with whole batches in it; loading the same notes again completes it.
"""

import gc
import json
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING

from converter.archive.amendments import standing
from converter.archive.batching import batches
from converter.archive.deciding import Batch, Version, decide, key_of, note_of, reject
from converter.archive.guarding import Guard, guard_of
from converter.archive.inserting import Columns, insert_columns, insert_rows
from converter.archive.linking import Links, links_of
from converter.archive.opening import private_files
from converter.archive.rows import Row, Writer, identity_number
from converter.archive.transactions import transaction
from converter.archive.values import (
    TOTALS,
    Archive,
    ArchiveError,
    Assess,
    Item,
    LoadOptions,
    NoteKey,
    RunInfo,
    RunTotals,
)
from converter.model import Diagnostic
from converter.words import Vocabulary

if TYPE_CHECKING:
    import duckdb

_MEMORY = "256MB"
"""What the database may hold in memory while it loads; it needs little, however large the archive is."""

_KNOWN = """
WITH hits AS MATERIALIZED (
    SELECT n.system, n.id, n.note, n.note_hash, n.details
    FROM (SELECT unnest(?::BIGINT[]) AS identity) k JOIN notes n ON n.identity = k.identity
    WHERE n.to_run IS NULL
), met AS MATERIALIZED (
    SELECT DISTINCT l.note FROM hits h JOIN note_log l ON l.note = h.note WHERE l.run_number = ?
)
SELECT h.system, h.id, h.note, r.reading, h.note_hash, h.details, r.vocabulary, r.digest, met.note IS NOT NULL
FROM hits h JOIN readings r ON r.note = h.note AND r.to_run IS NULL LEFT JOIN met ON met.note = h.note
ORDER BY h.note
"""
_MEET = """
UPDATE run_diagnostics SET met_run = $run
WHERE failed AND run_number < $run AND (
    (system, id) IN (SELECT (unnest($systems::VARCHAR[]), unnest($ids::VARCHAR[])))
    OR (system IS NULL AND id IN (SELECT unnest($bare::VARCHAR[])))
    OR (source, line) IN (SELECT (unnest($sources::VARCHAR[]), unnest($lines::BIGINT[])))
    OR (line IS NULL AND id IS NULL AND source IN (SELECT unnest($files::VARCHAR[])))
) AND (met_run IS NULL OR met_run NOT IN (SELECT run_number FROM runs WHERE finished IS NOT NULL))
"""


@dataclass(frozen=True, slots=True)
class _Run:
    """A run under way."""

    connection: "duckdb.DuckDBPyConnection"
    columns: Columns
    writer: Writer
    number: int
    vocabulary: str
    open_failures: bool
    assess: Assess | None
    guard: Guard
    links: Links


def load(
    archive: Archive,
    items: Iterable[Item],
    run: RunInfo,
    vocabulary: Vocabulary,
    options: LoadOptions | None = None,
) -> RunTotals:
    """Load notes with their readings; the totals account for every note that came in.

    Loading the same notes again changes nothing but the log of runs. A note whose text, details or reading
    changed supersedes the earlier one, which stays as history.

    Args:
        archive: opened for writing.
        items: the notes; see `Item`.
        run: what the run says of itself.
        vocabulary: what the notes were read with; says which reflexes a region covers.
        options: how to load.

    Raises:
        ArchiveError: the archive cannot be written, or was begun with the other choice about quotes.
    """
    import duckdb

    if archive.read_only:
        raise ArchiveError(f"{archive.path}: the archive is open for reading only.")
    try:
        return _load(archive, items, run, vocabulary, options or LoadOptions())
    except duckdb.Error as error:
        raise ArchiveError(f"{archive.path}: {_why_not_stored(error)}") from None
    finally:
        with suppress(duckdb.Error):
            archive.connection.execute("RESET memory_limit")


def _load(
    archive: Archive, items: Iterable[Item], run: RunInfo, vocabulary: Vocabulary, options: LoadOptions
) -> RunTotals:
    archive.connection.execute(f"SET memory_limit = '{_MEMORY}'")
    state = _begin(archive, run, vocabulary, options)
    totals, place = RunTotals(), 0
    for batch in batches(items, _characters, options.batch_notes, options.batch_characters):
        totals = totals.plus(_store(state, batch, place))
        place += len(batch)
        if options.progress:
            options.progress(totals)
    with private_files():
        finished = [run.finished(), state.number]
        state.connection.execute("UPDATE runs SET finished = ? WHERE run_number = ?", finished)
    return totals


def _begin(archive: Archive, run: RunInfo, vocabulary: Vocabulary, options: LoadOptions) -> _Run:
    connection = archive.connection
    with private_files(), transaction(connection):
        held, number = connection.execute("SELECT quotes, next_run FROM archive_info").fetchall()[0]
        if held is not None and held != options.quotes:
            raise ArchiveError(f"{archive.path}: {_other_choice(held)}")
        connection.execute("UPDATE archive_info SET quotes = ?, next_run = ?", [options.quotes, number + 1])
        settings = json.dumps(dict(run.settings), sort_keys=True, ensure_ascii=False)
        about = (number, run.run, run.program, vocabulary.fingerprint, settings, run.started, None)
        row = (*about, *(0 for _ in TOTALS))
        connection.execute(f"INSERT INTO runs VALUES ({', '.join('?' for _ in row)})", row)  # noqa: S608
        failures = connection.execute("SELECT count(*) FROM failed_notes").fetchall()[0][0]
    return _Run(
        connection=connection,
        columns={},
        writer=Writer(vocabulary, options.quotes),
        number=number,
        vocabulary=vocabulary.fingerprint,
        open_failures=failures > 0,
        assess=options.assess,
        guard=guard_of(connection),
        links=links_of(connection),
    )


def _store(run: _Run, items: Sequence[Item], place: int) -> RunTotals:
    """Store a batch; where the database refuses a value, store its halves, down to the note that holds it."""
    import duckdb

    refusals = (duckdb.DataError, duckdb.IntegrityError, duckdb.InvalidInputException)
    try:
        with private_files(), _uncollected(), transaction(run.connection):
            return _store_whole(run, items, place)
    except (*refusals, UnicodeError, OverflowError):
        if len(items) > 1:
            half = len(items) // 2
            return _store(run, items[:half], place).plus(_store(run, items[half:], place + half))
    with private_files(), transaction(run.connection):
        return _store_whole(run, items, place, refused=True)


@contextmanager
def _uncollected() -> Iterator[None]:
    """Let no garbage be looked for: a batch is many values without cycles, gone once it is stored."""
    before = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if before:
            gc.enable()


def _store_whole(run: _Run, items: Sequence[Item], place: int, refused: bool = False) -> RunTotals:
    connection = run.connection
    note, reading = connection.execute("SELECT next_note, next_reading FROM archive_info").fetchall()[0]
    known = {} if refused else _known(run, items)
    batch = Batch(
        run_number=run.number,
        vocabulary=run.vocabulary,
        writer=run.writer,
        known=known,
        next_note=note,
        next_reading=reading,
        next_place=place,
        amendments=standing(connection, known.keys()),
        assess=run.assess,
        guard=run.guard,
        links=run.links,
    )
    for item in items:
        (reject if refused else decide)(batch, item)
    _insert(run, batch)
    _end(connection, "notes", "note", batch.ended_notes, run.number)
    _end(connection, "readings", "reading", batch.ended_readings, run.number)
    if run.open_failures and not refused:
        _meet_failures(run, items)
    numbers = [batch.next_note, batch.next_reading]
    connection.execute("UPDATE archive_info SET next_note = ?, next_reading = ?", numbers)
    sums = ", ".join(f"{name} = {name} + ?" for name in TOTALS)
    counts = [getattr(batch.totals, name) for name in TOTALS]
    connection.execute(f"UPDATE runs SET {sums} WHERE run_number = ?", [*counts, run.number])  # noqa: S608
    return batch.totals


def _insert(run: _Run, batch: Batch) -> None:
    for table, rows in batch.tables.items():
        insert_rows(run.connection, run.columns, table, rows)
    numbers: defaultdict[str, list[int]] = defaultdict(list)
    parts: defaultdict[str, list[Row]] = defaultdict(list)
    for number, part in batch.parts:
        for table, rows in part.items():
            numbers[table] += [number] * len(rows)
            parts[table] += rows
    for table, rows in parts.items():
        insert_columns(run.connection, run.columns, table, [numbers[table], *zip(*rows, strict=True)])


def _known(run: _Run, items: Sequence[Item]) -> dict[NoteKey, list[Version]]:
    keys = {key for item in items if (key := key_of(item))}
    found: dict[NoteKey, list[Version]] = {}
    numbers = sorted(identity_number(key) for key in keys)
    for system, note_id, *version in run.connection.execute(_KNOWN, [numbers, run.number]).fetchall():
        key = NoteKey(system, note_id)
        if key in keys:
            found.setdefault(key, []).append(Version(*version))
    return found


def _end(
    connection: "duckdb.DuckDBPyConnection", table: str, column: str, numbers: list[int], run_number: int
) -> None:
    if numbers:
        connection.execute(
            f"UPDATE {table} SET to_run = ? FROM (SELECT unnest(?::BIGINT[]) AS ended)"  # noqa: S608
            f" WHERE {column} = ended",
            [run_number, numbers],
        )


def _meet_failures(run: _Run, items: Sequence[Item]) -> None:
    """Note on open failures of earlier runs that this run met the same note, or the same place, again."""
    keys = [key for item in items if (key := key_of(item))]
    places = [_place_of(item) for item in items]
    values = {
        "run": run.number,
        "systems": [key.system for key in keys if key.system is not None],
        "ids": [key.id for key in keys if key.system is not None],
        "bare": [key.id for key in keys if key.system is None],
        "sources": [source for source, line in places if source is not None and line is not None],
        "lines": [line for source, line in places if source is not None and line is not None],
        "files": [source for source, line in places if source is not None and line is None],
    }
    run.connection.execute(_MEET, values)


def _characters(item: Item) -> int:
    note = note_of(item)
    return len(note.text) if note else 0


def _place_of(item: Item) -> tuple[str | None, int | None]:
    about = item if isinstance(item, Diagnostic) else note_of(item)
    return (about.source, about.line) if about else (None, None)


def _other_choice(held: bool) -> str:
    if held:
        return "the archive already holds text of notes; start a new archive to keep text out."
    return "the archive was begun without text of notes; load without quotes, or start a new archive."


def _why_not_stored(error: Exception) -> str:
    """The trouble in one sentence; never the database's own message, which may hold words of a note."""
    import duckdb

    if isinstance(error, duckdb.TransactionException):
        return "another load is writing to the archive; what was stored stays, load again when it is done."
    if isinstance(error, (duckdb.IOException, duckdb.OutOfMemoryException)):
        return "the disk or memory is full or failed; what was stored so far stays, load again to go on."
    return "the archive could not be written; what was stored so far stays, load again to go on."
