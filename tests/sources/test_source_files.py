"""Files, folders and globs come in a fixed order, each file once; whole-file notes get names of their own."""

import os
from pathlib import Path

import pytest
from note_files import codes, only, read, write

from converter.model import Severity


def test_folders_are_walked_in_order_of_name(tmp_path: Path) -> None:
    for name in ("b.txt", "a/z.txt", "a/y.txt", "c.txt", ".hidden.txt", ".git/x.txt"):
        write(tmp_path / name, name)
    notes, troubles = read(tmp_path)
    assert not troubles
    assert [note.text for note in notes] == ["a/y.txt", "a/z.txt", "b.txt", "c.txt"]


def test_inputs_keep_the_order_in_which_they_are_named(tmp_path: Path) -> None:
    files = [write(tmp_path / name, name) for name in ("b.txt", "c.txt", "a.txt")]
    assert [note.id for note in read(*files)[0]] == ["b", "c", "a"]


def test_globs_are_sorted_and_reach_into_folders(tmp_path: Path) -> None:
    for name in ("b.txt", "a.txt", "deep/er/c.txt", "deep/d.csv"):
        write(tmp_path / name, name if name.endswith("txt") else "id,text\nd,x\n")
    assert [note.id for note in read(f"{tmp_path}/*.txt")[0]] == ["a", "b"]
    assert [note.id for note in read(f"{tmp_path}/**/*.txt")[0]] == ["a", "b", "c"]


def test_a_name_with_a_bracket_is_a_name_where_it_exists(tmp_path: Path) -> None:
    notes, troubles = read(write(tmp_path / "visit [1].txt", "KJ 2+"))
    assert ([note.id for note in notes], troubles) == (["visit [1]"], [])


def test_files_that_share_a_stem_are_named_by_their_path(tmp_path: Path) -> None:
    for name in ("p1/exam.txt", "p2/exam.txt", "p2/other.txt"):
        write(tmp_path / name, name)
    assert [note.id for note in read(tmp_path)[0]] == ["p1/exam.txt", "p2/exam.txt", "other"]


def test_a_file_that_is_named_twice_is_read_once(tmp_path: Path) -> None:
    file = write(tmp_path / "a.txt", "KJ 2+")
    notes, troubles = read(tmp_path, file)
    assert len(notes) == 1
    only(troubles, "named-twice", Severity.INFORMATION)


def test_a_file_of_no_known_kind_is_passed_over_in_a_folder_and_read_when_named(tmp_path: Path) -> None:
    file = write(tmp_path / "letter.md", "KJ 2+")
    notes, troubles = read(tmp_path)
    assert notes == []
    only(troubles, "unknown-format", Severity.WARNING)
    assert [note.id for note in read(file)[0]] == ["letter"]


def test_links_to_folders_are_not_followed(tmp_path: Path) -> None:
    write(tmp_path / "real" / "a.txt", "KJ 2+")
    (tmp_path / "round").symlink_to(tmp_path, target_is_directory=True)
    notes, troubles = read(tmp_path)
    assert [note.id for note in notes] == ["a"]
    assert codes(troubles) == ["link-passed-over"]


@pytest.mark.skipif(os.geteuid() == 0, reason="the superuser may read every file")
def test_a_file_that_may_not_be_read_is_said(tmp_path: Path) -> None:
    write(tmp_path / "a.txt", "KJ 2+").chmod(0)
    write(tmp_path / "b.txt", "KJ 2+")
    notes, troubles = read(tmp_path)
    assert [note.id for note in notes] == ["b"]
    only(troubles, "unreadable", Severity.ERROR)


def test_a_link_to_nowhere_is_said(tmp_path: Path) -> None:
    (tmp_path / "a.txt").symlink_to(tmp_path / "gone.txt")
    notes, troubles = read(tmp_path)
    assert notes == []
    assert codes(troubles) == ["not-a-file"]
