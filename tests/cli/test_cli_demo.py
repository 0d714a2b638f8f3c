"""`plexor demo` does the whole job, and what it suggests to try next works."""

import csv
import json
import re
import shlex
from pathlib import Path

import pytest
from commands import Ran, plexor


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Ran]:
    out = tmp_path_factory.mktemp("demo") / "a folder"
    return out, plexor("demo", "--out", out)


def test_the_demo_runs_clean(made: tuple[Path, Ran]) -> None:
    _, ran = made
    assert ran.status == 0, ran.err + ran.out
    assert re.match(r"\d+ notes of 12 patients\n", ran.out)


def test_everything_it_names_is_there(made: tuple[Path, Ran]) -> None:
    out, ran = made
    named = re.findall(rf"^  ({re.escape(str(out))}/\S+)", ran.out, re.MULTILINE)
    assert len(named) == 5
    assert all(Path(name).exists() for name in named)


def test_notes_in_are_notes_out(made: tuple[Path, Ran]) -> None:
    out, ran = made
    notes = int(ran.out.split()[0])
    assert notes >= 40
    records = [json.loads(line) for line in (out / "findings.jsonl").read_text(encoding="utf-8").splitlines()]
    assert len(records) == notes
    assert len({(record["system"], record["id"]) for record in records}) == notes
    assert len(list((out / "fhir").glob("*.json"))) == notes
    with (out / "findings.csv").open(encoding="utf-8", newline="") as lines:
        assert len(list(csv.DictReader(lines))) == sum(len(record["findings"]) for record in records)


def test_the_check_found_no_error(made: tuple[Path, Ran]) -> None:
    out, _ = made
    last = (out / "check.txt").read_text(encoding="utf-8").splitlines()[-1]
    assert re.fullmatch(r"\d+ resources checked, 0 errors, \d+ warnings", last)


def test_the_summary_carries_the_caution(made: tuple[Path, Ran]) -> None:
    out, _ = made
    assert "not a diagnosis" in (out / "summary.txt").read_text(encoding="utf-8")


def test_the_three_searches_find_something(made: tuple[Path, Ran]) -> None:
    _, ran = made
    searches = re.findall(r"^    plexor (find .*)$", ran.out, re.MULTILINE)
    assert len(searches) == 3
    for search in searches:
        found = plexor(*shlex.split(search), "--format", "jsonl")
        assert found.status == 0, found.err
        assert found.out, search


def test_it_can_run_again_into_the_same_folder(made: tuple[Path, Ran]) -> None:
    out, ran = made
    again = plexor("demo", "--out", out)
    assert (again.status, again.out) == (ran.status, ran.out)
