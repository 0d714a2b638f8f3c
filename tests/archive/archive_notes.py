"""Invented notes with their readings, built by hand, for the tests of the archive."""

import hashlib
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import Any

from archive_copies import copied

from converter.archive import Archive, Item, LoadOptions, RunInfo, RunTotals, load, open_archive
from converter.model import (
    Abnormality,
    Assessment,
    Diagnostic,
    Exam,
    Finding,
    Note,
    NotExamined,
    Reading,
    Severity,
    Span,
    Unread,
)
from converter.model.record import SCHEMA
from converter.words import Vocabulary, shipped_vocabulary

VOCABULARY = replace(shipped_vocabulary(), fingerprint="fingerprint-of-these-tests")
CAUTION = "For records work, not a diagnosis."


def note(note_id: str, text: str = "KJ 2+", **more: Any) -> Note:
    """A note of the invented Lakeside clinic."""
    given = {"patient": "p1", "author": "a1", "facility": "lakeside", "authored": "2024-03-05"} | more
    digest = hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()
    return Note(id=note_id, text=text, hash=digest, **given)


def finding(site: str, side: str, grade: float | None = None, **more: Any) -> Finding:
    """A finding on the bedside scale; its level is the bedside table's."""
    levels = {0: "absent", 1: "low", 2: "normal", 3: "high", 4: "clonus"}
    graded = {"grade_low": grade, "grade_high": grade, "grade_basis": "number", "scale": "bedside"}
    graded |= {"scale_basis": "assumed", "level": levels.get(int(grade or 0)), "as_written": f"{grade}+"}
    given = {
        "finding": f"{site}-{side}-0",
        "exam": 1,
        "kind": "stretch",
        "start": 0,
        "end": 4,
        "quote": "KJ 2",
    }
    return Finding(site=site, side=side, **{**given, **(graded if grade is not None else {}), **more})


def abnormality(rests_on: Finding, code: str = "side-difference", **more: Any) -> Abnormality:
    given = {
        "abnormality": f"{code}-1", "exam": rests_on.exam, "rule": code, "code": code,
        "sites": (rests_on.site,),
        "side": rests_on.side, "sentence": "The left knee is weaker.", "rests_on": (rests_on.finding,),
        "source": "common practice, no source",
    }  # fmt: skip
    return Abnormality(**{**given, **more})


def read(
    about: Note,
    *findings: Finding,
    abnormalities: Iterable[Abnormality] = (),
    vocabulary: str = VOCABULARY.fingerprint,
    **more: Any,
) -> tuple[Note, Reading, tuple[Assessment, ...]]:
    """A note with the reading that holds these findings."""
    numbers = sorted({one.exam for one in findings})
    given = {
        "exams": tuple(Exam(exam=n, status="current", start=0, end=len(about.text)) for n in numbers),
        "schema": SCHEMA,
        "program": "plexor 0.1.0",
    }
    identity = {"id": about.id, "system": about.system, "note_hash": about.hash, "vocabulary": vocabulary}
    reading = Reading(findings=findings, **{**identity, **given, **more})
    summaries = tuple(
        Assessment(exam=n, caution=CAUTION, abnormalities=tuple(a for a in abnormalities if a.exam == n))
        for n in numbers
    )
    return about, reading, summaries


def full_item(note_id: str = "full") -> tuple[Note, Reading, tuple[Assessment, ...]]:
    """A note in which every field of every value says something."""
    text = "DTRs today: patella reflex on the wobbly left 1 to 2 plus\nold sentence of rhubarb, quite unread"
    about = note(
        note_id, text, system="urn:lakeside", encounter="e9", authored="2024-03-05T10:20:00+01:00",
        authored_precision="second", kind="progress", birth_date="1950-02", age=74, sex="female",
        source="notes.csv", line=7, origin=((0, 4, 30), (30, 50, 65)),
    )  # fmt: skip
    said = Finding(
        finding="patellar-left-12", exam=1, site="patellar", which="w", root="L4", side="left",
        kind="stretch", grade_low=1.0, grade_high=2.0, grade_basis="number", plus="trailing", denominator=4,
        scale="out-of-four",
        scale_basis="denominator", level="low", descriptor="brisk", response="flexor", beats="4-5",
        sustained=False, reinforcement="only_with", manoeuvre="hand_clasp", position="seated",
        technique="direct", quality="pendular", comparison="less_than_other_side", negated=True,
        status="historical", certainty="uncertain", reason="cast on the leg", as_written="1 to 2 plus",
        spans=(Span(12, 26, "site"), Span(42, 57, "value")), start=12, end=57, quote=text[12:57],
    )  # fmt: skip
    doubt = Diagnostic(
        code="mixed-plus", severity=Severity.WARNING, message="wobbly left is mixed", hint="look at rhubarb",
        start=3, end=9, source="notes.csv", line=7, path="Observation", expected="rhubarb or so", rule="r-1",
    )  # fmt: skip
    reading = Reading(
        id=note_id, system="urn:lakeside", note_hash=about.hash, schema=SCHEMA, program="plexor 0.1.0",
        vocabulary=VOCABULARY.fingerprint, findings=(said,), diagnostics=(doubt,),
        exams=(Exam(exam=1, status="historical", stated_time="old sentence", start=0, end=57),),
        unread=(Unread(start=58, end=95, text=text[58:95], why="no-rule"),),
    )  # fmt: skip
    weaker = abnormality(
        said, level="low", size=1.0, certainty="uncertain", sentence="wobbly left is low", hpo="HP:0001265",
        hpo_label="Hyporeflexia", modifiers=("HP:0012835",),
    )  # fmt: skip
    gap = NotExamined(site="achilles", side="right", reason="cast on the leg", finding="patellar-left-12")
    assessment = Assessment(
        exam=1, abnormalities=(weaker,), not_examined=(gap,), diagnostics=(doubt,), caution=CAUTION
    )
    return about, reading, (assessment,)


def run_info(run: str = "run-1", started: str = "2024-06-01T08:00:00Z") -> RunInfo:
    return RunInfo(
        run=run,
        program="plexor 0.1.0",
        started=started,
        finished=lambda: "2024-06-01T09:00:00Z",
        settings={"s": "1"},
    )


def load_all(
    archive: Archive,
    items: Iterable[Item],
    run: str = "run-1",
    vocabulary: Vocabulary = VOCABULARY,
    **options: Any,
) -> RunTotals:
    return load(archive, items, run_info(run), vocabulary, LoadOptions(**options))


def new_archive(folder: Path, *items: Item, **options: Any) -> Archive:
    """An archive that holds these items."""
    path = copied(folder / "archive.duckdb", "nothing", lambda path: open_archive(path).close())
    archive = open_archive(path)
    load_all(archive, items, **options)
    return archive


def content(archive: Archive) -> dict[str, list[tuple[Any, ...]]]:
    """Everything the archive holds but the log of runs and the numbers of runs."""
    log = {"runs", "note_log", "run_diagnostics", "archive_info"}
    tables = archive.connection.execute(
        "SELECT table_name FROM duckdb_tables() WHERE NOT internal ORDER BY table_name"
    ).fetchall()
    held = {}
    for (table,) in tables:
        if table not in log:
            columns = archive.connection.execute(
                "SELECT column_name FROM duckdb_columns() WHERE table_name = ?", [table]
            ).fetchall()
            numbers = ", ".join(
                f"{name} IS NULL AS {name}" if name in ("from_run", "to_run") else name for (name,) in columns
            )
            held[table] = archive.connection.execute(f"SELECT {numbers} FROM {table} ORDER BY ALL").fetchall()
    return held
