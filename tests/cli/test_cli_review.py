"""`plexor read` shows the note with its marks, unread wording counted, and what changed."""

import json
from pathlib import Path

import pytest
from commands import plexor

TEXT = "Reflexes: R KJ 2+, L AJ absent. The wobbly DTRs are a riddle."


@pytest.fixture
def note(tmp_path: Path) -> Path:
    file = tmp_path / "n1.txt"
    file.write_text(TEXT, encoding="utf-8")
    return file


def test_a_marked_note_has_brackets_where_there_is_no_colour(note: Path) -> None:
    ran = plexor("read", note, "--marked")
    assert ran.status == 0
    assert "[[R KJ 2+]], [[L AJ absent]]. The " in ran.out
    assert "DTRs" in ran.out.partition("{{")[2].partition("}}")[0]
    assert "[[ ]] read as a finding" in ran.out


def test_a_look_alike_is_marked_as_one(tmp_path: Path) -> None:
    file = tmp_path / "n.txt"
    file.write_text("Light reflex brisk. R KJ 2+.", encoding="utf-8")
    assert "((Light reflex)) brisk. [[R KJ 2+]]." in plexor("read", file, "--marked").out


def test_control_characters_of_a_note_never_reach_the_terminal(tmp_path: Path) -> None:
    file = tmp_path / "n.txt"
    file.write_text("R KJ 2+\x1b[31m\nL KJ 3+", encoding="utf-8")
    out = plexor("read", file, "--marked").out
    assert "\x1b" not in out
    assert "\n[[L KJ 3+]]" in out


def test_every_note_has_one_line_of_shorthand(note: Path) -> None:
    assert "  R KJ 2+; L AJ absent\n" in plexor("read", note).out


def test_unread_wording_of_a_folder_comes_with_count_and_place(tmp_path: Path) -> None:
    for number in range(3):
        (tmp_path / f"n{number}.txt").write_text("The wobbly DTRs are a riddle.", encoding="utf-8")
    (tmp_path / "other.txt").write_text("Reflexes are a mystery.", encoding="utf-8")
    ran = plexor("read", tmp_path, "--unread-only", "--format", "jsonl")
    rows = [json.loads(line) for line in ran.out.splitlines()]
    counts = [row["count"] for row in rows]
    assert counts == sorted(counts, reverse=True)
    dtrs = next(row for row in rows if "dtrs" in row["wording"])
    assert (dtrs["count"], dtrs["notes"], dtrs["note"]) == (3, 3, "n0")
    text = plexor("read", tmp_path, "--unread-only").out
    assert text.index("dtrs") < text.index("reflexes")


def test_what_changed_is_shown_for_people_and_as_json(note: Path, tmp_path: Path) -> None:
    old = tmp_path / "old.jsonl"
    plexor("read", note, "--format", "jsonl", "--out", old)
    note.write_text(TEXT.replace("2+", "3+").replace("L AJ absent", "L TJ 2+"), encoding="utf-8")
    text = plexor("read", note, "--against", old)
    assert text.status == 0
    assert "R KJ 2+ -> R KJ 3+" in text.out
    assert "1 finding changed, 1 appeared, 1 vanished" in text.out
    record = json.loads(plexor("read", note, "--against", old, "--format", "json").out)
    assert (record["changed"], record["appeared"], record["vanished"]) == (1, 1, 1)
    changed = next(one for one in record["findings"] if one["change"] == "changed")
    assert changed["fields"]["grade_low"] == {"old": 2, "new": 3}


def test_two_files_of_records_are_compared_without_reading(note: Path, tmp_path: Path) -> None:
    old = tmp_path / "old.jsonl"
    plexor("read", note, "--format", "jsonl", "--out", old)
    ran = plexor("read", old, "--against", old)
    assert "0 findings changed, 0 appeared, 0 vanished, 2 the same" in ran.out


def test_a_new_word_shows_which_findings_it_brings(note: Path, tmp_path: Path) -> None:
    note.write_text("R shin kick 2+", encoding="utf-8")
    old, config = tmp_path / "old.jsonl", tmp_path / "plexor.toml"
    plexor("read", note, "--format", "jsonl", "--out", old)
    (tmp_path / "ours.csv").write_text(
        "phrase, role, meaning, flags, source\nshin kick, site, patellar, trigger, ours\n", encoding="utf-8"
    )
    config.write_text("[vocabulary]\nfiles = ['ours.csv']\n", encoding="utf-8")
    ran = plexor("read", note, "--against", old, "--config", config)
    assert "appeared patellar-right" in ran.out
    assert "same vocabulary" not in ran.out


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--marked", "--unread-only"], "choose one of them"),
        (["--marked", "--format", "csv"], "marks are for people"),
        (["--against", "nowhere.jsonl"], "nowhere.jsonl"),
        (["--against", "n1.txt"], "no record of a reading"),
    ],
)
def test_what_cannot_be_shown_is_refused(
    note: Path, monkeypatch: pytest.MonkeyPatch, options: list[str], words: str
) -> None:
    monkeypatch.chdir(note.parent)
    ran = plexor("read", "n1.txt", *options)
    assert ran.status == 2
    assert words in ran.err
