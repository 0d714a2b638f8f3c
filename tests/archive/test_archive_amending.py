"""Amendments in the archive: made, seen by every search, undone, and kept through new readings."""

import os
import signal
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from archive_notes import CAUTION, VOCABULARY, finding, load_all, new_archive, note, read

from converter.archive import (
    AmendmentError,
    Archive,
    ArchiveError,
    FindQuery,
    Maker,
    NoteKey,
    amend,
    amendments,
    find,
    open_archive,
    sql,
    stored_readings,
    undo,
)
from converter.model import Amendment, Assessment, Finding, Note, Reading, Span, Unread

AT = "2031-05-01T08:00:00Z"


def assessed(note: Note, reading: Reading) -> tuple[Assessment, ...]:
    """An assessment that tells how many findings it saw."""
    return tuple(
        Assessment(exam=exam.exam, caution=f"{CAUTION} {len(reading.findings)}") for exam in reading.exams
    )


MAKER = Maker(VOCABULARY, assessed)
KNEE = finding("patellar", "left", 3, spans=(Span(0, 2, "site"), Span(3, 5, "value")), finding="knee")
ANKLE = finding("achilles", "left", 0, spans=(Span(6, 8, "site"),), start=6, end=8, finding="ankle")
JERKS = Unread(start=15, end=28, text="", why="no-rule")
TEXT = "KJ 3+ AJ 0 and rhubarb jerks"


def with_two(folder: Path, **more: object) -> Archive:
    return new_archive(folder, read(note("n1", TEXT), KNEE, ANKLE, unread=(JERKS,)), **more)


def said(verdict: str, about: Finding | None, **more: object) -> Amendment:
    """What reviewer r1 says of a finding of note n1."""
    given = {
        "system": None, "id": "n1", "note_hash": note("n1", TEXT).hash, "by": "r1", "at": AT,
        "spans": about.spans if about else (), "finding": about,
        "made_on": about.finding if about else None, "verdict": verdict,
    }  # fmt: skip
    return Amendment(**{**given, **more})  # type: ignore[arg-type]


def findings(archive: Archive) -> list[tuple[str, str, str | None]]:
    ((_, reading, _),) = stored_readings(archive, [NoteKey(None, "n1")])
    return [(one.site, one.side, one.verdict) for one in reading.findings]


def test_a_corrected_finding_is_what_every_search_sees(tmp_path: Path) -> None:
    with with_two(tmp_path) as archive:
        assert amend(archive, said("corrected", replace(KNEE, side="right")), MAKER) == 1
        assert findings(archive) == [("patellar", "right", "corrected"), ("achilles", "left", None)]
        rows = {(row.site, row.side) for row in find(archive, FindQuery())}
        assert rows == {("patellar", "right"), ("achilles", "left")}
        assert [row.side for row in find(archive, FindQuery(sites=("patellar",)))] == ["right"]
        ((_, reading, summaries),) = stored_readings(archive)
        assert [one.caution for one in summaries] == [f"{CAUTION} 2"]
        assert [(one.number, one.by, one.at) for one in reading.amendments] == [(1, "r1", AT)]


def test_the_reading_stays_beside_its_amended_form(tmp_path: Path) -> None:
    with with_two(tmp_path) as archive:
        before = list(stored_readings(archive))
        amend(archive, said("rejected", KNEE), MAKER)
        assert list(stored_readings(archive, as_read=True)) == before
        undo(archive, 1, "r2", AT, MAKER)
        assert list(stored_readings(archive)) == before
        (undone,) = amendments(archive)
        assert (undone.undone_by, undone.undone_at, undone.finding) == ("r2", AT, KNEE)
        kept = archive.connection.execute("SELECT count(*) FROM findings").fetchall()
        assert kept == [(2,)]


def test_a_rejected_finding_is_gone_from_searches_and_kept_on_record(tmp_path: Path) -> None:
    with with_two(tmp_path) as archive:
        amend(archive, said("rejected", KNEE), MAKER)
        assert findings(archive) == [("achilles", "left", None)]
        ((_, reading, _),) = stored_readings(archive)
        assert [(one.verdict, one.finding) for one in reading.amendments] == [("rejected", KNEE)]
        gone = archive.connection.execute("SELECT finding FROM retracted_findings").fetchall()
        assert gone == [("knee",)]


def test_an_added_finding_takes_the_unread_wording(tmp_path: Path) -> None:
    missed = finding("triceps", "right", 2, spans=(Span(15, 28, "value"),), start=15, end=28, quote="")
    with with_two(tmp_path) as archive:
        amend(archive, said("added", missed, made_on=None), MAKER)
        assert findings(archive)[-1] == ("triceps", "right", "added")
        ((_, reading, _),) = stored_readings(archive)
        assert reading.unread == ()
        assert reading.findings[-1].finding == "added-triceps-right-15"


def test_unread_wording_can_be_called_no_finding_but_a_finding_cannot(tmp_path: Path) -> None:
    with with_two(tmp_path) as archive:
        amend(archive, said("no_finding", None, spans=(Span(15, 28, "unread"),)), MAKER)
        ((_, reading, _),) = stored_readings(archive)
        assert reading.unread == ()
        with pytest.raises(AmendmentError, match="a finding stands there; reject it instead"):
            amend(archive, said("no_finding", None, spans=(Span(0, 2, "unread"),)), MAKER)


def test_amendments_survive_a_new_reading_where_the_spans_still_stand(tmp_path: Path) -> None:
    newer = replace(VOCABULARY, fingerprint="newer words")
    with with_two(tmp_path) as archive:
        amend(archive, said("corrected", replace(KNEE, side="right")), MAKER)
        amend(archive, said("confirmed", ANKLE), MAKER)
        wider = replace(ANKLE, spans=(Span(6, 8, "site"), Span(9, 10, "value")), end=10)
        again = read(note("n1", TEXT), KNEE, wider, vocabulary="newer words")
        totals = load_all(archive, [again], "run-2", newer, assess=assessed)
        assert (totals.superseded, totals.adds_up) == (1, True)
        assert findings(archive) == [("patellar", "right", "corrected"), ("achilles", "left", None)]
        ((_, reading, _),) = stored_readings(archive)
        assert [one.number for one in reading.amendments] == [1]
        assert [(one.code, one.start, one.end) for one in reading.diagnostics] == [
            ("amendment-not-applied", 6, 8)
        ]
        states = archive.connection.execute(
            "SELECT amendment, state FROM amendment_log ORDER BY 1"
        ).fetchall()
        assert states == [(1, "applied"), (2, "not_applied")]


def test_loading_the_same_notes_again_changes_nothing_of_amended_ones(tmp_path: Path) -> None:
    with with_two(tmp_path) as archive:
        amend(archive, said("rejected", KNEE), MAKER)
        again = read(
            note("n1", TEXT), KNEE, ANKLE, unread=(Unread(start=15, end=28, text="", why="no-rule"),)
        )
        totals = load_all(archive, [again], "run-2", assess=assessed)
        assert (totals.duplicate, totals.notes_in) == (1, 1)
        assert findings(archive) == [("achilles", "left", None)]


def test_another_text_leaves_the_amendments_of_the_first_on_record(tmp_path: Path) -> None:
    with with_two(tmp_path) as archive:
        amend(archive, said("rejected", KNEE), MAKER)
        load_all(archive, [read(note("n1", TEXT + " more"), KNEE)], "run-2", assess=assessed)
        assert findings(archive) == [("patellar", "left", None)]
        with pytest.raises(AmendmentError, match="another one now"):
            amend(archive, said("rejected", KNEE), MAKER)
        load_all(archive, [read(note("n1", TEXT), KNEE, ANKLE)], "run-3", assess=assessed)
        assert findings(archive) == [("achilles", "left", None)]


def test_what_does_not_fit_is_refused_and_leaves_no_trace(tmp_path: Path) -> None:
    elsewhere = replace(KNEE, spans=(Span(1, 2, "site"),))
    with with_two(tmp_path) as archive:
        for wrong, sentence in (
            (said("confirmed", elsewhere), "no finding with these spans"),
            (said("confirmed", KNEE, id="n9"), "no note n9"),
            (said("praised", KNEE), "is no verdict"),
            (said("confirmed", None), "the finding is missing"),
            (said("confirmed", KNEE, at="yesterday"), "says who judged, and when"),
            (said("confirmed", KNEE, by=" "), "says who judged, and when"),
            (said("rejected", replace(KNEE, side="right")), "says something else now"),
        ):
            with pytest.raises(AmendmentError, match=sentence):
                amend(archive, wrong, MAKER)
        with pytest.raises(AmendmentError, match="no amendment 7"):
            undo(archive, 7, "r1", AT, MAKER)
        assert list(amendments(archive)) == []
        assert amend(archive, said("confirmed", KNEE), MAKER) == 1


def test_an_amendment_is_undone_once(tmp_path: Path) -> None:
    with with_two(tmp_path) as archive:
        amend(archive, said("rejected", KNEE), MAKER)
        undo(archive, 1, "r1", AT, MAKER)
        with pytest.raises(AmendmentError, match="undone before"):
            undo(archive, 1, "r1", AT, MAKER)


def test_undoing_the_first_of_two_leaves_the_second(tmp_path: Path) -> None:
    with with_two(tmp_path) as archive:
        amend(archive, said("confirmed", KNEE), MAKER)
        amend(archive, said("corrected", replace(KNEE, side="right")), MAKER)
        states = archive.connection.execute("SELECT state FROM amendment_log ORDER BY amendment").fetchall()
        assert states == [("replaced",), ("applied",)]
        undo(archive, 1, "r1", AT, MAKER)
        assert findings(archive)[0] == ("patellar", "right", "corrected")
        states = archive.connection.execute("SELECT state FROM amendment_log ORDER BY amendment").fetchall()
        assert states == [("undone",), ("applied",)]
        undo(archive, 2, "r1", AT, MAKER)
        assert findings(archive)[0] == ("patellar", "left", None)


def test_an_archive_without_quotes_keeps_no_words_of_an_amendment(tmp_path: Path) -> None:
    spoken = replace(KNEE, as_written="wobbly 3+", quote="wobbly KJ 3+", reason="wobbly cast")
    with with_two(tmp_path, quotes=False) as archive:
        amend(archive, said("corrected", spoken, remark="wobbly indeed"), MAKER)
    assert b"wobbly" not in (tmp_path / "archive.duckdb").read_bytes()
    with open_archive(tmp_path / "archive.duckdb") as archive:
        assert findings(archive)[0] == ("patellar", "left", "corrected")


def test_a_note_with_amendments_is_not_loaded_without_something_to_assess_it(tmp_path: Path) -> None:
    newer = replace(VOCABULARY, fingerprint="newer words")
    with with_two(tmp_path) as archive:
        amend(archive, said("rejected", KNEE), MAKER)
        again = read(note("n1", TEXT), KNEE, ANKLE, vocabulary="newer words")
        assert load_all(archive, [again], "run-2", newer).failed == 1
        assert findings(archive) == [("achilles", "left", None)]


def test_an_archive_open_for_reading_is_not_amended(tmp_path: Path) -> None:
    with_two(tmp_path).close()
    with open_archive(tmp_path / "archive.duckdb", read_only=True) as archive:
        with pytest.raises(ArchiveError, match="reading only"):
            amend(archive, said("rejected", KNEE), MAKER)
        assert list(sql(archive, "FROM amendment_log").rows) == []


def test_somebody_elses_change_at_the_same_moment_is_waited_for(tmp_path: Path) -> None:
    with with_two(tmp_path) as archive:
        other = archive.connection.cursor()
        other.execute("BEGIN")
        other.execute("UPDATE archive_info SET next_amendment = next_amendment + 1")
        with pytest.raises(ArchiveError, match="somebody else is writing"):
            amend(archive, said("rejected", KNEE), MAKER)
        other.execute("COMMIT")
        assert amend(archive, said("rejected", KNEE), MAKER) == 2


_KILLED = """
import os, signal, sys
sys.path.insert(0, {tests!r})
from test_archive_amending import KNEE, ANKLE, MAKER, said
from converter.archive import amend, open_archive, Maker
archive = open_archive({path!r})
amend(archive, said("rejected", KNEE), MAKER)
print("made", flush=True)
def dies(note, reading):
    os.kill(os.getpid(), signal.SIGKILL)
amend(archive, said("rejected", ANKLE), Maker(MAKER.vocabulary, dies))
"""


def test_a_kill_in_the_middle_loses_no_amendment_and_leaves_no_half_one(tmp_path: Path) -> None:
    with_two(tmp_path).close()
    path = str(tmp_path / "archive.duckdb")
    program = _KILLED.format(tests=str(Path(__file__).parent), path=path)
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, env=dict(os.environ), check=False
    )
    assert (done.stdout, done.returncode) == ("made\n", -signal.SIGKILL), done.stderr
    with open_archive(path) as archive:
        assert [one.made_on for one in amendments(archive)] == ["knee"]
        assert findings(archive) == [("achilles", "left", None)]
        assert amend(archive, said("rejected", ANKLE), MAKER) == 2
        assert findings(archive) == []


_HOLDS = """
import sys
from converter.archive import open_archive
with open_archive({path!r}):
    print("open", flush=True)
    sys.stdin.readline()
"""


def test_another_program_that_writes_is_named_and_waited_for(tmp_path: Path) -> None:
    with_two(tmp_path).close()
    path = tmp_path / "archive.duckdb"
    program = [sys.executable, "-c", _HOLDS.format(path=str(path))]
    with subprocess.Popen(program, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as other:
        assert other.stdin
        assert other.stdout
        assert other.stdout.readline() == "open\n"
        with pytest.raises(ArchiveError, match=rf"another program \(process {other.pid}\) has the archive"):
            open_archive(path, patience=0.2)
        other.stdin.write("close\n")
        other.stdin.flush()
        with open_archive(path, patience=30) as archive:
            assert amend(archive, said("rejected", KNEE), MAKER) == 1
