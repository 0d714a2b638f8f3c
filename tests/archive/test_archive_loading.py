"""Loading: every note is accounted for, nothing is stored twice, what changed is kept as history."""

import gc
from collections.abc import Iterator
from dataclasses import fields, replace
from pathlib import Path

import pytest
from archive_notes import (
    VOCABULARY,
    content,
    finding,
    full_item,
    load_all,
    new_archive,
    note,
    read,
    run_info,
)

from converter.archive import (
    ArchiveError,
    Failed,
    FindQuery,
    Item,
    NoteKey,
    RunTotals,
    already_read,
    failed_notes,
    find,
    first_read,
    load,
    needs_reading,
    open_archive,
)
from converter.model import Diagnostic, Exam, Finding, Severity

LOST_LINE = Diagnostic(
    code="line-not-json", severity=Severity.ERROR, message="Line 3 is not JSON.", source="in.jsonl", line=3
)
NOT_READ = Diagnostic(code="reader-stopped", severity=Severity.ERROR, message="The note could not be read.")
REMARK = Diagnostic(code="encoding-guessed", severity=Severity.WARNING, message="Read as Windows-1252.")


def test_every_note_is_accounted_for(tmp_path: Path) -> None:
    first = read(note("n1"), finding("patellar", "left", 2))
    archive = new_archive(tmp_path, first)
    items: list[Item] = [
        first,
        read(note("n2"), finding("patellar", "left", 2), finding("patellar", "right", 3)),
        read(note("n3")),
        read(note("n1", "KJ 3+"), finding("patellar", "left", 3)),
        LOST_LINE,
        REMARK,
        Failed(note=note("n4"), diagnostic=LOST_LINE),
    ]
    totals = load_all(archive, items[1:], "run-2")
    assert totals == RunTotals(
        notes_in=5, with_findings=1, without_findings=1, superseded=1, failed=2, findings=3, diagnostics=3
    )
    assert totals.adds_up
    again = load_all(archive, items[1:], "run-3")
    assert again == RunTotals(notes_in=5, duplicate=3, failed=2, diagnostics=3)
    log = archive.connection.execute("SELECT * FROM run_log ORDER BY run_number").fetchall()
    assert [row[-1] for row in log] == [True, True, True]
    fates = archive.connection.execute(
        "SELECT fate, count(*) FROM note_log WHERE run_number = 2 GROUP BY fate ORDER BY fate"
    ).fetchall()
    assert fates == [("failed", 2), ("superseded", 1), ("with_findings", 1), ("without_findings", 1)]


def test_loading_twice_changes_nothing_but_the_log(tmp_path: Path) -> None:
    items = [full_item(f"n{number}") for number in range(5)]
    archive = new_archive(tmp_path, *items)
    before = content(archive)
    totals = load_all(archive, items, "run-2", batch_notes=2)
    assert totals == RunTotals(notes_in=5, duplicate=5)
    assert content(archive) == before
    assert archive.connection.execute("SELECT count(*) FROM runs").fetchall() == [(2,)]


def test_a_note_that_comes_twice_in_one_input_is_stored_once(tmp_path: Path) -> None:
    item = read(note("n1"), finding("patellar", "left", 2))
    archive = open_archive(tmp_path / "a.duckdb")
    totals = load_all(archive, [item, item])
    assert (totals.with_findings, totals.duplicate) == (1, 1)
    assert len(list(find(archive, FindQuery()))) == 1


def test_a_changed_note_supersedes_and_keeps_history(tmp_path: Path) -> None:
    archive = new_archive(tmp_path, read(note("n1", "KJ 2+"), finding("patellar", "left", 2)))
    totals = load_all(archive, [read(note("n1", "KJ 3+"), finding("patellar", "left", 3))], "run-2")
    assert totals == RunTotals(notes_in=1, superseded=1, findings=1)
    assert [row.grade_low for row in find(archive, FindQuery())] == [3]
    history = archive.connection.execute("SELECT text, from_run, to_run FROM notes ORDER BY note").fetchall()
    assert history == [("KJ 2+", 1, 2), ("KJ 3+", 2, None)]
    assert archive.connection.execute("SELECT grade_low FROM findings ORDER BY reading").fetchall() == [
        (2,),
        (3,),
    ]


def test_a_changed_vocabulary_supersedes_the_reading_and_keeps_the_note(tmp_path: Path) -> None:
    about = note("n1")
    archive = new_archive(tmp_path, read(about, finding("patellar", "left", 2)))
    other = replace(VOCABULARY, fingerprint="another")
    item = read(about, finding("achilles", "left", 2), vocabulary="another")
    assert load_all(archive, [item], "run-2", other).superseded == 1
    assert archive.connection.execute("SELECT from_run, to_run FROM notes").fetchall() == [(1, None)]
    readings = archive.connection.execute(
        "SELECT vocabulary, to_run FROM readings ORDER BY reading"
    ).fetchall()
    assert readings == [(VOCABULARY.fingerprint, 2), ("another", None)]
    gone = archive.connection.execute("SELECT id, finding FROM retracted_findings").fetchall()
    assert gone == [("n1", "patellar-left-0")]


def test_changed_details_of_a_note_are_not_lost(tmp_path: Path) -> None:
    archive = new_archive(tmp_path, read(note("n1"), finding("patellar", "left", 2)))
    totals = load_all(archive, [read(note("n1", patient="p2"), finding("patellar", "left", 2))], "run-2")
    assert totals.superseded == 1
    assert [row.patient for row in find(archive, FindQuery())] == ["p2"]


def test_another_reading_with_the_same_vocabulary_supersedes(tmp_path: Path) -> None:
    archive = new_archive(tmp_path, read(note("n1"), finding("patellar", "left", 2)))
    item = read(note("n1"), finding("patellar", "left", 2), program="plexor 0.2.0")
    assert load_all(archive, [item], "run-2").superseded == 1


@pytest.mark.parametrize("batch_notes", [1, 2, 100])
def test_one_identity_with_two_texts_in_one_input_keeps_both_apart(tmp_path: Path, batch_notes: int) -> None:
    items = [
        read(note("n1", "KJ 2+"), finding("patellar", "left", 2)),
        read(note("n1", "KJ 3+"), finding("patellar", "left", 3)),
    ]
    archive = open_archive(tmp_path / "a.duckdb")
    totals = load_all(archive, items, batch_notes=batch_notes)
    assert (totals.with_findings, totals.superseded, totals.diagnostics) == (2, 0, 1)
    assert [row.grade_low for row in find(archive, FindQuery())] == [2, 3]
    before = content(archive)
    again = load_all(archive, items, "run-2", batch_notes=batch_notes)
    assert (again.duplicate, again.diagnostics) == (2, 1)
    assert content(archive) == before
    codes = archive.connection.execute("SELECT run_number, code, failed FROM run_diagnostics").fetchall()
    assert sorted(codes) == [(1, "identity-used-twice", False), (2, "identity-used-twice", False)]


def test_the_same_id_in_two_systems_is_two_notes(tmp_path: Path) -> None:
    items = [
        read(note("n1", system=system), finding("patellar", "left", 2)) for system in (None, "", "urn:a")
    ]
    archive = open_archive(tmp_path / "a.duckdb")
    assert load_all(archive, items).with_findings == 3
    assert load_all(archive, items, "run-2").duplicate == 3


def test_failed_notes_are_listed_until_they_go_through(tmp_path: Path) -> None:
    broken = note("n4", source="in.jsonl", line=9)
    archive = new_archive(tmp_path, LOST_LINE, Failed(note=broken, diagnostic=NOT_READ))
    listed = [(row.id, row.source, row.line, row.code, row.run) for row in failed_notes(archive)]
    assert listed == [
        (None, "in.jsonl", 3, "line-not-json", "run-1"),
        ("n4", "in.jsonl", 9, "reader-stopped", "run-1"),
    ]
    load_all(archive, [Failed(note=broken, diagnostic=NOT_READ)], "run-2")
    assert [(row.id, row.run) for row in failed_notes(archive)] == [(None, "run-1"), ("n4", "run-2")]
    load_all(archive, [read(broken, finding("patellar", "left", 2))], "run-3")
    assert [(row.id, row.run) for row in failed_notes(archive)] == [(None, "run-1")]


def test_a_failed_line_is_settled_by_a_note_from_that_line(tmp_path: Path) -> None:
    archive = new_archive(tmp_path, LOST_LINE)
    load_all(archive, [read(note("n1", source="in.jsonl", line=4))], "run-2")
    assert len(list(failed_notes(archive))) == 1
    load_all(archive, [read(note("n2", source="in.jsonl", line=3))], "run-3")
    assert list(failed_notes(archive)) == []


def test_a_failed_file_is_settled_once_a_whole_run_met_it_without_failing(tmp_path: Path) -> None:
    lost_file = replace(LOST_LINE, source="notes.xml", line=None)
    archive = new_archive(tmp_path, lost_file)
    one = read(note("n1", source="notes.xml"))

    def stopped() -> Iterator[Item]:
        yield one
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        load_all(archive, stopped(), "run-2", batch_notes=1)
    assert [row.run for row in failed_notes(archive)] == ["run-1"]
    load_all(archive, [one, lost_file], "run-3")
    assert [row.run for row in failed_notes(archive)] == ["run-3"]
    load_all(archive, [one], "run-4")
    assert list(failed_notes(archive)) == []


def test_a_note_skipped_by_the_caller_counts_as_duplicate_only_where_it_was_read(tmp_path: Path) -> None:
    archive = new_archive(tmp_path, read(note("n1"), finding("patellar", "left", 2)))
    totals = load_all(archive, [note("n1"), note("n2"), note("n1", "other text")], "run-2")
    assert totals == RunTotals(notes_in=3, duplicate=1, failed=2, diagnostics=2)
    assert [row.code for row in failed_notes(archive)] == ["note-not-read", "note-not-read"]


def test_already_read_and_needs_reading_agree(tmp_path: Path) -> None:
    fingerprint = VOCABULARY.fingerprint
    known, changed, new = note("n1"), note("n2", "KJ 3+"), note("n3", system="urn:a")
    archive = new_archive(tmp_path, read(known), read(note("n2", "KJ 2+")), read(note("n3")))
    for about, wanted in ((known, True), (changed, False), (new, False)):
        assert already_read(archive, NoteKey(about.system, about.id), about.hash, fingerprint) is wanted
    assert [needed for _, needed in needs_reading(archive, [known, changed, new], fingerprint)] == [
        False,
        True,
        True,
    ]
    assert not already_read(archive, NoteKey(None, "n1"), known.hash, "another")
    moved = replace(known, facility="hillside")
    assert [needed for _, needed in needs_reading(archive, [known, moved], fingerprint, "plexor 0.1.0")] == [
        False,
        True,
    ]
    assert [needed for _, needed in needs_reading(archive, [known], fingerprint, "plexor 0.2.0")] == [True]


def test_a_stream_can_ask_what_needs_reading_while_it_is_loaded(tmp_path: Path) -> None:
    notes = [note(f"n{number}", f"KJ {number}") for number in range(50)]
    archive = open_archive(tmp_path / "a.duckdb")
    for run, wanted in (("run-1", (50, 0)), ("run-2", (0, 50))):
        asked = needs_reading(archive, notes, VOCABULARY.fingerprint)
        items = (read(one, finding("patellar", "left", 2)) if needed else one for one, needed in asked)
        totals = load_all(archive, items, run, batch_notes=7)
        assert (totals.with_findings, totals.duplicate) == wanted


def test_first_read_is_the_time_of_the_first_run_that_read_it(tmp_path: Path) -> None:
    about = note("n1")
    archive = open_archive(tmp_path / "a.duckdb")
    load(archive, [read(about)], run_info("r1", "2024-01-01T00:00:00Z"), VOCABULARY)
    load(archive, [read(about)], run_info("r2", "2024-02-01T00:00:00Z"), VOCABULARY)
    key = NoteKey(None, "n1")
    assert (
        first_read(archive, key, about.hash, VOCABULARY.fingerprint, "plexor 0.1.0") == "2024-01-01T00:00:00Z"
    )
    assert first_read(archive, key, about.hash, VOCABULARY.fingerprint, "plexor 9") is None


def test_a_note_the_database_cannot_hold_fails_alone(tmp_path: Path) -> None:
    items = [read(note(f"n{number}"), finding("patellar", "left", 2)) for number in range(20)]
    items[7] = read(note("half \ud800"), finding("patellar", "left", 2))
    items[11] = read(note("n11"), finding("patellar", "left", 2, denominator=2**40))
    items[13] = read(note("n13"), finding("nowhere", "left", 2))
    items[15] = (items[15][0], items[14][1], items[15][2])
    items[17] = read(note("n17"), exams=tuple(Exam(exam=1, status="current", start=0, end=1) for _ in "ab"))
    archive = open_archive(tmp_path / "a.duckdb")
    totals = load_all(archive, items)
    assert (totals.notes_in, totals.with_findings, totals.failed) == (20, 15, 5)
    assert totals.adds_up
    assert gc.isenabled()  # which a load pauses
    codes = ["note-not-stored"] * 3 + ["reading-of-another-note", "note-not-stored"]
    assert [row.code for row in failed_notes(archive)] == codes
    assert [row.id for row in failed_notes(archive)] == ["half \\ud800", "n11", "n13", "n15", "n17"]
    stored = archive.connection.execute("SELECT failed, notes_in FROM runs").fetchall()
    assert stored == [(5, 20)]


def test_hostile_strings_are_kept_as_they_are(tmp_path: Path) -> None:
    hostile = [
        "'; DROP TABLE notes; --",
        '"quoted"',
        "nul\0inside",
        "\u2028\ufeff",
        "%s ? $1 {x}",
        "",
        "😀" * 300,
    ]
    items = [read(note(text, text or "-", patient=text), finding("patellar", "left", 2)) for text in hostile]
    archive = new_archive(tmp_path, *items)
    for text in hostile:
        rows = list(find(archive, FindQuery(notes=(text,), patients=(text,))))
        assert [(row.id, row.patient) for row in rows] == [(text, text)]
    texts = archive.connection.execute("SELECT text FROM notes ORDER BY note").fetchall()
    assert [text for (text,) in texts] == [text or "-" for text in hostile]


def test_no_quotes_keeps_every_word_of_the_note_out(tmp_path: Path) -> None:
    item = full_item()
    lost = replace(LOST_LINE, message="the wobbly left is not JSON")
    archive = new_archive(tmp_path, item, lost, Failed(note=item[0], diagnostic=lost), quotes=False)
    archive.close()
    held = (tmp_path / "archive.duckdb").read_bytes()
    for word in ("wobbly", "rhubarb", "old sentence", "1 to 2 plus", "cast on the leg"):
        assert word.encode() not in held
    with open_archive(tmp_path / "archive.duckdb", read_only=True) as again:
        (row,) = find(again, FindQuery(statuses=()))
        assert (row.quote, row.as_written, row.reason) == (None, None, None)
        assert (row.grade_low, row.grade_high, row.beats, row.root) == (1, 2, "4-5", "L4")
        assert [(failed.code, failed.message) for failed in failed_notes(again)] == [
            ("line-not-json", None)
        ] * 2


@pytest.mark.parametrize("first", [True, False])
def test_an_archive_keeps_to_its_choice_about_quotes(tmp_path: Path, first: bool) -> None:
    archive = new_archive(tmp_path, read(note("n1")), quotes=first)
    before = content(archive)
    with pytest.raises(ArchiveError, match="text"):
        load_all(archive, [read(note("n2"))], "run-2", quotes=not first)
    assert content(archive) == before
    assert load_all(archive, [read(note("n2"))], "run-3", quotes=first).notes_in == 1


def test_every_field_of_the_record_has_a_column(tmp_path: Path) -> None:
    archive = new_archive(tmp_path)
    columns = {
        row[0]
        for row in archive.connection.execute(
            "SELECT column_name FROM duckdb_columns() WHERE table_name = 'findings'"
        ).fetchall()
    }
    renamed = {"start": "start_offset", "end": "end_offset"}
    assert {renamed.get(field.name, field.name) for field in fields(Finding)} <= columns


def test_progress_is_told_after_each_batch(tmp_path: Path) -> None:
    archive = open_archive(tmp_path / "a.duckdb")
    told: list[int] = []
    items = [read(note(f"n{number}")) for number in range(5)]
    load_all(archive, items, batch_notes=2, progress=lambda totals: told.append(totals.notes_in))
    assert told == [2, 4, 5]


def test_a_batch_ends_early_where_its_notes_are_long(tmp_path: Path) -> None:
    archive = open_archive(tmp_path / "a.duckdb")
    told: list[int] = []
    items = [read(note(f"n{number}", "x" * 600)) for number in range(5)]
    load_all(archive, items, batch_characters=1000, progress=lambda totals: told.append(totals.notes_in))
    assert told == [2, 4, 5]


def test_reading_only_archives_take_nothing(tmp_path: Path) -> None:
    new_archive(tmp_path).close()
    archive = open_archive(tmp_path / "archive.duckdb", read_only=True)
    with archive, pytest.raises(ArchiveError, match="reading only"):
        load_all(archive, [])
