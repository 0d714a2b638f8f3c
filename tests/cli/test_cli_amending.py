"""`plexor sample` and `plexor amend`: a sheet out, judged, and back into the archive."""

import csv
import io
import json
from pathlib import Path

import pytest
from archive_session import loaded
from commands import plexor


@pytest.fixture
def archive(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.setenv("SOURCE_DATE_EPOCH", "1935000000")
    monkeypatch.chdir(tmp_path)
    return str(loaded(tmp_path))


def rows(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text)))


def judged(sheet: list[dict[str, str]], path: Path, **verdicts: str) -> str:
    for row in sheet:
        row |= {"verdict": verdicts.get(row["kind"], "")}
    with path.open("w", encoding="utf-8", newline="") as lines:
        writer = csv.DictWriter(lines, list(sheet[0]))
        writer.writeheader()
        writer.writerows(sheet)
    return str(path)


def test_a_sheet_goes_out_is_judged_and_comes_back(archive: str, tmp_path: Path) -> None:
    first = plexor("sample", archive)
    sheet = rows(first.out)
    assert first.status == 0
    assert first.out == plexor("sample", archive).out
    assert {row["kind"] for row in sheet} == {"finding"}
    assert "not a diagnosis" in first.err
    path = judged(sheet, tmp_path / "sheet.csv", finding="confirmed")
    back = plexor("amend", archive, path, "--by", "r1")
    assert (back.status, back.out) == (
        0,
        f"{len(sheet)} amendments made, 0 known before, 0 rows not judged, 0 left out\n",
    )
    assert rows(plexor("sample", archive).out) == []
    found = rows(plexor("find", "--archive", archive, "--format", "csv").out)
    assert {row["verdict"] for row in found} == {"confirmed"}


def test_size_and_strata_are_chosen(archive: str) -> None:
    sheet = plexor("sample", archive, "--size", "2", "--by", "none", "--format", "jsonl")
    assert len([json.loads(line) for line in sheet.out.splitlines()]) == 2
    assert "2 of " in sheet.err
    wide = plexor("sample", archive, "--half-width", "0.4")
    assert "a 95% interval (Wilson) of 40 points to either side" in wide.err


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["--by", "ward"], "--by ward: choose from family, examiner, certainty"),
        (["--kind", "notes"], "--kind notes: choose from"),
        (["--format", "text"], "a sheet is written as csv, json or jsonl"),
        (["--half-width", "0"], "the half width"),
        (["--half-width", "0.002"], "wish for a wider one"),
    ],
)
def test_a_wish_that_makes_no_sense_is_refused(archive: str, arguments: list[str], sentence: str) -> None:
    done = plexor("sample", archive, *arguments)
    assert done.status == 2
    assert sentence in done.err


def test_amendments_are_listed_and_undone(archive: str, tmp_path: Path) -> None:
    (tmp_path / "s.csv").write_text(
        "id,place,verdict,value\nn3,0..2 3..5,corrected,1+\nn3,7..9,confirmed,\n", encoding="utf-8"
    )
    done = plexor("amend", archive, "s.csv", "--by", "r1")
    assert done.status == 1
    assert done.err.startswith("error s.csv:3: No finding stands there now")
    (listed,) = rows(plexor("amend", archive, "--list", "--format", "csv").out)
    assert (listed["state"], listed["verdict"], listed["value"]) == ("applied", "corrected", "1+")
    assert "1 amendment" in plexor("amend", archive, "--list").out
    assert plexor("amend", archive, "--undo", "1").status == 2
    assert plexor("amend", archive, "--undo", "1", "--by", "r2").status == 0
    (listed,) = rows(plexor("amend", archive, "--list", "--format", "csv").out)
    assert (listed["state"], listed["undone_by"]) == ("undone", "r2")


@pytest.mark.parametrize("arguments", [[], ["s.csv", "--list"], ["--list", "--undo", "1"], ["missing.csv"]])
def test_amend_does_one_thing_at_a_time(archive: str, arguments: list[str]) -> None:
    done = plexor("amend", archive, *arguments)
    assert done.status == 2
    assert done.err.startswith("fatal ")


def test_a_patient_is_forgotten_with_retractions_for_the_server(archive: str, tmp_path: Path) -> None:
    dry = plexor("forget", archive, "--patient", "p3", "--by", "o1", "--dry-run")
    assert (dry.status, dry.out) == (0, "1 note with 4 findings would be forgotten\n")
    refused = plexor("forget", archive, "--patient", "p3", "--by", "o1")
    assert (refused.status, "--out FILE" in refused.err) == (2, True)
    done = plexor("forget", archive, "--patient", "p3", "--by", "o1", "--out", "r.json")
    assert done.status == 0, done.err
    assert done.out.splitlines()[-1] == "forgotten: 1 version of notes, 4 findings, 0 remarks of runs"
    bundle = json.loads((tmp_path / "r.json").read_text(encoding="utf-8"))
    assert {entry["resource"]["status"] for entry in bundle["entry"]} == {"entered-in-error"}
    again = plexor("forget", archive, "--patient", "p3", "--by", "o1", "--no-retractions")
    assert (again.status, "There is no note of this patient" in again.err) == (2, True)
    assert "may come in again" in plexor("forget", archive, "--patient", "p3", "--by", "o1", "--lift").out


@pytest.mark.parametrize(
    "arguments",
    [
        ["forget"],
        ["forget", "--patient", "p1"],
        ["forget", "--patient", "p1", "--note", "n1", "--by", "o1"],
        ["relink"],
        ["relink", "--from", "p1", "--to", "p2"],
        ["relink", "--from", "p1", "--by", "o1"],
        ["relink", "missing.csv", "--by", "o1"],
    ],
)
def test_forget_and_relink_ask_for_what_they_need(archive: str, arguments: list[str]) -> None:
    done = plexor(arguments[0], archive, *arguments[1:])
    assert done.status == 2
    assert done.err.startswith("fatal ")


def test_merged_patients_are_followed(archive: str, tmp_path: Path) -> None:
    done = plexor("relink", archive, "--from", "p1", "--to", "p3", "--by", "o1")
    assert (done.status, done.out) == (0, "1 note moved\n")
    (tmp_path / "merged.csv").write_text("from,to\np4,p3\np9,p9\n", encoding="utf-8")
    done = plexor("relink", archive, "merged.csv", "--by", "o1")
    assert (done.status, done.out) == (1, "1 link followed, 1 note moved, 1 row left out\n")
    assert done.err.startswith("error merged.csv:3: ")
    found = rows(plexor("find", "--archive", archive, "--format", "csv").out)
    assert {row["patient"] for row in found} == {"p3", "p5"}
