"""How fast the archive loads and searches, beside the least that must be done.

Loading goes from readings to a stored archive; beside it the same rows, ready in Arrow tables, are inserted
into tables without any condition. Searches go over a million findings, beside the same SQL by hand, in
an archive that is opened for reading only, as `find` opens it; every row is taken up whole. That archive is a
load of a twentieth of them, whose rows are written again with numbers of their own.
"""

import hashlib
import tempfile
from collections.abc import Generator, Iterator
from io import StringIO
from pathlib import Path
from typing import Any

from measuring import ROUNDS, Figure, at_least, machine, side_by_side

from converter.archive import (
    Archive,
    Asymmetry,
    FindQuery,
    LoadOptions,
    RunInfo,
    find,
    load,
    needs_reading,
    open_archive,
)
from converter.cli.find_views import write_found
from converter.cli.output import Format
from converter.model import Assessment, Exam, Finding, Note, Reading, Span
from converter.model.record import SCHEMA
from converter.words import shipped_vocabulary

VOCABULARY = shipped_vocabulary()
SITES = ("biceps", "triceps", "patellar", "achilles", "all_limbs")
LEVELS = {0: "absent", 1: "low", 2: "normal", 3: "high", 4: "clonus"}
TABLES = ("notes", "readings", "note_log", "exams", "findings", "reflexes", "assessments")
NOTES, TIMES, QUICK = 200_000, 20, 0.150
"""Notes for a million findings, how often each is written, and seconds that a common search may take."""
LOADED, MANY, BATCH = 1000, 4000, 5000
"""Notes of a load that is timed, and of one beside which a new file weighs little; rows of a bare insert."""
FILLER = "The patient walks without help and reports no new complaint today. " * 20


def made_note(number: int) -> Note:
    text = f"{FILLER}Visit {number}: DTRs 2+ throughout, knee and ankle jerks {number % 5}+ on the left."
    digest = hashlib.sha256(text.encode()).hexdigest()
    day = f"20{number % 20 + 10}-{number % 12 + 1:02}-{number % 28 + 1:02}"
    return Note(
        id=f"note-{number}", text=text, hash=digest, patient=f"p{number % 9973}", author=f"a{number % 40}",
        facility=f"f{number % 7}", authored=day, kind="progress", source="made.jsonl", line=number + 1,
    )  # fmt: skip


def made_finding(number: int, place: int) -> Finding:
    grade = (number + place * 3) % 5
    side = ("left", "right", "both")[(number + place) % 3]
    start = number % 90 + place * 11
    return Finding(
        finding=f"{SITES[place]}-{side}-{start}", exam=1, site=SITES[place], side=side, kind="stretch",
        grade_low=float(grade), grade_high=float(grade), grade_basis="number", plus="trailing",
        scale="bedside", scale_basis="assumed", level=LEVELS[grade], as_written=f"{grade}+",
        start=start, end=start + 9,
        quote=f"{SITES[place][:2]} {side} {grade}+",
        spans=(Span(start, start + 3, "site"), Span(start + 5, start + 9, "value")),
    )  # fmt: skip


def made_item(note: Note, number: int) -> tuple[Note, Reading, tuple[Assessment, ...]]:
    reading = Reading(
        id=note.id, system=note.system, note_hash=note.hash, schema=SCHEMA, program="plexor 0",
        vocabulary=VOCABULARY.fingerprint,
        exams=(Exam(exam=1, status="current", start=0, end=len(note.text)),),
        findings=tuple(made_finding(number, place) for place in range(len(SITES))),
    )  # fmt: skip
    return note, reading, (Assessment(exam=1, caution="Not a diagnosis."),)


BY_HAND = """
SELECT n.system, n.id, n.patient, n.authored, n.author, n.facility, n.note_kind, f.exam, f.finding, x.site,
       x.side, x.basis, f.site, f.side, f.which, f.root, f.kind, f.grade_low, f.grade_high, f.plus, f.scale,
       f.scale_basis, f.level, f.descriptor, f.response, f.beats, f.sustained, f.reinforcement, f.quality,
       f.comparison, f.negated, f.status, f.certainty, f.reason, f.as_written, f.start_offset, f.end_offset,
       f.quote
FROM reflexes x
JOIN findings f ON f.reading = x.reading AND f.place = x.finding_place
JOIN readings r ON r.reading = x.reading AND r.to_run IS NULL
JOIN notes n ON n.note = r.note AND n.to_run IS NULL
WHERE {where} AND f.status = 'current'
ORDER BY n.patient, n.authored_first, n.authored, n.system, n.id, x.reading, x.finding_place, x.place
"""
PAIRS_BY_HAND = """
WITH pair AS (
    SELECT a.reading, a.place AS one, b.place AS other
    FROM current_reflexes a JOIN current_reflexes b
      ON a.reading = b.reading AND a.exam = b.exam AND a.site = b.site AND a.scale = b.scale
     AND a.reinforcement IS NOT DISTINCT FROM b.reinforcement
    WHERE a.site = 'achilles' AND a.side = 'left' AND b.side = 'right'
      AND a.status = 'current' AND NOT a.negated AND coalesce(a.exam_status, 'current') = 'current'
      AND b.status = 'current' AND NOT b.negated AND coalesce(b.exam_status, 'current') = 'current'
      AND greatest(b.grade_low - a.grade_high, a.grade_low - b.grade_high) >= 3
)
SELECT x.* FROM current_reflexes x
WHERE x.status = 'current'
  AND (x.reading, x.place) IN (SELECT (reading, one) FROM pair UNION ALL SELECT (reading, other) FROM pair)
ORDER BY x.patient, x.authored_first, x.authored, x.system, x.id, x.reading, x.finding_place, x.place
"""
SEARCHES = {
    "left knee, absent": (
        FindQuery(sites=("patellar",), sides=("left",), levels=("absent",)),
        "x.site = 'patellar' AND x.side = 'left' AND f.level = 'absent'",
    ),
    "one patient's ankles": (
        FindQuery(sites=("achilles",), patients=("p17",)),
        "x.site = 'achilles' AND n.patient = 'p17'",
    ),
    "left knee, bedside 3 to 4, two years": (
        FindQuery(sites=("patellar",), sides=("left",), scale="bedside", grade_from=3, grade_to=4,
                  date_from="2014", date_to="2015"),
        """x.site = 'patellar' AND x.side = 'left' AND f.scale = 'bedside' AND f.grade_low >= 3
           AND f.grade_high <= 4 AND n.authored_first >= '2014-01-01' AND n.authored_last <= '2015-12-31'""",
    ),
}  # fmt: skip


def items(notes: int) -> Iterator[Any]:
    """Notes with their readings."""
    for number in range(notes):
        yield made_item(made_note(number), number)


def known_items(archive: Archive, notes: int) -> Iterator[Any]:
    """The same notes, read again where the archive asks for it."""
    every = (made_note(number) for number in range(notes))
    for number, (note, needed) in enumerate(needs_reading(archive, every, VOCABULARY.fingerprint)):
        yield made_item(note, number) if needed else note


def load_all(archive: Archive, every: Any, run: str) -> None:
    """One load."""
    info = RunInfo(run=run, program="plexor 0", started="t", finished=lambda: "t")
    load(archive, every, info, VOCABULARY, LoadOptions())


def rows_in(archive: Archive) -> int:
    """Rows of all tables that a load fills."""
    counted = (archive.connection.execute(f"SELECT count(*) FROM {table}").fetchall() for table in TABLES)
    return sum(rows[0][0] for rows in counted)


def figures() -> Iterator[Figure]:
    """Loading beside a bare insert of the same rows, and searches beside the same SQL by hand."""
    with tempfile.TemporaryDirectory() as folder:
        yield from of_loading(Path(folder))
        with open_archive(Path(folder) / "large.duckdb") as archive:
            load_all(archive, items(NOTES // TIMES), "first")
            multiply(archive)
        with open_archive(Path(folder) / "large.duckdb", read_only=True) as archive:
            yield from of_searches(archive)


def of_loading(folder: Path) -> Iterator[Figure]:
    """First loads beside a bare insert, and one that finds every note known."""
    first = yield from of_first_loads(folder / "few", LOADED)
    yield from of_first_loads(folder / "many", MANY)
    runs = iter(range(100))
    with open_archive(folder / "few" / "loaded.duckdb") as archive:
        (again,) = side_by_side(
            lambda: load_all(archive, known_items(archive, LOADED), f"again {next(runs)}")
        )
    yield Figure(
        "load again, every note known", f"{LOADED / again:,.0f} notes/s",
        f"{LOADED / first:,.0f} notes/s (first load, readings ready)", f"{first / again:.2f}",
    )  # fmt: skip


def of_first_loads(folder: Path, notes: int) -> Generator[Figure, None, float]:
    """A first load, the making of the file included, beside a bare insert; gives its seconds."""
    folder.mkdir()
    ready = list(items(notes))
    name = f"load {notes:,} notes into a new archive"
    paths = (folder / f"load{number}.duckdb" for number in range(100))

    def first() -> None:
        with open_archive(next(paths)) as archive:
            load_all(archive, iter(ready), "first")

    with open_archive(folder / "loaded.duckdb") as archive:
        load_all(archive, iter(ready), "first")
        rows, tables = rows_in(archive), arrow_tables(archive)
    if tables is None:
        (loading,) = side_by_side(first)
        yield Figure(name, f"{rows / loading:,.0f} rows/s", "pyarrow is not installed", "-")
    else:
        loading, bare = side_by_side(first, lambda: bare_insert(next(paths), tables))
        yield at_least(
            name, rows / loading, rows / bare, "bare insert of the same rows from Arrow", "rows", 1 / 3
        )
    return loading


def arrow_tables(archive: Archive) -> dict[str, Any] | None:
    """Every row that the load stored, as Arrow tables; None where pyarrow is not installed."""
    try:
        import pyarrow  # noqa: F401 - duckdb needs it
    except ImportError:
        return None
    return {table: archive.connection.execute(f"FROM {table}").to_arrow_table() for table in TABLES}


def bare_insert(file: Path, tables: dict[str, Any]) -> None:
    """Insert ready rows into bare tables of a new file, in batches as large as those of a load."""
    import duckdb

    with duckdb.connect(str(file)) as connection:
        for name, table in tables.items():
            connection.register("every", table)
            connection.execute(f"CREATE TABLE {name} AS FROM every LIMIT 0")
            for start in range(0, table.num_rows, BATCH):
                connection.register("batch", table.slice(start, BATCH))
                connection.execute(f"INSERT INTO {name} FROM batch")


def multiply(archive: Archive) -> None:
    """Write every row of a first load many times more, with numbers and identifiers of their own."""
    step = "(1000000 * copy)"
    new = {
        "notes": f"note + {step} AS note, identity + {step} AS identity, id || '-' || copy AS id",
        "readings": f"reading + {step} AS reading, note + {step} AS note",
        "exams": f"reading + {step} AS reading",
        "findings": f"reading + {step} AS reading",
        "reflexes": f"reading + {step} AS reading",
    }
    for table, values in new.items():
        archive.connection.execute(
            f"INSERT INTO {table} SELECT {table}.* REPLACE ({values}) "
            f"FROM {table}, range(1, {TIMES}) AS copies(copy)"
        )


def of_searches(archive: Archive) -> Iterator[Figure]:
    """Common searches, one over pairs of sides, and one written out as the program writes it."""
    ((findings,),) = archive.connection.execute("SELECT count(*) FROM findings").fetchall()
    asked = {name: (query, BY_HAND.format(where=where), QUICK) for name, (query, where) in SEARCHES.items()}
    asked["asymmetry of 3 at the ankles"] = (
        FindQuery(patterns=(Asymmetry(3, "achilles"),)),
        PAIRS_BY_HAND,
        0.0,
    )
    for name, (query, sql, aim) in asked.items():
        rows = sum(1 for _ in find(archive, query))
        assert rows == len(archive.connection.execute(sql).fetchall())
        ours, by_hand = side_by_side(
            lambda: list(find(archive, query)),  # noqa: B023 - called at once
            lambda: archive.connection.execute(sql).fetchall(),  # noqa: B023
        )
        yield Figure(
            f"find {name}: {rows:,} of {findings:,} findings", f"{ours * 1000:.0f} ms",
            f"{by_hand * 1000:.0f} ms (SQL by hand)", f"{ours / by_hand:.2f}",
            f"under {aim * 1000:.0f} ms" if aim else "", ours < aim if aim else None,
        )  # fmt: skip
    query, sql, _ = asked["left knee, absent"]
    for format_ in (Format.JSONL, Format.CSV):
        writing, by_hand = side_by_side(
            lambda: write_found(StringIO(), format_, find(archive, query)),  # noqa: B023
            lambda: archive.connection.execute(sql).fetchall(),
        )
        yield Figure(
            f"find left knee, absent, written as {format_}", f"{writing * 1000:.0f} ms",
            f"{by_hand * 1000:.0f} ms (SQL by hand, not written)", f"{writing / by_hand:.2f}",
        )  # fmt: skip


if __name__ == "__main__":
    print(machine(), f"{ROUNDS} rounds")
    for figure in figures():
        print(figure)
