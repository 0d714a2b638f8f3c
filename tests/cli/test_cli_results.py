"""What the commands write: records, tables, FHIR files, checks, the archive."""

import csv
import io
import json
from pathlib import Path
from unittest import mock

import pytest
from archive_copies import copied
from commands import plexor, program

from converter.cli.output import Format, records_to, safe_cell
from converter.cli.tables import show_table
from converter.cli.troubles import visible
from converter.model import Diagnostic, Severity
from converter.model.record import reading_from_record, reading_to_record

NOTES = """id,text,system,patient,authored,author
n1,"Reflexes 2+ throughout, absent at the left ankle.",urn:example:notes,p1,2031-03-04,e1
n2,"Came for a dressing change.",urn:example:notes,p1,2031-03-05,e1
n3,"KJ +3/+2. Plantars down.",urn:example:notes,p2,2031-03-06T10:00:00+10:00,e2
"""

FAULT = Diagnostic(code="broken", severity=Severity.ERROR, message="it is broken")
FINDING = "https://plexor.example/fhir/StructureDefinition/reflex-finding"


@pytest.fixture
def notes(tmp_path: Path) -> Path:
    file = tmp_path / "notes.csv"
    file.write_text(NOTES, encoding="utf-8")
    return file


def test_jsonl_is_the_record_one_line_a_note_in_order(notes: Path) -> None:
    ran = plexor("read", notes, "--format", "jsonl")
    assert (ran.status, ran.err) == (0, "")
    records = [json.loads(line) for line in ran.out.splitlines()]
    assert [record["id"] for record in records] == ["n1", "n2", "n3"]
    assert records[1]["findings"] == []
    assert [reading_to_record(reading_from_record(record)) for record in records] == records
    assert {record["program"] for record in records} == {plexor("--version").out.strip()}
    for record, row in zip(records, csv.DictReader(io.StringIO(NOTES)), strict=True):
        assert all(
            finding["quote"] == row["text"][finding["start"] : finding["end"]]
            for finding in record["findings"]
        )


def test_json_is_an_array_of_the_same_records(notes: Path) -> None:
    lines = plexor("read", notes, "--format", "jsonl").out.splitlines()
    assert json.loads(plexor("read", notes, "--format", "json").out) == [json.loads(line) for line in lines]


def test_csv_has_a_row_a_finding_and_guards_what_a_spreadsheet_would_change(notes: Path) -> None:
    rows = list(csv.DictReader(io.StringIO(plexor("read", notes, "--format", "csv").out)))
    knees = {row["side"]: row["as_written"] for row in rows if row["site"] == "patellar"}
    assert knees == {"right": "'+3", "left": "'+2"}
    assert {row["id"] for row in rows} == {"n1", "n3"}
    assert {row["grade_low"] for row in rows if row["site"] == "patellar"} == {"3", "2"}


def test_text_shows_each_note_with_its_findings_and_words(notes: Path) -> None:
    out = plexor("read", notes).out
    assert "note n2  patient p1  2031-03-05\n  no reflex finding" in out
    assert "absent at the left ankle" in out
    assert out.splitlines()[-1].startswith("3 notes, ")


def test_out_writes_the_same_bytes_to_a_file(notes: Path, tmp_path: Path) -> None:
    out = tmp_path / "out.jsonl"
    assert plexor("read", notes, "--format", "jsonl", "--out", out).out == ""
    assert out.read_text(encoding="utf-8") == plexor("read", notes, "--format", "jsonl").out


def test_standard_input_can_be_read(notes: Path) -> None:
    assert plexor("read", "-", "--format", "jsonl", stdin=notes.read_bytes()).out.count("\n") == 3


def test_an_input_without_notes_gives_an_empty_array(tmp_path: Path) -> None:
    file = tmp_path / "a.csv"
    file.write_text("id,text\n", encoding="utf-8")
    assert json.loads(plexor("read", file, "--format", "json").out) == []


def test_summary_says_what_is_abnormal_on_which_words_and_carries_its_caution(notes: Path) -> None:
    out = plexor("summary", notes).out
    assert "Side difference of the Achilles reflex" in out
    assert "absent at the left ankle" in out
    assert "licensed clinician" in out
    assert "Without an exam of reflexes: 1 note." in out
    records = [json.loads(line) for line in plexor("summary", notes, "--format", "jsonl").out.splitlines()]
    assert {record["id"] for record in records} == {"n1", "n3"}
    assert all("licensed clinician" in record["caution"] for record in records)
    rows = list(csv.DictReader(io.StringIO(plexor("summary", notes, "--format", "csv").out)))
    assert any(row["code"] == "side-difference" and "left ankle" in row["words"] for row in rows)
    assert all("licensed clinician" in row["caution"] for row in rows)


def test_convert_gives_a_bundle_a_note_and_the_check_finds_no_error(notes: Path, tmp_path: Path) -> None:
    ran = plexor("convert", notes, "--out", tmp_path / "fhir")
    assert ran.status == 0
    bundles = [
        json.loads(file.read_text(encoding="utf-8")) for file in sorted((tmp_path / "fhir").glob("*.json"))
    ]
    assert len(bundles) == 3
    assert {bundle["type"] for bundle in bundles} == {"transaction"}
    checked = plexor("check", tmp_path / "fhir")
    assert checked.status == 0, checked.out
    assert ", 0 errors," in checked.out


def test_convert_writes_nothing_of_a_note_whose_resources_break_a_profile(
    notes: Path, tmp_path: Path
) -> None:
    shipped = plexor("convert", notes, "--out", tmp_path / "good")
    assert shipped.status == 0, shipped.err
    assert list((tmp_path / "good").glob("*.json"))
    with mock.patch("converter.check.Checker.check", return_value=[FAULT]):
        ran = plexor("convert", notes, "--out", tmp_path / "fhir")
        assert ran.status == 1
        assert "it is broken" in ran.err
        assert not [file for file in (tmp_path / "fhir").glob("*.json") if file.stem != "ledger"]
        assert plexor("convert", notes, "--out", tmp_path / "unchecked", "--no-check").status == 0


def test_convert_gives_ndjson_by_type(notes: Path, tmp_path: Path) -> None:
    assert plexor("convert", notes, "--out", tmp_path / "fhir", "--as", "ndjson").status == 0
    lines = (tmp_path / "fhir" / "Observation.ndjson").read_text(encoding="utf-8").splitlines()
    assert {json.loads(line)["resourceType"] for line in lines} == {"Observation"}
    assert plexor("check", tmp_path / "fhir").status == 0


def test_expand_and_quotes_are_chosen_on_the_command_line(notes: Path, tmp_path: Path) -> None:
    plexor("convert", notes, "--out", tmp_path / "plain", "--as", "ndjson")
    plexor("convert", notes, "--out", tmp_path / "wide", "--as", "ndjson", "--expand", "--no-quotes")
    plain, wide = (
        (tmp_path / name / "Observation.ndjson").read_text(encoding="utf-8") for name in ("plain", "wide")
    )
    assert wide.count("\n") > plain.count("\n")
    assert "absent at the left ankle" in plain
    assert "absent at the left ankle" not in wide


def test_the_same_input_twice_gives_the_same_bytes(notes: Path, tmp_path: Path) -> None:
    for name in ("one", "two"):
        ran = program("convert", notes, "--out", tmp_path / name, env={"SOURCE_DATE_EPOCH": "1930000000"})
        assert ran.status == 0
    files = [
        {file.name: file.read_bytes() for file in (tmp_path / name).iterdir()} for name in ("one", "two")
    ]
    assert files[0] == files[1]
    assert any(b"2031-02-27" in content for content in files[0].values())


def test_a_word_whose_meaning_changed_takes_back_what_no_longer_holds(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("a.txt").write_text("Knee jerk absent on the left.", encoding="utf-8")
    assert plexor("convert", "a.txt", "--out", "fhir", "--as", "ndjson").status == 0
    before = _statuses(tmp_path / "fhir" / "Observation.ndjson")
    Path("words.csv").write_text(
        "phrase,role,meaning,flags,source\nknee jerk[s],site,achilles,override trigger,ours\n",
        encoding="utf-8",
    )
    Path("plexor.toml").write_text("[vocabulary]\nfiles = ['words.csv']\n", encoding="utf-8")
    assert plexor("convert", "a.txt", "--out", "fhir", "--as", "ndjson").status == 0
    after = _statuses(tmp_path / "fhir" / "Observation.ndjson")
    gone = [name for name, (code, _) in before.items() if "patellar-left" in code]
    assert len(gone) == 1
    assert before[gone[0]][1] == "preliminary"
    assert after[gone[0]][1] == "entered-in-error"
    assert [code for code, status in after.values() if "achilles-left" in code and status == "preliminary"]
    assert plexor("check", "fhir").status == 0


def _statuses(file: Path) -> dict[str, tuple[str, str]]:
    """Id -> the codes and the status of each Observation."""
    resources = [json.loads(line) for line in file.read_text(encoding="utf-8").splitlines()]
    return {
        one["id"]: (" ".join(coding["code"] for coding in one["code"]["coding"]), one["status"])
        for one in resources
    }


def test_a_source_date_that_is_no_number_cannot_run(notes: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "yesterday")
    ran = plexor("read", notes)
    assert (ran.status, "SOURCE_DATE_EPOCH" in ran.err) == (2, True)


def test_check_says_what_is_wrong_where_in_each_format(tmp_path: Path) -> None:
    file = tmp_path / "a.json"
    file.write_text(
        '{"resourceType": "Observation", "status": "done", "code": {"text": "x"}}', encoding="utf-8"
    )
    ran = plexor("check", file)
    assert ran.status == 1
    assert "Observation.status" in ran.out
    assert ran.out.splitlines()[-1].startswith("1 resource checked, 1 error,")
    outcome = json.loads(plexor("check", file, "--format", "json").out)
    assert outcome["resourceType"] == "OperationOutcome"
    assert "Observation.status" in [
        place for issue in outcome["issue"] for place in issue.get("expression", [])
    ]
    lines = plexor("check", file, "--format", "jsonl").out.splitlines()
    rows = list(csv.DictReader(io.StringIO(plexor("check", file, "--format", "csv").out)))
    assert [json.loads(line)["code"] for line in lines] == [row["code"] for row in rows]


def test_check_counts_faults_by_rule_and_tells_what_is_left_out(tmp_path: Path) -> None:
    # `done` is no ObservationStatus: FHIR R4, observation-status; http://hl7.org/fhir/R4/valueset-observation-status.html
    for name in ("a", "b"):
        resource = {"resourceType": "Observation", "id": name, "status": "done", "code": {"text": "x"}}
        (tmp_path / f"{name}.json").write_text(json.dumps(resource), encoding="utf-8")
    ran = plexor("check", tmp_path, "--by-rule")
    assert ran.status == 1
    counted = [line.split()[:2] for line in ran.out.splitlines()[:-1]]
    assert ["2", "error"] in counted
    rows = [
        json.loads(line)
        for line in plexor("check", tmp_path, "--by-rule", "--format", "jsonl").out.splitlines()
    ]
    assert [row["count"] for row in rows if row["severity"] == "error"] == [2]
    said = plexor("check", tmp_path, "--must-support", "--profile", FINDING).out
    assert "effective[x]" in said
    assert "effective[x]" not in plexor("check", tmp_path, "--profile", FINDING).out


def test_check_takes_another_release(tmp_path: Path) -> None:
    # Observation.triggeredBy came with R5: http://hl7.org/fhir/R5/observation.html
    resource = {
        "resourceType": "Observation", "status": "final", "code": {"text": "x"},
        "triggeredBy": [{"observation": {"display": "y"}, "type": "reflex"}],
    }  # fmt: skip
    (tmp_path / "a.json").write_text(json.dumps(resource), encoding="utf-8")
    assert "triggeredBy" in plexor("check", tmp_path).out
    assert plexor("check", tmp_path, "--release", "R5").status == 0
    assert plexor("check", tmp_path, "--release", "R9").status == 2


def test_check_takes_profiles_by_canonical_and_from_a_folder(tmp_path: Path) -> None:
    resource = {"resourceType": "Basic", "code": {"text": "x"}, "text": {"status": "empty", "div": "<div/>"}}
    (tmp_path / "a.json").write_text(json.dumps(resource), encoding="utf-8")
    profile = {
        "resourceType": "StructureDefinition", "url": "urn:example:dated", "name": "Dated", "status": "draft",
        "kind": "resource", "abstract": False, "type": "Basic", "derivation": "constraint",
        "baseDefinition": "http://hl7.org/fhir/StructureDefinition/Basic",
        "differential": {"element": [{"id": "Basic.created", "path": "Basic.created", "min": 1}]},
    }  # fmt: skip
    (tmp_path / "profiles").mkdir()
    (tmp_path / "profiles" / "dated.json").write_text(json.dumps(profile), encoding="utf-8")
    asked = ["check", str(tmp_path / "a.json"), "--profile", "urn:example:dated"]
    ran = plexor(*asked, "--profiles", tmp_path / "profiles")
    assert (ran.status, "Basic.created" in ran.out) == (1, True)
    assert plexor(*asked).status == 1  # a profile that nobody defines is an error too


def test_load_twice_changes_nothing_and_find_finds(notes: Path, tmp_path: Path) -> None:
    archive = tmp_path / "a.duckdb"
    totals = [
        json.loads(plexor("load", notes, "--archive", archive, "--format", "jsonl").out) for _ in range(2)
    ]
    assert (totals[0]["notes_in"], totals[0]["with_findings"], totals[0]["without_findings"]) == (3, 2, 1)
    assert (totals[1]["notes_in"], totals[1]["duplicate"], totals[1]["findings"]) == (3, 3, 0)
    ran = plexor("find", "--archive", archive, "--site", "patellar", "--side", "left", "--format", "jsonl")
    rows = [json.loads(line) for line in ran.out.splitlines()]
    assert [(row["id"], row["basis"], row["as_written"]) for row in rows] == [
        ("n1", "covered", "2+"),
        ("n3", "direct", "+2"),
    ]
    exact = plexor("find", "--archive", archive, "--site", "patellar", "--side", "left", "--exact")
    assert exact.out.splitlines()[-1] == "1 found"


@pytest.mark.parametrize(
    ("options", "ids"),
    [
        (["--site", "achilles", "--level", "absent"], ["n1"]),
        (["--scale", "bedside", "--grade", "3"], ["n3"]),
        (["--site", "plantar", "--response", "flexor"], ["n3"]),
        (["--patient", "p1", "--site", "biceps", "--side", "left"], ["n1"]),
        (["--from", "2031-03-06"], ["n3"]),
        (["--to", "2031-03-05", "--site", "achilles"], ["n1"]),
        (["--author", "e2"], ["n3"]),
        (["--abnormality", "side-difference", "--site", "achilles"], ["n1"]),
        (["--kind", "superficial"], []),
        (["--note", "n3", "--status", "all"], ["n3"]),
    ],
)
def test_find_by(notes: Path, tmp_path: Path, options: list[str], ids: list[str]) -> None:
    archive = copied(tmp_path / "a.duckdb", "results", lambda path: plexor("load", notes, "--archive", path))
    ran = plexor("find", "--archive", archive, *options, "--format", "csv")
    assert ran.status == 0, ran.err
    assert sorted({row["id"] for row in csv.DictReader(io.StringIO(ran.out))}) == ids


def test_load_counts_what_its_source_lost(tmp_path: Path) -> None:
    file = tmp_path / "a.jsonl"
    file.write_text('{"id": "a", "text": "KJ 2+/2+"}\n{"id": "b"}\n', encoding="utf-8")
    ran = plexor("load", file, "--archive", tmp_path / "a.duckdb", "--format", "jsonl")
    totals = json.loads(ran.out)
    assert (ran.status, totals["notes_in"], totals["failed"]) == (1, 2, 1)


def test_load_counts_a_clash_of_identities_as_two_notes(tmp_path: Path) -> None:
    file = tmp_path / "a.csv"
    file.write_text("id,text\na,KJ 2+/2+\na,AJ absent\n", encoding="utf-8")
    ran = plexor("load", file, "--archive", tmp_path / "a.duckdb", "--format", "jsonl")
    totals = json.loads(ran.out)
    assert ran.status == 1
    assert (totals["notes_in"], totals["with_findings"], totals["failed"]) == (2, 2, 0)
    found = plexor("find", "--archive", tmp_path / "a.duckdb", "--format", "jsonl").out.splitlines()
    assert {json.loads(line)["id"] for line in found} == {"a", "a#2"}


def test_an_archive_can_be_kept_free_of_text(notes: Path, tmp_path: Path) -> None:
    archive = tmp_path / "a.duckdb"
    assert plexor("load", notes, "--archive", archive, "--no-quotes").status == 0
    found = plexor("find", "--archive", archive, "--site", "achilles", "--format", "jsonl").out
    assert {json.loads(line)["quote"] for line in found.splitlines()} == {None}
    assert plexor("load", notes, "--archive", archive, "--quotes").status == 2


def test_the_archive_can_be_named_in_the_settings(notes: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(notes.parent)
    Path("plexor.toml").write_text('[archive]\nfile = "kept.duckdb"\n', encoding="utf-8")
    assert plexor("load", notes).status == 0
    assert plexor("find", "--site", "achilles", "--level", "absent").out.splitlines()[-1] == "1 found"


@pytest.mark.parametrize(
    ("cell", "written"),
    [
        ("=SUM(A1)", "'=SUM(A1)"), ("+2", "'+2"), ("-1", "'-1"), ("@x", "'@x"), ("\tx", "'\tx"),
        ("\rx", "'\rx"),
        ("2+", "2+"), ("", ""), (None, None), (-4, -4), (2.5, 2.5), (True, "true"), (False, "false"),
        (["a", "b"], '["a", "b"]'), ("'x", "'x"),
    ],
)  # fmt: skip
def test_no_cell_is_taken_for_a_formula(cell: object, written: object) -> None:
    """Which first characters a spreadsheet takes for a formula: OWASP, CSV Injection (from memory)."""
    assert safe_cell(cell) == written


def test_text_of_notes_cannot_steer_a_terminal(tmp_path: Path) -> None:
    file = tmp_path / "a.txt"
    file.write_text("KJ \x1b[31m2+/2+\x1b[0m AJ \u202e2+", encoding="utf-8")
    out = plexor("read", file).out
    assert "\x1b" not in out
    assert "\u202e" not in out
    assert visible("a\tb\nc\x1bd\u00a0e") == "a b c·d e"


def test_a_terminal_gets_a_drawn_table_and_a_pipe_a_plain_one() -> None:
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    rows = [("patellar", "[bold]left[/bold]", None)]
    drawn, plain = Terminal(), io.StringIO()
    show_table(drawn, ("reflex", "side", "value"), rows)
    show_table(plain, ("reflex", "side", "value"), rows)
    assert plain.getvalue() == "  reflex    side               value\n  patellar  [bold]left[/bold]\n"
    assert "─" in drawn.getvalue()
    assert "[bold]left[/bold]" in drawn.getvalue()


def test_json_never_holds_what_is_no_json() -> None:
    with records_to(io.StringIO(), Format.JSONL, ()) as write, pytest.raises(ValueError, match="JSON"):
        write({"grade": float("nan")})
