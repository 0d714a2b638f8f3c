"""Loading joins reading and archive: what is read again, what is retried, what is recorded."""

import json
from pathlib import Path
from typing import Any

import pytest
from archive_session import fates, loaded, lost, notes, session

from converter.api import assess, read
from converter.archive import (
    ArchiveError,
    FindQuery,
    NoteKey,
    RunTotals,
    failed_notes,
    open_archive,
    sql,
    stored_readings,
)
from converter.loading import Loading, load
from converter.model import Note
from converter.reading import read_note
from converter.searching import find
from converter.settings import settings_from


def count_reads(monkeypatch: pytest.MonkeyPatch, fault: str | None = None) -> list[str]:
    """The ids of the notes that are read from now on; the reader fails on the one named."""
    read_ids: list[str] = []

    def counted(note: Note, *rest: Any) -> Any:
        read_ids.append(note.id)
        if note.id == fault:
            raise RuntimeError
        return read_note(note, *rest)

    monkeypatch.setattr("converter.reading.reader.read_note", counted)
    return read_ids


def test_what_is_loaded_is_what_reading_and_assessing_give(tmp_path: Path) -> None:
    archive, here = loaded(tmp_path), session()
    with open_archive(archive, read_only=True) as opened:
        stored = list(stored_readings(opened, [NoteKey("urn:example:notes", "n3")]))
    (note,) = [note for note in notes() if note.id == "n3"]
    reading = read(note, here)
    assert stored == [(note, reading, assess(note, reading, here))]


def test_a_second_load_reads_nothing_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    archive = loaded(tmp_path)
    again = count_reads(monkeypatch)
    assert fates(load(notes(), archive, session("r2"))) == (0, 0, 5, 0, 0)
    assert again == []


def test_only_what_changed_is_read_again_and_supersedes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    archive = loaded(tmp_path)
    again = count_reads(monkeypatch)
    changed = notes(n3="KJ 1+/1+.", n9="Biceps 2+.")
    assert fates(load(changed, archive, session("r2"))) == (1, 0, 4, 1, 0)
    assert again == ["n3", "n9"]
    rows = find(archive, FindQuery(notes=("n3",), sites=("patellar",)))
    assert {(row.side, row.grade_low) for row in rows} == {("right", 1), ("left", 1)}


def test_another_program_version_reads_all_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    archive = loaded(tmp_path)
    monkeypatch.setattr("converter.api.program", lambda: "plexor 99.0")
    again = count_reads(monkeypatch)
    load(notes(), archive, session("r2"))
    assert again == ["n1", "n2", "n3", "n4", "n5"]


def test_another_vocabulary_reads_all_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    archive = loaded(tmp_path)
    words = tmp_path / "own.csv"
    words.write_text(
        "phrase, role, meaning, flags, source\nxyzzy jerk, site, patellar, trigger, invented\n",
        encoding="utf-8",
    )
    settings = settings_from({"vocabulary": {"files": [str(words)]}})
    again = count_reads(monkeypatch)
    totals = load(notes(), archive, session("r2", settings))
    assert again == ["n1", "n2", "n3", "n4", "n5"]
    assert fates(totals) == (0, 0, 0, 5, 0)


def test_troubles_of_the_source_keep_their_place_among_the_notes(tmp_path: Path) -> None:
    archive = tmp_path / "a.duckdb"
    first, *others = notes()
    load([lost(9), first, lost(10), *others], archive, session())
    with open_archive(archive, read_only=True) as opened:
        log = list(sql(opened, "SELECT place, fate FROM note_log ORDER BY place").rows)
    assert [fate for _, fate in log][:3] == ["failed", "with_findings", "failed"]
    assert [place for place, _ in log] == list(range(7))


def failing(folder: Path, monkeypatch: pytest.MonkeyPatch, fault: str) -> tuple[Path, list[tuple[str, str]]]:
    """An archive of which one note failed at the source and one in the reader; and what was said of it."""
    said: list[tuple[str, str]] = []
    with monkeypatch.context() as here:
        count_reads(here, fault)
        how = Loading(fault=lambda trouble, note: said.append((trouble.code, note.id)))
        totals = load([*notes(), lost(9)], folder / "a.duckdb", session(), how)
    assert fates(totals) == (3, 1, 0, 0, 2)
    return folder / "a.duckdb", said


def test_a_retry_takes_the_failed_notes_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    archive, said = failing(tmp_path, monkeypatch, "n3")
    assert said == [("reader-fault", "n3")]
    again = count_reads(monkeypatch)
    repaired = [*notes(), *[note for note in notes(n8="AJ 2+.") if note.id == "n8"]]
    repaired[-1] = _at_line(repaired[-1], 9)
    totals = load(repaired, archive, session("r2"), Loading(only_failed=True))
    assert again == ["n3", "n8"]
    assert fates(totals) == (2, 0, 0, 0, 0)
    with open_archive(archive, read_only=True) as opened:
        assert list(failed_notes(opened)) == []


def _at_line(note: Note, line: int) -> Note:
    from dataclasses import replace

    return replace(note, line=line)


def test_what_still_fails_stays_listed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    archive, _ = failing(tmp_path, monkeypatch, "n3")
    totals = load([*notes(), lost(9), lost(30)], archive, session("r2"), Loading(only_failed=True))
    assert fates(totals) == (1, 0, 0, 0, 1)
    with open_archive(archive, read_only=True) as opened:
        assert [(row.line, row.run) for row in failed_notes(opened)] == [(9, "r2")]


def test_a_file_that_failed_as_a_whole_is_taken_again_as_a_whole(tmp_path: Path) -> None:
    from dataclasses import replace

    archive = tmp_path / "a.duckdb"
    load([replace(lost(1), line=None)], archive, session())
    assert fates(load(notes(), archive, session("r2"), Loading(only_failed=True))) == (4, 1, 0, 0, 0)


def test_a_retry_without_an_archive_makes_none(tmp_path: Path) -> None:
    with pytest.raises(ArchiveError, match="there is no archive here"):
        load(notes(), tmp_path / "a.duckdb", session(), Loading(only_failed=True))
    assert list(tmp_path.iterdir()) == []


def test_the_run_is_recorded_with_its_settings_and_both_times(tmp_path: Path) -> None:
    settings = settings_from({"reading": {"pair_order": "left-right"}, "assess": {"marked": 3.0}})
    archive = tmp_path / "a.duckdb"
    load(
        notes(),
        archive,
        session("r7", settings),
        Loading(quotes=False, finished=lambda: "2031-05-01T09:30:00Z"),
    )
    with open_archive(archive, read_only=True) as opened:
        ((run, started, finished, kept),) = sql(
            opened, "SELECT run, started, finished, settings FROM runs"
        ).rows
    assert (run, started, finished) == ("r7", "2031-05-01T08:00:00Z", "2031-05-01T09:30:00Z")
    kept = json.loads(kept)
    assert kept["reading.pair_order"] == "left-right"
    assert kept["assess.marked"] == "3.0"
    assert kept["archive.quotes"] == "false"
    assert "notes.system" not in kept


def test_progress_is_told_and_ends_with_the_totals(tmp_path: Path) -> None:
    told: list[RunTotals] = []
    totals = load(notes(), tmp_path / "a.duckdb", session(), Loading(progress=told.append))
    assert told[-1] == totals


def test_any_iterable_is_taken_once_and_in_order(tmp_path: Path) -> None:
    taken: list[str] = []

    def stream() -> Any:
        for note in notes():
            taken.append(note.id)
            yield note

    assert load(stream(), tmp_path / "a.duckdb", session()).notes_in == 5
    assert taken == ["n1", "n2", "n3", "n4", "n5"]
