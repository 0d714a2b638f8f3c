"""Readings and findings as DataFrames of Spark; beside `api`.

Takes a DataFrame of notes and a Session; gives a DataFrame with one row a note, and from it one with one row
a finding. The rows travel in Arrow batches, the session with its vocabulary goes to each machine once. Any
other work on a frame of notes goes the same way, by `worked`: FHIR resources in `resource_frames`. Files are
left to `datasets`, the cluster to `engines`.
"""

import json
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, fields
from types import UnionType
from typing import TYPE_CHECKING, Any, get_args

from converter.api import Session
from converter.engines import Done, EngineError, Work
from converter.model import Diagnostic, Finding, Note
from converter.model.record import diagnostic_to_record
from converter.sources import FIELDS, SourceOptions
from converter.works import Line, ToLines

if TYPE_CHECKING:
    from pyarrow import RecordBatch
    from pyspark.sql import DataFrame

    from converter.engines.cluster_tally import Tally
    from converter.engines.cluster_task import Shared

PLACE = ("source", "line")
"""Columns of a frame of notes that say where each stands: a file, and a row counted from 1."""
ABOUT = ("system", "id", "note_hash", "patient", "encounter", "author", "facility", "authored", "note_kind")
"""Columns of every frame made here that say which note a row belongs to, all of them text."""
_SPANS = "array<struct<start: int, end: int, role: string>>"
_SQL = {str: "string", int: "int", float: "double", bool: "boolean"}


def _sql_of(kind: Any) -> str:
    plain = (
        [one for one in get_args(kind) if one is not type(None)] if isinstance(kind, UnionType) else [kind]
    )
    return _SQL.get(plain[0], _SPANS)


_READING = {
    **dict.fromkeys(ABOUT, "string"),
    **dict.fromkeys(("findings", "unread", "errors"), "int"),
    **dict.fromkeys(("record", "troubles"), "string"),
}
_FINDING = {
    **dict.fromkeys((*ABOUT, "program", "vocabulary"), "string"),
    **{one.name: _sql_of(one.type) for one in fields(Finding)},
}


def schema_of(columns: Mapping[str, str]) -> str:
    """Columns with their kinds as Spark writes a schema."""
    return ", ".join(f"`{name}` {kind}" for name, kind in columns.items())


READING_SCHEMA = schema_of(_READING)
"""One row a note, in any order:

- `system` ... `note_kind`: the note's own, as text; `note_hash` is the SHA-256 of its text;
- `findings`, `unread`, `errors`: how many its reading holds; null where there is none;
- `record`: the line that `plexor read --format jsonl` writes for it, byte for byte; null where nothing was
  read since the row has no text or too much, which `troubles` says;
- `troubles`: what was doubtful about the row itself, as a JSON array of diagnostics; null where nothing was.
"""
FINDING_SCHEMA = schema_of(_FINDING)
"""One row a finding: what identifies its note, program and vocabulary, and the fields of `model.Finding`."""

Row = tuple[Any, ...]


def readings_of(
    notes: "DataFrame", session: Session, tally: "Tally | None" = None, options: SourceOptions | None = None
) -> "DataFrame":
    """Read a frame of notes: one row for each row of it, by `READING_SCHEMA`.

    Args:
        notes: columns named as the fields of a note (`sources.FIELDS`), `text` among them; others are left
            alone. With `source` and `line`, messages and notes without an id name their place. Whole numbers,
            dates and the like are taken as Spark writes them. No two rows may share system and id.
        session: how notes are read.
        tally: counts `rows`, `done`, `failed`, `left_out`, `findings`, `unread`, `errors` and `ended`
            (processes that a note ended); whole after one action over the whole frame.
        options: the system of notes that name none, else that of the settings; and the largest note.

    Raises:
        ValueError: there is no column `text`.
    """
    return worked(notes, session, ToLines(session), _reading_rows, _READING, tally, options)


def findings_in(readings: "DataFrame") -> "DataFrame":
    """The findings of readings, one row each, by `FINDING_SCHEMA`."""
    return readings.select(*ABOUT, "record").mapInArrow(_findings, FINDING_SCHEMA)


def findings_of(notes: "DataFrame", session: Session, tally: "Tally | None" = None) -> "DataFrame":
    """Read a frame of notes: one row a finding, by `FINDING_SCHEMA`; see `readings_of`.

    A note without findings has no row here; `readings_of` has one for each.
    """
    return findings_in(readings_of(notes, session, tally))


@dataclass(frozen=True, slots=True)
class Put:
    """A row of the frame on its way through the engine: no note, so it is passed through at its place.

    Attributes:
        note: the note that it holds, whose `Done` comes next; None where it holds none.
        row: its values as text.
        troubles: what was doubtful about it.
    """

    note: Note | None
    row: Mapping[str, str]
    troubles: tuple[Diagnostic, ...]


RowMaker = Callable[[Iterable[Done[Any] | Put], Counter[str]], Iterator[Row]]
"""Makes the rows of a partition of what comes out of the engine, and counts what a tally is to know."""


def worked(
    notes: "DataFrame",
    session: Session,
    work: Work[Any],
    rows: RowMaker,
    columns: Mapping[str, str],
    tally: "Tally | None" = None,
    options: SourceOptions | None = None,
) -> "DataFrame":
    """A frame that a work makes of a frame of notes.

    Args:
        notes: see `readings_of`.
        session: gives the system of notes that name none, unless the options do.
        work: done on every note, by an engine in each task.
        rows: a function of a module, so that it can travel.
        columns: of the frame that is made, with their kinds.
        tally: counts `rows`, `done`, `failed` and `ended`, and what `rows` counts.
        options: see `readings_of`.

    Raises:
        ValueError: there is no column `text`.
    """
    from converter.engines.cluster_task import shared_work

    known = [name for name in (*FIELDS, *PLACE) if name in notes.columns]
    if "text" not in known:
        raise ValueError(f"a frame of notes needs a column text; it has {', '.join(notes.columns)}")
    shared = shared_work(notes.sparkSession.sparkContext, work)
    options = options or SourceOptions(system=session.settings.notes.system)
    task = _NoteTask(shared, tuple(known), options.system, options.largest_note, rows, dict(columns), tally)
    return notes.select(*known).mapInArrow(task, schema_of(columns))


@dataclass(frozen=True, slots=True)
class _NoteTask:
    """What a task does: Arrow batches of notes in, Arrow batches of rows out."""

    shared: "Shared"
    known: tuple[str, ...]
    system: str | None
    largest_note: int
    rows: RowMaker
    columns: dict[str, str]
    tally: "Tally | None"

    def __call__(self, batches: Iterable["RecordBatch"]) -> Iterator["RecordBatch"]:
        """The rows of a partition.

        Raises:
            EngineError: another version of the program is installed here.
        """
        from converter.engines.cluster_task import engine_in_task, installed_version, opened

        here = installed_version()
        if here != self.shared.version:
            raise EngineError(
                f"a machine of the cluster has plexor {here} installed, not {self.shared.version}"
            )
        told: list[Diagnostic] = []
        with engine_in_task(opened(self.shared), told.append) as engine:
            counts = Counter(rows=0)
            yield from in_batches(self.rows(engine.run(self._items(batches)), counts), self.columns)
            counts.update(done=engine.account.done, failed=engine.account.failed, ended=len(told))
        if self.tally is not None:
            self.tally.put(counts)

    def _items(self, batches: Iterable["RecordBatch"]) -> Iterator[Note | Put]:
        from converter.sources.rows import note_in_row

        options = SourceOptions(system=self.system, largest_note=self.largest_note)
        for batch in batches:
            for values in batch.to_pylist():
                row = {name: str(values[name]) for name in self.known if values[name] is not None}
                note, troubles = note_in_row(row, options)
                yield Put(note, row, tuple(troubles))
                if note is not None:
                    yield note


def _reading_rows(items: Iterable[Done[Line] | Put], counts: Counter[str]) -> Iterator[Row]:
    """A row for each that came in; a note's own comes when it is done."""
    put: Put | None = None
    for item in items:
        if isinstance(item, Put):
            put = item
            counts["rows"] += 1
            if item.note is None:
                counts["left_out"] += 1
                yield (*about_row(item), None, None, None, None, troubles_text(item.troubles))
            continue
        assert put is not None
        line = item.result
        counts.update(findings=line.findings, unread=line.unread, errors=len(line.errors))
        yield (
            *about_note(item.note),
            line.findings,
            line.unread,
            len(line.errors),
            line.text,
            troubles_text(put.troubles),
        )


def about_note(note: Note) -> Row:
    """The values of `ABOUT` for a note."""
    own = (note.patient, note.encounter, note.author, note.facility, note.authored, note.kind)
    return (note.system, note.id, note.hash, *own)


def about_row(put: Put) -> Row:
    """The values of `ABOUT` for a row that is no note, as far as it has them."""
    row = {**put.row, "note_kind": put.row.get("kind")}
    return tuple(row.get(name) for name in ABOUT)


def troubles_text(troubles: Iterable[Diagnostic]) -> str | None:
    """Diagnostics as a JSON array; None where there are none."""
    records = [diagnostic_to_record(one) for one in troubles]
    return json.dumps(records, ensure_ascii=False) if records else None


def _findings(batches: Iterable["RecordBatch"]) -> Iterator["RecordBatch"]:
    """What a task does: Arrow batches of readings in, Arrow batches of findings out."""
    names = [one.name for one in fields(Finding)]

    def rows() -> Iterator[Row]:
        for batch in batches:
            for reading in batch.to_pylist():
                record = json.loads(reading["record"]) if reading["record"] is not None else {"findings": ()}
                for finding in record["findings"]:
                    about = [reading[name] for name in ABOUT]
                    yield (*about, record["program"], record["vocabulary"], *(finding[one] for one in names))

    yield from in_batches(rows(), _FINDING)


def in_batches(rows: Iterable[Row], columns: Mapping[str, str]) -> Iterator["RecordBatch"]:
    """Rows as Arrow batches with these columns."""
    from itertools import islice

    import pyarrow

    spans = {"start": pyarrow.int32(), "end": pyarrow.int32(), "role": pyarrow.string()}
    kinds = {
        "string": pyarrow.string(),
        "int": pyarrow.int32(),
        "double": pyarrow.float64(),
        "boolean": pyarrow.bool_(),
        _SPANS: pyarrow.list_(pyarrow.struct(spans)),
    }
    schema = pyarrow.schema({name: kinds[kind] for name, kind in columns.items()})
    coming = iter(rows)
    while some := list(islice(coming, _ROWS)):
        values = zip(zip(*some, strict=True), schema.types, strict=True)
        arrays = [pyarrow.array(column, kind) for column, kind in values]
        yield pyarrow.RecordBatch.from_arrays(arrays, schema=schema)


_ROWS = 1000
"""Rows of an Arrow batch."""
