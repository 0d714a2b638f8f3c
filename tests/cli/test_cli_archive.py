"""The archive on the command line: loading again, retrying, patterns, counts, FHIR searches and SQL."""

import csv
import io
import json
import os
import pty
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import duckdb
import pytest
from archive_copies import copied
from commands import Ran, plexor, stop_from_keyboard_works

from converter.model import Note, Reading
from converter.reading import read_note

NOTES = """id,text,system,patient,authored,author
n1,"Reflexes 2+ throughout, absent at the left ankle.",urn:example:notes,p1,2031-03-04,e1
n2,"Left ankle jerk absent, left knee jerk brisk.",urn:example:notes,p2,2031-03-05,e1
n3,"AJ 3+/1+. Plantars down.",urn:example:notes,p3,2031-03-06,e2
n4,"AJ 1+/1+.",urn:example:notes,p3,2031-03-20,e2
"""


@pytest.fixture
def notes(tmp_path: Path) -> Path:
    file = tmp_path / "notes.csv"
    file.write_text(NOTES, encoding="utf-8")
    return file


@pytest.fixture
def archive(notes: Path, tmp_path: Path) -> Path:
    def load(path: Path) -> None:
        assert plexor("load", notes, "--archive", path).status == 0

    return copied(tmp_path / "a.duckdb", NOTES, load)


def ids(ran: Ran) -> list[str]:
    assert ran.status == 0, ran.err
    return sorted({json.loads(line)["id"] for line in ran.out.splitlines()})


@pytest.mark.parametrize(
    ("patterns", "found"),
    [
        (["absent ankle with brisk knee"], ["n2"]),
        (["asymmetry of at least 2 at the ankles"], ["n3"]),
        (["asymmetry of at least 3 at the ankles"], []),
        (["changed by 2 within 14 days"], ["n3", "n4"]),
        (["changed by 2 within 13 days"], []),
        (["asymmetry of 2", "changed by 2 within 14 days"], ["n3"]),
        (["increased by 2 within 14 days"], []),
    ],
)
def test_patterns_are_asked_in_words_and_combined(
    archive: Path, patterns: list[str], found: list[str]
) -> None:
    options = [part for words in patterns for part in ("--pattern", words)]
    assert ids(plexor("find", "--archive", archive, *options, "--format", "jsonl")) == found


def test_a_pattern_goes_with_other_options(archive: Path) -> None:
    asked = ["find", "--archive", str(archive), "--pattern", "asymmetry of 2", "--format", "jsonl"]
    assert ids(plexor(*asked, "--author", "e1")) == []
    assert ids(plexor(*asked, "--author", "e2", "--site", "plantar")) == ["n3"]


@pytest.mark.parametrize("site", ["achilles", "ankle", "ankle jerk", "AJ", "Achilles"])
def test_a_site_is_named_in_the_words_of_the_trade(archive: Path, site: str) -> None:
    asked = ("find", "--archive", archive, "--level", "absent", "--format", "jsonl", "--site", site)
    assert ids(plexor(*asked)) == ["n1", "n2"]


def test_a_grade_without_its_scale_is_refused_by_the_names_of_the_options(archive: Path) -> None:
    ran = plexor("find", "--archive", archive, "--grade", "3")
    assert (ran.status, "--scale bedside" in ran.err) == (2, True)


def test_no_three_words_of_a_note_stand_in_an_archive_without_quotes(tmp_path: Path) -> None:
    """The demo notes and lines that fail: every text column, and the bytes of the file."""
    demo = Path(__file__).parents[2] / "fixtures" / "demo"
    broken = tmp_path / "broken.csv"
    broken.write_text(
        'id,text,authored\nb1,"violet harbour, unpaired" of mind,x\nb2,KJ 2+,violet harbour day\n'
    )
    archive = tmp_path / "bare.duckdb"
    ran = plexor("load", demo / "notes.csv", demo / "texts", broken, "--archive", archive, "--no-quotes")
    assert "failed                   1" in ran.out
    assert "violet" not in ran.out + ran.err
    with (demo / "notes.csv").open(encoding="utf-8", newline="") as opened:
        texts = [row["text"] for row in csv.DictReader(opened)]
    texts += [file.read_text(encoding="utf-8") for file in (demo / "texts").glob("*.txt")]
    threes = {three for text in texts for three in _threes(text)} | {"violet harbour"}
    assert len(threes) > 1000
    held = archive.read_bytes().decode("latin-1")
    with duckdb.connect(str(archive), read_only=True) as connection:
        tables = connection.execute("SELECT table_name FROM duckdb_tables()").fetchall()
        rows = [row for (table,) in tables for row in connection.execute(f"FROM {table}").fetchall()]
    columns = {str(value) for row in rows for value in row if value is not None}
    assert len(columns) > 500
    ours = " ".join(text.read_text() for text in (documented().glob("*")))
    found = {three for three in threes if any(three in text for text in (held, *columns))}
    assert {three for three in found if three not in ours} == set()


def _threes(text: str) -> Iterator[str]:
    """Three words in a row with two of at least four letters; shorter ones stand in any text."""
    words = text.split()
    for at in range(len(words) - 2):
        three = words[at : at + 3]
        if sum(len(word) > 3 for word in three) > 1:
            yield " ".join(three)


def documented() -> Path:
    """Where the archive's own descriptions of its views come from, which stand in every archive."""
    return Path(__file__).parents[2] / "converter" / "archive" / "schema"


def test_counts_name_the_scale_beside_the_grade(archive: Path) -> None:
    asked = ["find", "--archive", str(archive), "--site", "achilles", "--count-by", "side,grade"]
    rows = list(csv.DictReader(io.StringIO(plexor(*asked, "--format", "csv").out)))
    assert list(rows[0]) == ["side", "scale", "grade", "rows", "notes", "patients"]
    assert {(row["side"], row["grade"]): row["notes"] for row in rows} == {
        ("left", "1"): "2", ("left", ""): "2", ("right", "1"): "1", ("right", "2"): "1", ("right", "3"): "1",
    }  # fmt: skip
    text = plexor(*asked).out.splitlines()
    assert text[0].split() == ["side", "scale", "grade", "rows", "notes", "patients"]
    assert any(line.split() == ["left", "-", "-", "2", "2", "2"] for line in text)


def test_found_rows_are_written_as_parquet(archive: Path, tmp_path: Path) -> None:
    out = tmp_path / "found.parquet"
    ran = plexor("find", "--archive", archive, "--site", "achilles", "--format", "parquet", "--out", out)
    assert (ran.status, ran.out) == (0, "")
    with duckdb.connect() as connection:
        kept = connection.execute("SELECT id, side, level FROM read_parquet(?)", [str(out)]).fetchall()
    lines = plexor("find", "--archive", archive, "--site", "achilles", "--format", "jsonl").out.splitlines()
    rows = [json.loads(line) for line in lines]
    assert kept == [(row["id"], row["side"], row["level"]) for row in rows]


def test_a_fhir_search_gives_a_bundle_that_the_check_takes(archive: Path, tmp_path: Path) -> None:
    search = "Observation?code=achilles-left&component-code-value-concept=level$absent"
    out = tmp_path / "found.json"
    assert plexor("find", "--archive", archive, "--fhir", search, "--out", out).status == 0
    bundle = json.loads(out.read_text(encoding="utf-8"))
    assert (bundle["type"], bundle["total"]) == ("searchset", 2)
    assert json.loads(plexor("find", "--archive", archive, "--fhir", search).out) == bundle
    checked = plexor("check", out)
    assert (checked.status, ", 0 errors, 0 warnings" in checked.out) == (0, True)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--pattern", "brisk everything"], "The pattern 'brisk everything'"),
        (["--count-by", "colour"], "'colour' is not possible"),
        (["--count-by", "site,,side"], "name each column once"),
        (["--count-by", "site", "--format", "parquet", "--out", "x"], "choose text, json, jsonl or csv"),
        (["--format", "parquet"], "say where to write it with --out"),
        (["--fhir", "Patient?name=x"], "begin with Observation?"),
        (["--fhir", "Observation?_sort=date"], "'_sort'"),
        (["--fhir", "Observation", "--site", "achilles"], "--fhir --site:"),
        (["--fhir", "Observation", "--limit", "0"], "--fhir --limit:"),
        (["--fhir", "Observation", "--format", "csv"], "the answer is a Bundle in JSON"),
    ],
)
def test_what_cannot_be_asked_ends_with_2_and_one_sentence(
    archive: Path, options: list[str], words: str
) -> None:
    ran = plexor("find", "--archive", archive, *options)
    assert (ran.status, ran.out) == (2, "")
    assert words in ran.err
    assert len(ran.err.splitlines()) == 1


QUERY = "SELECT id, patient, CAST(authored AS DATE) AS day FROM current_notes ORDER BY id LIMIT 2"


def test_sql_is_answered_in_each_format(archive: Path, tmp_path: Path) -> None:
    rows = [
        {"id": "n1", "patient": "p1", "day": "2031-03-04"},
        {"id": "n2", "patient": "p2", "day": "2031-03-05"},
    ]
    assert json.loads(plexor("sql", archive, QUERY, "--format", "json").out) == rows
    assert [
        json.loads(line) for line in plexor("sql", archive, QUERY, "--format", "jsonl").out.splitlines()
    ] == rows
    assert list(csv.DictReader(io.StringIO(plexor("sql", archive, QUERY, "--format", "csv").out))) == rows
    assert plexor("sql", archive, QUERY).out.splitlines()[-1] == "2 rows"
    assert json.loads(plexor("sql", archive, "-", "--format", "json", stdin=QUERY).out) == rows
    out = tmp_path / "rows.parquet"
    assert plexor("sql", archive, QUERY, "--format", "parquet", "--out", out).status == 0
    with duckdb.connect() as connection:
        kept = connection.execute("SELECT id, patient, CAST(day AS VARCHAR) FROM read_parquet(?)", [str(out)])
        assert kept.fetchall() == [tuple(row.values()) for row in rows]


def test_every_view_can_be_written_as_json_and_parquet(archive: Path, tmp_path: Path) -> None:
    listed = json.loads(plexor("sql", archive, "--views", "--format", "json").out)
    names = {row["name"] for row in listed}
    assert {"current_notes", "current_findings", "current_reflexes", "failed_notes", "run_log"} <= names
    assert all(row["meaning"] for row in listed if row["column"] is None)
    with duckdb.connect() as connection:
        for name in names:
            out = tmp_path / f"{name}.parquet"
            assert plexor("sql", archive, f"FROM {name}", "--format", "parquet", "--out", out).status == 0
            rows = json.loads(plexor("sql", archive, f"FROM {name}", "--format", "json").out)
            kept = connection.execute("SELECT count(*) FROM read_parquet(?)", [str(out)]).fetchall()
            assert kept == [(len(rows),)]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], "give a QUERY, or --views"),
        (["SELECT 1", "--views"], "give a QUERY, or --views"),
        (["DELETE FROM notes"], "The query is not allowed"),
        (["SELECT nothing"], "The query is not right"),
        (["SELECT 1; SELECT 2"], "one SQL statement at a time"),
        (["SELECT 1 AS a, 2 AS a", "--format", "json"], "two columns of the query have one name"),
        (["SELECT 1", "--format", "parquet"], "say where to write it with --out"),
    ],
)
def test_sql_that_cannot_be_answered_ends_with_2_and_one_sentence(
    archive: Path, arguments: list[str], words: str
) -> None:
    ran = plexor("sql", archive, *arguments)
    assert (ran.status, ran.out) == (2, "")
    assert words in ran.err
    assert len(ran.err.splitlines()) == 1
    assert plexor("find", "--archive", archive, "--format", "jsonl").status == 0


def test_failed_notes_are_said_listed_and_retried(
    notes: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def faulty(note: Note, *rest: Any) -> Reading:
        if note.id == "n3":
            raise RuntimeError(note.text)
        return read_note(note, *rest)

    archive = tmp_path / "a.duckdb"
    with monkeypatch.context() as here:
        here.setattr("converter.reading.reader.read_note", faulty)
        ran = plexor("load", notes, "--archive", archive, "--format", "jsonl")
    assert (ran.status, json.loads(ran.out)["failed"]) == (1, 1)
    assert f"error {notes.as_posix()}:4: The program failed on this note" in ran.err
    assert "failed_notes" in ran.err
    listed = json.loads(plexor("sql", archive, "FROM failed_notes", "--format", "json").out)
    assert [row["id"] for row in listed] == ["n3"]
    again = plexor("load", notes, "--archive", archive, "--retry-failed", "--format", "jsonl")
    totals = json.loads(again.out)
    assert (again.status, totals["notes_in"], totals["with_findings"]) == (0, 1, 1)
    assert json.loads(plexor("sql", archive, "FROM failed_notes", "--format", "json").out) == []


def test_a_run_keeps_its_settings_and_when_it_ended(notes: Path, tmp_path: Path) -> None:
    (tmp_path / "plexor.toml").write_text("[reading]\npair_order = 'left-right'\n", encoding="utf-8")
    archive = tmp_path / "a.duckdb"
    plexor("load", notes, "--archive", archive, "--config", tmp_path / "plexor.toml")
    asked = "SELECT finished >= started AS ended, settings FROM runs"
    (run,) = json.loads(plexor("sql", archive, asked, "--format", "json").out)
    assert run["ended"] is True
    assert json.loads(run["settings"])["reading.pair_order"] == "left-right"


def test_a_terminal_gets_a_bar_on_standard_error_and_totals_on_output(notes: Path, tmp_path: Path) -> None:
    ours, theirs = pty.openpty()
    command = [sys.executable, "-c", "from converter.cli.app import main; main()", "load", str(notes)]
    seen: list[bytes] = []
    watcher = threading.Thread(target=_watch, args=(ours, seen), daemon=True)
    watcher.start()  # a terminal holds some kilobytes alone: a slow load shows more
    done = subprocess.run(
        [*command, "--archive", str(tmp_path / "a.duckdb"), "--format", "jsonl"],
        stdout=subprocess.PIPE,
        stderr=theirs,
        timeout=120,
        check=True,
        env={**os.environ, "TERM": "xterm", "COLUMNS": "100"},
    )
    os.close(theirs)
    watcher.join(timeout=10)
    os.close(ours)
    shown = b"".join(seen).decode()
    assert json.loads(done.stdout)["notes_in"] == 4
    assert "4/4" in shown
    assert "notes a second" in shown


def _watch(terminal: int, seen: list[bytes]) -> None:
    """Collect what is shown until the other end is closed, which Linux tells by an error."""
    with suppress(OSError):
        while piece := os.read(terminal, 4096):
            seen.append(piece)


def test_a_load_that_is_stopped_says_how_to_go_on_and_can(notes: Path, tmp_path: Path) -> None:
    command = [sys.executable, "-c", "from converter.cli.app import main; main()", "load", "-"]
    archive = tmp_path / "a.duckdb"
    with subprocess.Popen(
        [*command, "--archive", str(archive)],
        stdin=subprocess.PIPE,
        stderr=subprocess.PIPE,
        preexec_fn=stop_from_keyboard_works,
    ) as running:
        assert running.stderr is not None
        while not archive.exists():
            assert running.poll() is None
        time.sleep(1)
        running.send_signal(signal.SIGINT)
        said = running.stderr.read().decode()
        assert running.wait(timeout=60) == 130
    assert said == "Stopped. What was loaded is kept; run the same command again to go on.\n"
    assert plexor("load", notes, "--archive", archive).status == 0
