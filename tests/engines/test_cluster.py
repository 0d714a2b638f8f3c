"""The work on a real cluster: the same bytes as on one machine, whatever happens to the machines."""

import json
import random
import signal
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import duckdb
import pytest
from commands import plexor
from spark_cluster import ROOT, Cluster, running_cluster

import converter
from converter.model import Note
from converter.model.record import finding_to_record
from converter.sources import SourceOptions, note_from_text, open_notes

DEMO = ROOT / "fixtures" / "demo"
MANY = 20_000
_NAMES = ("biceps", "triceps", "KJ", "AJ", "knee jerk", "ankle jerk", "brachioradialis")
_VALUES = ("2+", "3+", "0", "1+", "absent", "brisk", "2+/4", "+", "++")
_SIDES = ("left", "right", "bilaterally")
_PROSE = (
    "The cough is better. Appetite and sleep are good.",
    "Blood pressure was in the usual range; no change of treatment.",
    "Strength 5/5 throughout, pulses 2+.",
)


@pytest.fixture(scope="session")
def cluster(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Cluster]:
    with running_cluster(tmp_path_factory.mktemp("cluster")) as running:
        yield running


@pytest.fixture(scope="session")
def many(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Many invented notes, one in eight with reflexes, and what one machine makes of them beside it."""
    folder = tmp_path_factory.mktemp("many")
    notes = folder / "notes.jsonl"
    write_notes(notes, MANY)
    assert plexor("read", notes, "--format", "jsonl", "--workers", "1", "--out", folder / "alone").status == 0
    return folder


def write_notes(file: Path, number: int, special: dict[int, str] | None = None) -> None:
    chance = random.Random(number)
    with file.open("w", encoding="utf-8") as opened:
        for at in range(number):
            text = chance.choice(_PROSE)
            if at % 8 == 0:
                text += (
                    f" {chance.choice(_NAMES)} {chance.choice(_VALUES)} {chance.choice(_SIDES)}. Toes down."
                )
            note = {"id": f"N-{at:05}", "text": f"{text} {(special or {}).get(at, '')}", "authored": day(at)}
            opened.write(json.dumps(note) + "\n")


def day(at: int) -> str:
    return f"20{20 + at % 3}-{1 + at % 12:02}-{1 + at % 28:02}"


@pytest.mark.parametrize("form", ["jsonl", "text"])
def test_the_demo_reads_to_the_same_bytes(cluster: Cluster, tmp_path: Path, form: str) -> None:
    inputs = (DEMO / "notes.csv", DEMO / "texts", "--format", form, "--out")
    alone = plexor("read", *inputs, tmp_path / "alone")
    spread = cluster.plexor("read", *inputs, tmp_path / "spread")
    assert (tmp_path / "spread").read_bytes() == (tmp_path / "alone").read_bytes()
    assert (spread["status"], spread["out"], spread["err"]) == (alone.status, alone.out, alone.err)


def test_the_demo_converts_to_the_same_files(
    cluster: Cluster, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1900000000")
    inputs = (DEMO / "notes.csv", DEMO / "texts", "--out")
    alone = plexor("convert", *inputs, tmp_path / "alone")
    cluster.do("environment", SOURCE_DATE_EPOCH="1900000000")
    spread = cluster.plexor("convert", *inputs, tmp_path / "spread")
    assert content(tmp_path / "spread") == content(tmp_path / "alone")
    assert (spread["status"], spread["err"]) == (alone.status, alone.err)


def content(folder: Path) -> dict[str, bytes]:
    files = [file for file in folder.rglob("*") if file.is_file()]
    assert files
    return {file.relative_to(folder).as_posix(): file.read_bytes() for file in files}


def test_many_notes_read_to_the_same_bytes(cluster: Cluster, many: Path) -> None:
    spread = cluster.plexor("read", many / "notes.jsonl", "--format", "jsonl", "--out", many / "spread")
    assert spread["status"] == 0
    assert (many / "spread").read_bytes() == (many / "alone").read_bytes()


def test_a_machine_that_is_killed_changes_nothing(cluster: Cluster, tmp_path: Path) -> None:
    notes, number = tmp_path / "notes.jsonl", 4000
    write_notes(notes, number, {1500: "end the machine here"})
    plexor("read", notes, "--format", "jsonl", "--out", tmp_path / "alone")
    answer = cluster.do(
        "troubled",
        notes=str(notes),
        out=str(tmp_path / "spread"),
        machines=cluster.machines(),
        mark=str(tmp_path / "killed"),
    )
    assert (tmp_path / "killed").exists()
    assert sorted(worker.poll() == -signal.SIGKILL for worker in cluster.workers) == [False, True]
    assert (tmp_path / "spread").read_bytes() == (tmp_path / "alone").read_bytes()
    account = answer["account"]
    assert (account["notes"], account["done"], account["failed"]) == (number, number, 0)
    assert account["retried"] >= 1
    assert set(answer["told"]) == {"worker-lost"}
    cluster.mend()


def test_a_note_that_fails_and_one_that_ends_processes_fail_alone(cluster: Cluster, tmp_path: Path) -> None:
    notes, number = tmp_path / "notes.jsonl", 1000
    write_notes(notes, number, {300: "fail here", 700: "end the process here"})
    plexor("read", notes, "--format", "jsonl", "--out", tmp_path / "alone")
    answer = cluster.do(
        "troubled", notes=str(notes), out=str(tmp_path / "spread"), machines=[], mark=str(tmp_path / "none")
    )
    wanted, given = records(tmp_path / "alone"), records(tmp_path / "spread")
    different = [at for at, (one, other) in enumerate(zip(wanted, given, strict=True)) if one != other]
    assert different == [300, 700]
    codes = [[one["code"] for one in given[at]["diagnostics"]] for at in different]
    assert codes == [["note-not-done"], ["note-stops-worker"]]
    assert "words of a note" not in json.dumps([given[at] for at in different])
    account = answer["account"]
    assert (account["notes"], account["done"], account["failed"]) == (number, number - 2, 2)


def records(file: Path) -> list[dict[str, Any]]:
    return [json.loads(line) for line in file.read_text(encoding="utf-8").splitlines()]


def test_notes_of_very_different_length_and_none_at_all(cluster: Cluster, tmp_path: Path) -> None:
    notes = tmp_path / "notes.jsonl"
    long = " ".join(f"Visit {n}: knee jerk 2+ left." for n in range(300))
    write_notes(notes, 900, {0: long, 1: long, 450: "\n"})
    for file in (notes, tmp_path / "empty.jsonl"):
        file.touch()
        inputs = ("read", file, "--format", "jsonl", "--out")
        alone = plexor(*inputs, tmp_path / "alone")
        spread = cluster.plexor(*inputs, tmp_path / "spread")
        assert (tmp_path / "spread").read_bytes() == (tmp_path / "alone").read_bytes()
        assert (spread["status"], spread["err"]) == (alone.status, alone.err)


def test_a_machine_with_another_version_of_the_program_is_refused(cluster: Cluster, tmp_path: Path) -> None:
    notes = tmp_path / "notes.jsonl"
    write_notes(notes, 10)
    answer = cluster.do("other_version", notes=str(notes))
    assert "has plexor" in answer["error"]
    assert "not the version that runs here" in answer["error"]


def parquet(folder: Path, *selects: str) -> Path:
    """A data set with a file for each query; rows with a `year` go into parts by it."""
    folder.mkdir()
    with duckdb.connect() as database:
        for number, select in enumerate(selects):
            by = ", PARTITION_BY (year), FILENAME_PATTERN 'p{i}'" if "year" in select else ""
            target = folder if by else folder / f"{number}.parquet"
            database.execute(f"COPY ({select}) TO '{target}' (FORMAT parquet{by})")
    return folder


def rows_of(files: Path, what: str = "*") -> list[dict[str, Any]]:
    """The rows of a data set in the order of the notes."""
    with duckdb.connect() as database:
        found = database.execute(
            f"SELECT {what} FROM read_parquet('{files}/**/*.parquet', hive_partitioning = true, "
            "hive_types_autocast = false, union_by_name = true) ORDER BY ALL"
        )
        names = [column[0] for column in found.description or ()]
        return [dict(zip(names, row, strict=True)) for row in found.fetchall()]


def read_dataset(cluster: Cluster, notes: Path, out: Path, *options: str) -> dict[str, Any]:
    return cluster.plexor("read", notes, "--format", "parquet", "--out", out, *options)


def totals_of(out: Path) -> dict[str, int]:
    totals: dict[str, int] = json.loads((out / "run.json").read_text(encoding="utf-8"))["totals"]
    return totals


def test_a_data_set_reads_to_the_same_bytes(cluster: Cluster, many: Path) -> None:
    lines = (
        f"SELECT *, authored[:4] AS year FROM read_json('{many / 'notes.jsonl'}', convert_strings_to_integers"
    )
    notes = parquet(
        many / "set", f"{lines} = false, columns = {{id: 'VARCHAR', text: 'VARCHAR', authored: 'VARCHAR'}})"
    )
    answer = read_dataset(cluster, notes, many / "out")
    assert (answer["status"], answer["err"]) == (0, "")
    alone = records(many / "alone")
    readings = rows_of(many / "out" / "readings")
    assert "".join(row["record"] + "\n" for row in readings) == (many / "alone").read_text(encoding="utf-8")
    assert [row["date"] for row in readings] == [day(at)[:7] for at in range(MANY)]
    findings = [finding for record in alone for finding in record["findings"]]
    assert totals_of(many / "out") == {
        "rows": MANY, "read": MANY, "failed": 0, "left_out": 0, "findings": len(findings),
        "unread": sum(len(record["unread"]) for record in alone), "errors": 0, "ended": 0,
    }  # fmt: skip
    flat = rows_of(many / "out" / "findings")
    key = lambda one: (one["quote"], one["finding"])  # noqa: E731
    assert sorted(({name: row[name] for name in findings[0]} for row in flat), key=key) == sorted(
        findings, key=key
    )


def test_killing_a_machine_changes_nothing_in_a_data_set_or_its_counts(
    cluster: Cluster, tmp_path: Path
) -> None:
    texts = "'knee jerk 2+ left' || CASE n WHEN 2500 THEN ' end the machine here' ELSE '' END"
    select = f"SELECT 'N-' || n AS id, {texts} AS text, '2031-01-0' || (1 + n % 9) AS authored FROM"
    notes = parquet(
        tmp_path / "set", *(f"{select} range({n}, {n + 1000}) r(n)" for n in range(0, 4000, 1000))
    )
    assert read_dataset(cluster, notes, tmp_path / "undisturbed", "--part", "day")["status"] == 0
    answer = cluster.do(
        "troubled_dataset",
        notes=str(notes),
        out=str(tmp_path / "out"),
        machines=cluster.machines(),
        mark=str(tmp_path / "killed"),
    )
    assert (tmp_path / "killed").exists()
    assert answer["status"] == 0
    cluster.mend()
    assert totals_of(tmp_path / "out") == totals_of(tmp_path / "undisturbed")
    assert totals_of(tmp_path / "out")["findings"] == 4000
    for part in ("readings", "findings"):
        held = rows_of(tmp_path / "out" / part, "* EXCLUDE (date)")
        assert held == rows_of(tmp_path / "undisturbed" / part, "* EXCLUDE (date)")


def test_a_data_set_of_uneven_empty_and_poisonous_parts(cluster: Cluster, tmp_path: Path) -> None:
    texts = {3: "fail here", 40: "end the process here"}
    case = " ".join(f"WHEN {n} THEN '{text}'" for n, text in texts.items())
    select = f"SELECT n::VARCHAR AS id, CASE n {case} WHEN 50 THEN NULL ELSE 'KJ 2+ left' END AS text"
    notes = parquet(
        tmp_path / "set",
        f"{select}, '2031-01-01' AS authored FROM range(0, 900) r(n)",
        f"{select} FROM range(900, 901) r(n)",
        f"{select}, '2031' AS authored FROM range(0) r(n)",
    )
    answer = cluster.do(
        "troubled_dataset",
        notes=str(notes),
        out=str(tmp_path / "out"),
        machines=[],
        mark=str(tmp_path / "none"),
    )
    assert answer["status"] == 1
    assert totals_of(tmp_path / "out") == {
        "rows": 901, "read": 898, "failed": 2, "left_out": 1,
        "findings": 898, "unread": 0, "errors": 2, "ended": 2,
    }  # fmt: skip
    told = {}
    for row in rows_of(tmp_path / "out" / "readings"):
        codes = [one["code"] for one in json.loads(row["troubles"] or "[]")]
        codes += [one["code"] for one in json.loads(row["record"] or '{"diagnostics": []}')["diagnostics"]]
        if codes != [] or row["findings"] != 1 or (row["date"] == "unknown") != (row["id"] == "900"):
            told[row["id"]] = codes
    assert told == {"3": ["note-not-done"], "40": ["note-stops-worker"], "50": ["no-text"]}


def test_values_of_a_data_set_are_taken_as_on_one_machine(cluster: Cluster, tmp_path: Path) -> None:
    notes = parquet(
        tmp_path / "set",
        "SELECT 12345678.0::DOUBLE AS ID, 'KJ' AS note, 7 AS patient, DATE '2031-02-03' AS authored, 6 age",
        "SELECT 2.5::DOUBLE AS ID, 'AJ 1+' AS note, 8 AS patient, DATE '2031-02-04' AS authored, NULL AS age",
    )
    times = parquet(
        tmp_path / "times",
        "SELECT '1' AS id, 'AJ' AS note, TIMESTAMP '2031-02-03 04:05:06' AS authored, 'x'::BLOB AS author",
        "SELECT NULL::TEXT AS id, 'KJ' AS note, TIMESTAMP '2031-02-03 04:05:06.5' AS authored, 'y' AS author",
    )
    zoned = parquet(
        tmp_path / "zoned", "SELECT '1' AS id, 'AJ 0' AS note, TIMESTAMPTZ '2031-02-03 04:05+02' AS authored"
    )
    none = parquet(tmp_path / "none", "SELECT '1' AS id, 'AJ 0' AS note, '2031' AS authored FROM range(0)")
    for folder in (notes, times, zoned, none):
        out = tmp_path / f"{folder.name}-out"
        answer = read_dataset(cluster, folder, out, "--column", "text=note")
        assert (answer["status"], answer["err"]) == (0, "")
        options = SourceOptions(columns={"text": "note"})
        assert (
            totals_of(out)["rows"]
            == totals_of(out)["read"]
            == (0 if folder is none else 1 + (folder != zoned))
        )
        if folder is none:
            continue
        alone = [one for one in open_notes([str(folder)], options) if isinstance(one, Note)]
        names = ("id", "patient", "author", "authored")
        wanted = sorted(tuple(getattr(one, name) for name in names) for one in alone)
        assert sorted(tuple(row[name] for name in names) for row in rows_of(out / "readings")) == wanted


def test_a_data_set_that_cannot_be_read_is_refused_with_a_sentence(cluster: Cluster, tmp_path: Path) -> None:
    twice = parquet(tmp_path / "twice", "SELECT 'N' AS id, 'KJ ' || n AS text FROM range(2) r(n)")
    other = parquet(tmp_path / "other", "SELECT 'N' AS id, 'KJ 2+' AS words")
    good = parquet(tmp_path / "good", "SELECT 'N' AS id, 'KJ 2+' AS text")
    assert read_dataset(cluster, good, tmp_path / "out")["status"] == 0
    for notes, out, said in (
        (twice, "a", "1 identities stand for more than one note"),
        (other, "b", "there is no column text; the columns are id, words"),
        (tmp_path / "nowhere", "c", "nowhere"),
        (good, "out", "out/readings"),
    ):
        answer = read_dataset(cluster, notes, tmp_path / out)
        assert answer["status"] == 2
        assert said in answer["err"]
    assert not (tmp_path / "a").exists()


def test_the_python_function_gives_the_findings_of_a_frame(cluster: Cluster) -> None:
    texts = (
        "KJ 2+/3+, AJ absent bilat, toes down",
        "nothing of the kind",
        "DTRs 2+ throughout except absent L AJ",
    )
    notes = [
        {"id": f"n{at % 99}-{at}", "text": texts[at % 3], "patient": "p", "more": "m"} for at in range(90)
    ]
    answer = cluster.do("frame", rows=notes)
    wanted = []
    for note in notes:
        reading = converter.read(note_from_text(note["text"], note["id"]))
        about = {
            "id": note["id"],
            "patient": "p",
            "note_hash": reading.note_hash,
            "vocabulary": reading.vocabulary,
        }
        wanted += [about | finding_to_record(finding) for finding in reading.findings]
    key = lambda one: (one["id"], one["start"], one["finding"])  # noqa: E731
    given = [{name: row[name] for name in wanted[0]} for row in answer["findings"]]
    assert sorted(given, key=key) == sorted(wanted, key=key)
    assert (answer["once"]["rows"], answer["once"]["findings"]) == (90, len(wanted))
    assert answer["twice"] == answer["once"]


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("--engine", "spark"), "name the cluster with --master"),
        (("--master", "spark://h:1"), "say --engine spark"),
        (("--engine", "spark", "--master", "local", "--workers", "2"), "--workers counts processes"),
        (("--format", "parquet", "--out", "out"), "name it with --engine spark"),
        (("--engine", "spark", "--master", "local", "--format", "parquet"), "where to write it with --out"),
    ],
)
def test_options_that_contradict_each_other_are_refused(options: tuple[str, ...], said: str) -> None:
    ran = plexor("read", DEMO / "notes.csv", *options)
    assert ran.status == 2
    assert said in ran.err
