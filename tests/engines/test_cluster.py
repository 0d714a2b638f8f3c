"""The work on a real cluster: the same bytes as on one machine, whatever happens to the machines.

The tests of killed machines stand last: what comes after them starts cold.
"""

import json
import re
import signal
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from cluster_sets import content, day, parquet, records, rows_of, select_lines, totals_of, write_notes
from commands import plexor
from spark_cluster import ROOT, Cluster, running_cluster

import converter
from converter.cli.troubles import line_of
from converter.model import Diagnostic, Note, Severity
from converter.model.record import finding_to_record
from converter.shipped_files import profiles_folder
from converter.sources import SourceOptions, note_from_text, open_notes

DEMO = ROOT / "fixtures" / "demo"
MANY = 20_000


@pytest.fixture(scope="session")
def cluster(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Cluster]:
    with running_cluster(tmp_path_factory.mktemp("cluster")) as running:
        yield running


@pytest.fixture(scope="session")
def many(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Many invented notes, one in twenty with reflexes, and what one machine makes of them beside it."""
    folder = tmp_path_factory.mktemp("many")
    notes = folder / "notes.jsonl"
    write_notes(notes, MANY)
    assert plexor("read", notes, "--format", "jsonl", "--workers", "1", "--out", folder / "alone").status == 0
    return folder


@pytest.fixture
def same_time(cluster: Cluster, monkeypatch: pytest.MonkeyPatch) -> None:
    """Runs of one time, here and there."""
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1900000000")
    cluster.do("environment", SOURCE_DATE_EPOCH="1900000000")


@pytest.mark.parametrize("form", ["jsonl", "text"])
def test_the_demo_reads_to_the_same_bytes(cluster: Cluster, tmp_path: Path, form: str) -> None:
    inputs = (DEMO / "notes.csv", DEMO / "texts", "--format", form, "--out")
    alone = plexor("read", *inputs, tmp_path / "alone")
    spread = cluster.plexor("read", *inputs, tmp_path / "spread")
    assert (tmp_path / "spread").read_bytes() == (tmp_path / "alone").read_bytes()
    assert (spread["status"], spread["out"], spread["err"]) == (alone.status, alone.out, alone.err)


@pytest.mark.usefixtures("same_time")
def test_the_demo_converts_to_the_same_files(cluster: Cluster, tmp_path: Path) -> None:
    inputs = (DEMO / "notes.csv", DEMO / "texts", "--out")
    alone = plexor("convert", *inputs, tmp_path / "alone")
    spread = cluster.plexor("convert", *inputs, tmp_path / "spread")
    assert content(tmp_path / "spread") == content(tmp_path / "alone")
    assert (spread["status"], spread["err"]) == (alone.status, alone.err)


def test_many_notes_read_to_the_same_bytes(cluster: Cluster, many: Path) -> None:
    spread = cluster.plexor("read", many / "notes.jsonl", "--format", "jsonl", "--out", many / "spread")
    assert spread["status"] == 0
    assert (many / "spread").read_bytes() == (many / "alone").read_bytes()


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


def read_dataset(
    cluster: Cluster, notes: Path, out: Path, *options: str, mark: Path | None = None
) -> dict[str, Any]:
    return cluster.plexor("read", notes, "--format", "parquet", "--out", out, *options, mark=mark)


def test_a_data_set_reads_to_the_same_bytes(cluster: Cluster, many: Path) -> None:
    lines = select_lines(many / "notes.jsonl").replace("*", "*, authored[:4] AS year", 1)
    answer = read_dataset(cluster, parquet(many / "set", lines), many / "out")
    assert (answer["status"], answer["err"]) == (0, "")
    readings = rows_of(many / "out" / "readings")
    assert "".join(row["record"] + "\n" for row in readings) == (many / "alone").read_text(encoding="utf-8")
    assert [row["date"] for row in readings] == [day(at)[:7] for at in range(MANY)]
    assert_counted_and_flat(many / "out", records(many / "alone"))


def assert_counted_and_flat(out: Path, alone: list[dict[str, Any]]) -> None:
    """The totals, and the findings one by one, are those of the records."""
    findings = [finding for record in alone for finding in record["findings"]]
    assert totals_of(out) == {
        "rows": len(alone), "read": len(alone), "failed": 0, "left_out": 0, "findings": len(findings),
        "unread": sum(len(record["unread"]) for record in alone), "errors": 0, "ended": 0,
    }  # fmt: skip
    flat = rows_of(out / "findings")
    key = lambda one: (one["quote"], one["finding"])  # noqa: E731
    assert sorted(({name: row[name] for name in findings[0]} for row in flat), key=key) == sorted(
        findings, key=key
    )


@pytest.fixture(scope="session")
def poisoned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data set of uneven files; on two notes the program fails, one row has no text."""
    texts = "CASE n WHEN 3 THEN 'fail here' WHEN 40 THEN 'end the process here' WHEN 50 THEN NULL"
    select = f"SELECT n::VARCHAR AS id, {texts} ELSE 'KJ 2+ left' END AS text"
    return parquet(
        tmp_path_factory.mktemp("poisoned") / "set",
        f"{select}, '2031-01-01' AS authored FROM range(0, 900) r(n)",
        f"{select} FROM range(900, 901) r(n)",
        f"{select}, '2031' AS authored FROM range(0) r(n)",
    )


def test_a_note_that_fails_and_one_that_ends_processes_fail_alone(
    cluster: Cluster, poisoned: Path, tmp_path: Path
) -> None:
    plexor("read", poisoned, "--format", "jsonl", "--out", tmp_path / "alone")
    answer = cluster.do(
        "troubled", notes=str(poisoned), out=str(tmp_path / "spread"), machines=[], mark=str(tmp_path / "no")
    )
    wanted, given = records(tmp_path / "alone"), records(tmp_path / "spread")
    different = [one for one, other in zip(given, wanted, strict=True) if one != other]
    assert [one["id"] for one in different] == ["3", "40"]
    codes = [[trouble["code"] for trouble in one["diagnostics"]] for one in different]
    assert codes == [["note-not-done"], ["note-stops-worker"]]
    assert "words of a note" not in json.dumps(different)
    account = answer["account"]
    assert (account["notes"], account["done"], account["failed"]) == (900, 898, 2)


def test_a_data_set_of_uneven_empty_and_poisonous_parts(
    cluster: Cluster, poisoned: Path, tmp_path: Path
) -> None:
    answer = read_dataset(cluster, poisoned, tmp_path / "out", mark=tmp_path / "none")
    assert answer["status"] == 1
    assert answer["err"].count("error ") == 3
    assert totals_of(tmp_path / "out") == {
        "rows": 901, "read": 898, "failed": 2, "left_out": 1,
        "findings": 898, "unread": 0, "errors": 2, "ended": 2,
    }  # fmt: skip
    told = {}
    for row in rows_of(tmp_path / "out" / "readings"):
        codes = [one["code"] for one in json.loads(row["troubles"] or "[]")]
        codes += [one["code"] for one in json.loads(row["record"] or '{"diagnostics": []}')["diagnostics"]]
        assert all(f"({code})" in answer["err"] for code in codes)
        if codes != [] or row["findings"] != 1 or (row["date"] == "unknown") != (row["id"] == "900"):
            told[row["id"]] = codes
    assert told == {"3": ["note-not-done"], "40": ["note-stops-worker"], "50": ["no-text"]}


@pytest.mark.parametrize(
    "selects",
    [
        (
            "SELECT 12345678.0::DOUBLE AS ID, 'KJ' AS note, 7 AS patient, DATE '2031-02-03' authored, 6 age",
            "SELECT 2.5::DOUBLE AS ID, 'AJ 1+' note, 8 AS patient, DATE '2031-02-04' authored, NULL age",
        ),
        (
            "SELECT '1' AS id, 'AJ' note, TIMESTAMP '2031-02-03 04:05:06' AS authored, 'x'::BLOB AS author",
            "SELECT NULL::TEXT AS id, 'KJ' note, TIMESTAMP '2031-02-03 04:05:06.5' authored, 'y' AS author",
        ),
        ("SELECT '1' AS id, 'AJ 0' AS note, TIMESTAMPTZ '2031-02-03 04:05+02' AS authored",),
    ],
    ids=["numbers", "times", "zone"],
)
def test_values_of_a_data_set_are_taken_as_on_one_machine(
    cluster: Cluster, tmp_path: Path, selects: tuple[str, ...]
) -> None:
    notes = parquet(tmp_path / "set", *selects)
    answer = cluster.do("taken", notes=str(notes), columns={"text": "note"})
    assert (answer["counts"]["rows"], answer["counts"]["done"]) == (len(selects), len(selects))
    options = SourceOptions(columns={"text": "note"})
    alone = [one for one in open_notes([str(notes)], options) if isinstance(one, Note)]
    names = ("id", "patient", "author", "authored")
    wanted = sorted(tuple(str(getattr(one, name)) for name in names) for one in alone)
    assert sorted(tuple(str(row[name]) for name in names) for row in answer["notes"]) == wanted


def test_a_data_set_without_notes_gives_one_without_rows(cluster: Cluster, tmp_path: Path) -> None:
    none = parquet(tmp_path / "none", "SELECT '1' AS id, 'AJ 0' AS note, '2031' AS authored FROM range(0)")
    answer = read_dataset(cluster, none, tmp_path / "out", "--column", "text=note")
    assert (answer["status"], answer["err"]) == (0, "")
    assert set(totals_of(tmp_path / "out").values()) == {0}


def test_a_data_set_that_cannot_be_read_is_refused_with_a_sentence(cluster: Cluster, tmp_path: Path) -> None:
    twice = parquet(tmp_path / "twice", "SELECT 'N' AS id, 'KJ ' || n AS text FROM range(2) r(n)")
    alike = parquet(
        tmp_path / "alike", "SELECT NULL::TEXT AS id, 'KJ ' || n AS text, 2030 + n AS year FROM range(2) r(n)"
    )
    other = parquet(tmp_path / "other", "SELECT 'N' AS id, 'KJ 2+' AS words")
    good = parquet(tmp_path / "good", "SELECT 'N' AS id, 'KJ 2+' AS text")
    (tmp_path / "out" / "readings").mkdir(parents=True)
    for notes, out, said in (
        (twice, "a", "1 identities stand for more than one note"),
        (alike, "a", "files named alike"),
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


def convert_dataset(
    cluster: Cluster, notes: Path, out: Path, *options: str | Path, mark: Path | None = None
) -> dict[str, Any]:
    return cluster.plexor("convert", notes, "--as", "parquet", "--out", out, *options, mark=mark)


@pytest.fixture
def strict(tmp_path: Path) -> Path:
    """Settings of a site that asks for an examiner in every finding."""
    shipped = profiles_folder() / "definitions" / "StructureDefinition-reflex-finding.json"
    stricter = json.loads(shipped.read_text(encoding="utf-8"))
    stricter["differential"]["element"].append(
        {"id": "Observation.performer", "path": "Observation.performer", "min": 1}
    )
    (tmp_path / "own").mkdir()
    (tmp_path / "own" / "finding.json").write_text(json.dumps(stricter), encoding="utf-8")
    (tmp_path / "plexor.toml").write_text('[profiles]\nfolders = ["own"]\n', encoding="utf-8")
    return tmp_path / "plexor.toml"


@pytest.fixture
def visits(tmp_path: Path) -> Path:
    """Notes of the demo with all that can befall one: no examiner, no id, no text, a fault of the program."""
    more = "SELECT * FROM (VALUES ('none', 'KJ 2+ left', NULL), (NULL, 'AJ absent', '2031-02-03'),"
    poison = (
        "('failing', 'fail here', '2031'), ('ending', 'end the process here', '2031'), ('empty', NULL, '')"
    )
    return parquet(
        tmp_path / "set",
        f"SELECT * FROM read_csv('{DEMO / 'notes.csv'}', all_varchar = true) LIMIT 12",
        f"{more} {poison}) AS more(id, text, authored)",
    )


@pytest.mark.usefixtures("same_time")
def test_a_data_set_converts_to_the_same_resources(
    cluster: Cluster, visits: Path, strict: Path, tmp_path: Path
) -> None:
    alone = plexor("convert", visits, "--as", "ndjson", "--out", tmp_path / "alone", "--config", strict)
    out = tmp_path / "out"
    answer = convert_dataset(cluster, visits, out, "--config", strict, mark=tmp_path / "no")
    lines = lines_by_type(tmp_path / "alone")
    poison = [line for line in lines["DocumentReference"] if '"failing"' in line or '"ending"' in line]
    lines["DocumentReference"] = [line for line in lines["DocumentReference"] if line not in poison]
    rows = rows_of(out / "resources", order="id, place")
    assert_resources(rows, lines)
    accounts = {row["id"]: row for row in rows_of(out / "notes")}
    outcomes = {name: row["outcome"] for name, row in accounts.items() if row["outcome"] != "converted"}
    assert outcomes == {
        "none": "refused", "1:2": "refused", "failing": "failed", "ending": "failed", "empty": "left_out"
    }  # fmt: skip
    own = sum(row["type"] != "Device" for row in rows)
    assert sum(row["resources"] for row in accounts.values()) == own
    assert {row["date"] for row in rows if row["id"] is None} == {"unknown"}
    errors = sum(row["errors"] for row in accounts.values())
    assert totals_of(out) == {
        "rows": 17, "converted": 12, "refused": 2, "failed": 2, "left_out": 1,
        "resources": len(rows), "errors": errors, "ended": 2,
    }  # fmt: skip
    assert_told(accounts, alone.err, answer["err"])
    assert answer["status"] == alone.status == 1


def lines_by_type(folder: Path) -> dict[str, list[str]]:
    return {file.stem: file.read_text(encoding="utf-8").splitlines() for file in folder.glob("*.ndjson")}


def assert_resources(rows: list[dict[str, Any]], lines: dict[str, list[str]]) -> None:
    """The rows hold the lines that one machine wrote, byte for byte; those of a note in the same order."""
    assert sorted(row["resource"] for row in rows) == sorted(line for kind in lines.values() for line in kind)
    place = {line: number for kind in lines.values() for number, line in enumerate(kind)}
    of_note = defaultdict(list)
    for row in rows:
        resource = json.loads(row["resource"])
        assert (row["type"], row["resource_id"]) == (resource["resourceType"], resource["id"])
        assert row["date"] == (row["authored"] or "unknown")[:7]
        of_note[row["id"], row["type"]].append(place[row["resource"]])
    assert all(places == sorted(places) for places in of_note.values())
    for name in {row["id"] for row in rows} - {None}:
        places = [row["place"] for row in rows if row["id"] == name]
        assert places == list(range(len(places)))


def assert_told(accounts: dict[str, dict[str, Any]], alone: str, spread: str) -> None:
    """What the account says of the notes is what one machine says, faults aside; the errors are shown."""
    told = {name: list(lines_told(row)) for name, row in accounts.items()}
    faults = [line for name in ("failing", "ending") for line in told.pop(name)]
    assert [line.partition(" ")[0] for line in faults if "(note-" in line] == ["error", "error"]
    wanted = [line for line in alone.splitlines() if not re.search(r"1\.parquet:[34]\b", line)]
    said = [line for lines in told.values() for line in lines]
    assert sorted(re.sub("file:/+", "/", line) for line in said) == sorted(wanted)
    assert sorted(line for line in (*said, *faults) if line.startswith("error ")) == sorted(
        spread.splitlines()
    )


def lines_told(row: dict[str, Any]) -> Iterator[str]:
    """What an account says of a note, as a command shows it."""
    note = Note(id=row["id"], text="", hash="", source=row["source"], line=row["line"])
    for record in json.loads(row["troubles"] or "[]"):
        yield line_of(Diagnostic(**record | {"severity": Severity(record["severity"])}), note)


@pytest.fixture(scope="session")
def doomed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data set of four files; on a note of the third a machine is killed, once."""
    texts = "'knee jerk 2+ left' || CASE n WHEN 225 THEN ' end the machine here' ELSE '' END"
    select = f"SELECT 'N-' || n AS id, {texts} AS text, '2031-01-0' || (1 + n % 9) AS authored FROM"
    files = (f"{select} range({n}, {n + 100}) r(n)" for n in range(0, 400, 100))
    return parquet(tmp_path_factory.mktemp("doomed") / "set", *files)


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
    assert_one_killed(cluster, tmp_path / "killed")
    assert (tmp_path / "spread").read_bytes() == (tmp_path / "alone").read_bytes()
    account = answer["account"]
    assert (account["notes"], account["done"], account["failed"]) == (number, number, 0)
    assert account["retried"] >= 1
    assert set(answer["told"]) == {"worker-lost"}


def assert_one_killed(cluster: Cluster, mark: Path) -> None:
    assert mark.exists()
    assert sorted(worker.poll() == -signal.SIGKILL for worker in cluster.workers) == [False, True]


def test_killing_a_machine_changes_nothing_in_a_data_set_or_its_counts(
    cluster: Cluster, doomed: Path, tmp_path: Path
) -> None:
    cluster.mend()
    plexor("read", doomed, "--format", "jsonl", "--out", tmp_path / "alone")
    answer = read_dataset(cluster, doomed, tmp_path / "out", "--part", "day", mark=tmp_path / "killed")
    assert_one_killed(cluster, tmp_path / "killed")
    assert answer["status"] == 0
    held = [row["record"] for row in rows_of(tmp_path / "out" / "readings")]
    assert sorted(held) == sorted((tmp_path / "alone").read_text(encoding="utf-8").splitlines())
    assert_counted_and_flat(tmp_path / "out", records(tmp_path / "alone"))
    assert totals_of(tmp_path / "out")["findings"] == 400


@pytest.mark.usefixtures("same_time")
def test_killing_a_machine_changes_nothing_in_a_data_set_of_resources(
    cluster: Cluster, doomed: Path, tmp_path: Path
) -> None:
    cluster.mend()
    plexor("convert", doomed, "--as", "ndjson", "--out", tmp_path / "alone", "--no-check")
    answer = convert_dataset(cluster, doomed, tmp_path / "out", "--no-check", mark=tmp_path / "killed")
    assert_one_killed(cluster, tmp_path / "killed")
    assert answer["status"] == 0
    lines = lines_by_type(tmp_path / "alone")
    assert_resources(rows_of(tmp_path / "out" / "resources", order="id, place"), lines)
    assert totals_of(tmp_path / "out") == {
        "rows": 400, "converted": 400, "refused": 0, "failed": 0, "left_out": 0,
        "resources": sum(map(len, lines.values())), "errors": 0, "ended": 0,
    }  # fmt: skip


@pytest.mark.parametrize(
    ("options", "said"),
    [
        (("read", "--engine", "spark"), "name the cluster with --master"),
        (("read", "--master", "spark://h:1"), "say --engine spark"),
        (("read", "--engine", "spark", "--master", "local", "--workers", "2"), "--workers counts processes"),
        (("read", "--format", "parquet", "--out", "out"), "name it with --engine spark"),
        (("read", "--engine", "spark", "--master", "local", "--format", "parquet"), "say where to write it"),
        (("read", "--format", "parquet", "--marked"), "no view or encoding goes with it"),
        (("convert", "--as", "parquet", "--out", "out"), "name it with --engine spark"),
        (("convert", "--as", "parquet", "--out", "o", "--input-format", "csv"), "the inputs are Parquet"),
    ],
)
def test_options_that_contradict_each_other_are_refused(options: tuple[str, ...], said: str) -> None:
    command, *more = options
    ran = plexor(command, DEMO / "notes.csv", *more)
    assert ran.status == 2
    assert said in ran.err
