"""How fast the archive loads and searches, beside the least that must be done.

Run: `python tests/benchmarks/bench_archive.py [NOTES]` (default 20000, about five findings each).

Prints ratios, so that a slow machine does not look like a slow program:
- load: rows stored a second beside a bare insert of the same finding rows, by pyarrow where it is installed;
- load again: notes a second where every note is known;
- find: time beside the same search written as SQL by hand;
- memory: the peak at the end beside the peak after the first quarter.
"""

import hashlib
import resource
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from measuring import Figure, at_least

from converter.archive import (
    Archive,
    Asymmetry,
    FindQuery,
    LoadOptions,
    RunInfo,
    RunTotals,
    find,
    load,
    needs_reading,
    open_archive,
)
from converter.archive.inserting import columns_of, insert_rows
from converter.archive.rows import Writer, reading_rows
from converter.model import Assessment, Exam, Finding, Note, Reading, Span
from converter.model.record import SCHEMA
from converter.words import shipped_vocabulary

VOCABULARY = shipped_vocabulary()
SITES = ("biceps", "triceps", "patellar", "achilles", "all_limbs")
LEVELS = {0: "absent", 1: "low", 2: "normal", 3: "high", 4: "clonus"}
TABLES = ("notes", "readings", "note_log", "exams", "findings", "reflexes", "assessments")
NOTES, QUICK = 200_000, 0.150
"""Notes for a million findings, and seconds that a common search over them may take."""
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


def run_load(archive: Archive, items: Any, run: str, notes: int) -> tuple[RunTotals, float, list[int]]:
    peaks: list[int] = []

    def tell(totals: RunTotals) -> None:
        if not peaks and totals.notes_in * 4 >= notes:
            peaks.append(peak())

    began = time.perf_counter()
    info = RunInfo(run=run, program="plexor 0", started="t", finished=lambda: "t")
    totals = load(archive, items, info, VOCABULARY, LoadOptions(progress=tell))
    return totals, time.perf_counter() - began, [*peaks, peak()]


def peak() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024


def bare_insert(archive: Archive, notes: int) -> tuple[float, str]:
    """Seconds that the finding rows alone take, made beforehand, by the fastest means at hand."""
    writer = Writer(VOCABULARY, quotes=True)
    rows = [
        (number, *row)
        for number in range(notes)
        for row in reading_rows(*made_item(made_note(number), number)[1:], writer)["findings"]
    ]
    archive.connection.execute("CREATE TABLE bare AS FROM findings LIMIT 0")
    try:
        import pyarrow
    except ImportError:
        return bare_insert_of_lists(archive, rows), "plain lists"
    names = [column[0] for column in archive.connection.execute("FROM bare LIMIT 0").description or ()]
    structure = '[{"start": "BIGINT", "end": "BIGINT", "role": "VARCHAR"}]'
    values = ", ".join(f"from_json(spans, '{structure}')" if name == "spans" else name for name in names)
    began = time.perf_counter()
    for start in range(0, len(rows), 5000):
        lists = [list(column) for column in zip(*rows[start : start + 5000], strict=True)]
        archive.connection.register("batch", pyarrow.table(dict(zip(names, lists, strict=True))))
        archive.connection.execute(f"INSERT INTO bare SELECT {values} FROM batch")
    return time.perf_counter() - began, "pyarrow"


def bare_insert_of_lists(archive: Archive, rows: list[tuple[Any, ...]]) -> float:
    columns = columns_of(archive.connection)
    began = time.perf_counter()
    for start in range(0, len(rows), 5000):
        insert_rows(archive.connection, columns, "bare", rows[start : start + 5000])
    return time.perf_counter() - began


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


def figures(notes: int = NOTES) -> Iterator[Figure]:
    """Loading beside a bare insert of the same finding rows, and searches beside the same SQL by hand."""
    with tempfile.TemporaryDirectory() as folder, open_archive(Path(folder) / "bench.duckdb") as archive:
        stored = bench_load(archive, notes)
        bare, means = bare_insert(archive, min(notes, 20_000))
        bare_rate = min(notes, 20_000) * len(SITES) / bare
        yield at_least("load into the archive", stored, bare_rate, f"bare insert by {means}", "rows", 1 / 3)
        for name, (query, where) in SEARCHES.items():
            sql = BY_HAND.format(where=where)
            ours, found = fastest(lambda: list(find(archive, query)))  # noqa: B023 - called at once
            by_hand, _ = fastest(lambda: archive.connection.execute(sql).fetchall())  # noqa: B023
            yield Figure(
                f"find {name}: {len(found):,} of {notes * len(SITES):,} findings",
                f"{ours * 1000:.0f} ms", f"{by_hand * 1000:.0f} ms (SQL by hand)", f"{ours / by_hand:.2f}",
                f"under {QUICK * 1000:.0f} ms", ours < QUICK,
            )  # fmt: skip


def bench_find(archive: Archive) -> None:
    for name, (query, where) in SEARCHES.items():
        sql = BY_HAND.format(where=where)
        ours, found = fastest(lambda: list(find(archive, query)))  # noqa: B023 - called at once
        by_hand, rows = fastest(lambda: archive.connection.execute(sql).fetchall())  # noqa: B023
        assert len(rows) == len(found)
        print(f"find {name}: {len(rows)} rows, {ours:.3f} s, {ours / by_hand:.2f} x the SQL by hand")
    took, found = fastest(lambda: list(find(archive, FindQuery(patterns=(Asymmetry(3, "achilles"),)))))
    print(f"find asymmetry of 3 at the ankles: {len(found)} rows, {took:.3f} s")


def fastest(work: Callable[[], list[Any]]) -> tuple[float, list[Any]]:
    """The shortest of three times, and the result."""
    times = []
    for _ in range(3):
        began = time.perf_counter()
        result = work()
        times.append(time.perf_counter() - began)
    return min(times), result


def items(notes: int) -> Iterator[Any]:
    for number in range(notes):
        yield made_item(made_note(number), number)


def known_items(archive: Archive, notes: int) -> Iterator[Any]:
    every = (made_note(number) for number in range(notes))
    for number, (note, needed) in enumerate(needs_reading(archive, every, VOCABULARY.fingerprint)):
        yield made_item(note, number) if needed else note


def bench_load(archive: Archive, notes: int) -> float:
    """Load, load again; give the rows stored a second."""
    began = time.perf_counter()
    for _ in items(notes):
        pass
    making = time.perf_counter() - began
    totals, took, peaks = run_load(archive, items(notes), "first", notes)
    took -= making
    rows = sum(
        archive.connection.execute(f"SELECT count(*) FROM {table}").fetchall()[0][0] for table in TABLES
    )
    print(
        f"load: {notes / took:.0f} notes/s, {totals.findings / took:.0f} findings/s, {rows / took:.0f} rows/s"
    )
    print(f"memory: {peaks[0]} MB after a quarter, {peaks[-1]} MB at the end")
    again, took_again, _ = run_load(archive, known_items(archive, notes), "again", notes)
    print(f"load again: {again.duplicate / took_again:.0f} notes/s, {took / took_again:.1f} x as fast")
    stored: float = rows / took
    return stored


def main() -> None:
    notes = int(sys.argv[1]) if len(sys.argv) > 1 else 20000
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "bench.duckdb"
        with open_archive(path) as archive:
            loaded = bench_load(archive, notes)
            bench_find(archive)
            some = min(notes, 20000)
            seconds, means = bare_insert(archive, some)
            bare = some * len(SITES) / seconds
            print(f"bare insert of findings by {means}: {bare:.0f} rows/s; load {loaded / bare:.2f} x")
        print(f"file: {path.stat().st_size / notes:.0f} bytes a note")


if __name__ == "__main__":
    main()
