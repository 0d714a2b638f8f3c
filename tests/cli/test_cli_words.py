"""`plexor words` and `plexor score`: words looked up and checked, findings measured against labels."""

import csv
import io
import json
from pathlib import Path
from typing import Any

import pytest
from commands import plexor

HEADER = "phrase, role, meaning, flags, source\n"


def test_an_abbreviation_shows_what_it_means_and_which_file_says_so() -> None:
    ran = plexor("words", "KJ")
    assert ran.status == 0
    assert "kj: site patellar (Patellar reflex)" in ran.out
    assert "said in sites.csv:" in ran.out


def test_several_words_are_one_wording() -> None:
    assert "delayed_relaxation" in plexor("words", "hung", "up").out


def test_unknown_words_are_said_with_what_is_alike() -> None:
    ran = plexor("words", "archilees")
    assert "no word list knows these words" in ran.out
    assert "archilles" in ran.out


def test_all_wordings_of_a_role_come_as_csv() -> None:
    rows = list(csv.DictReader(io.StringIO(plexor("words", "--role", "position", "--format", "csv").out)))
    assert {row["role"] for row in rows} == {"position"}
    assert "while seated" in {row["wording"] for row in rows}
    assert all(":" in row["place"] for row in rows)


def test_own_words_are_found_with_their_own_file(tmp_path: Path) -> None:
    (tmp_path / "ours.csv").write_text(
        HEADER + "shin kick, site, patellar, trigger, form 12\n", encoding="utf-8"
    )
    (tmp_path / "plexor.toml").write_text("[vocabulary]\nfiles = ['ours.csv']\n", encoding="utf-8")
    out = plexor("words", "shin", "kick", "--config", tmp_path / "plexor.toml").out
    assert "ours.csv:2" in out
    assert "form 12" in out


def test_a_check_lists_every_problem_and_sets_the_status(tmp_path: Path) -> None:
    file = tmp_path / "ours.csv"
    file.write_text(HEADER + "kj, site, achilles, , x\nfoo, bar, baz, , x\n", encoding="utf-8")
    ran = plexor("words", "--check", file)
    assert ran.status == 1
    assert f"{file}:2" in ran.err
    assert f"{file}:3" in ran.err
    assert "sites.csv:" in ran.err
    assert "1 files checked, 2 errors, 0 doubts" in ran.out
    file.write_text(HEADER + "shin kick, site, patellar, trigger, x\n", encoding="utf-8")
    assert plexor("words", "--check", file).status == 0


def test_a_file_named_in_the_settings_is_checked_once(tmp_path: Path) -> None:
    (tmp_path / "ours.csv").write_text(HEADER + "shin kick, site, patellar, trigger, x\n", encoding="utf-8")
    config = tmp_path / "plexor.toml"
    config.write_text("[vocabulary]\nfiles = ['ours.csv']\n", encoding="utf-8")
    assert plexor("words", "--check", tmp_path / "ours.csv", "--config", config).status == 0


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--role", "noun"], "there is no such role"),
        (["--check", "none.csv"], "there is no such file"),
        (["kj", "--check", "none.csv"], "name no words"),
    ],
)
def test_words_that_cannot_run_say_why(arguments: list[str], words: str) -> None:
    ran = plexor("words", *arguments)
    assert ran.status == 2
    assert words in ran.err


GOLD: list[dict[str, Any]] = [
    {
        "id": "a",
        "text": "R KJ 2+, L KJ 3+",
        "findings": [
            {"site": "patellar", "side": "right", "kind": "stretch", "grade_low": 2, "grade_high": 2},
            {"site": "patellar", "side": "left", "kind": "stretch", "grade_low": 1, "grade_high": 1},
        ],
    },
    {"id": "b", "text": "Light reflex normal.", "findings": []},
]


@pytest.fixture
def gold(tmp_path: Path) -> Path:
    file = tmp_path / "gold.jsonl"
    file.write_text("".join(f"{json.dumps(row)}\n" for row in GOLD), encoding="utf-8")
    return file


def test_the_texts_beside_the_labels_are_read_and_measured(gold: Path) -> None:
    record = json.loads(plexor("score", gold, "--format", "json").out)
    assert record["notes"] == 2
    assert record["strict"]["detection"]["f1"] == 1
    assert (record["strict"]["full"]["matched"], record["strict"]["full"]["gold"]) == (1, 2)
    (error,) = record["errors"]
    assert (error["kind"], error["labelled"], error["predicted"]) == ("wrong-value", "1", "3")


def test_figures_come_with_the_size_of_the_set_and_an_interval(gold: Path) -> None:
    out = plexor("score", gold).out
    assert "2 labelled notes with 2 findings; 1 note" in out or "2 labelled notes with 2 findings; 1" in out
    assert "0.500 (" in out
    assert "resamples of the notes, seed 1" in out
    assert "wrong value" in out


def test_notes_and_predictions_give_the_same_figures(gold: Path, tmp_path: Path) -> None:
    notes, found = tmp_path / "notes.jsonl", tmp_path / "found.jsonl"
    notes.write_text(
        "".join(json.dumps({"id": row["id"], "text": row["text"]}) + "\n" for row in GOLD), encoding="utf-8"
    )
    plexor("read", notes, "--format", "jsonl", "--out", found)
    results = [plexor("score", gold, *more, "--format", "json").out for more in ([], [notes], [found])]
    assert len(set(results)) == 1


def test_labels_are_not_measured_against_themselves(gold: Path) -> None:
    ran = plexor("score", gold, gold)
    assert ran.status == 2
    assert "these are the labels" in ran.err


def test_a_label_that_cannot_be_used_is_an_error(gold: Path) -> None:
    with gold.open("a", encoding="utf-8") as lines:
        lines.write("nonsense\n")
    ran = plexor("score", gold)
    assert ran.status == 1
    assert "gold.jsonl:3" in ran.err


@pytest.mark.parametrize(
    ("content", "words"),
    [("", "no labelled note"), ('{"id": "a", "findings": []}\n', "has no text")],
)
def test_a_score_that_cannot_run_says_why(tmp_path: Path, content: str, words: str) -> None:
    file = tmp_path / "gold.jsonl"
    file.write_text(content, encoding="utf-8")
    ran = plexor("score", file)
    assert ran.status == 2
    assert words in ran.err
