"""Forgetting: nothing of the forgotten is left in any file, and nothing else changes."""

import os
import signal
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from archive_copies import copied
from archive_notes import VOCABULARY, abnormality, content, finding, load_all, note, read
from test_archive_amending import AT, MAKER, assessed

from converter.archive import (
    Archive,
    ArchiveError,
    Failed,
    Item,
    Link,
    NoteKey,
    Whom,
    amend,
    forget,
    lift_guard,
    open_archive,
    relink,
    stored_readings,
)
from converter.archive.forgetting import _KEEP
from converter.model import Amendment, Diagnostic, Note, Severity, Span, Unread

SALT = "salt-of-these-tests"
SECRET = ("zanzibar", "p-zz-17", "n-zz-1", "enc-zz", "wobbly-zz", "zz-file.txt", "1931-02-zz", "zz-remark")
"""Words that stand in the forgotten notes alone."""
STAYS = "p-stays"


def secret_note(name: str = "n-zz-1", text: str = "KJ 3+ said zanzibar, quite", **more: object) -> Note:
    given = {"patient": "p-zz-17", "encounter": "enc-zz", "source": "zz-file.txt", "birth_date": "1931-02-zz"}
    return note(name, text, **(given | more))


def filled(folder: Path) -> Path:
    """An archive with a patient to forget, in several states, and one who stays."""
    return copied(folder / "archive.duckdb", "to forget", fill)


def fill(path: Path) -> None:
    knee = finding(
        "patellar", "left", 3, spans=(Span(0, 2, "site"),), quote="zanzibar KJ", as_written="wobbly-zz"
    )
    about = secret_note()
    doubt = Diagnostic(code="doubt", severity=Severity.WARNING, message="zanzibar", source="zz-file.txt")
    said = abnormality(knee, sentence="zanzibar is brisk")
    unread = (Unread(start=6, end=9, text="wobbly-zz", why="no-rule"),)
    items: list[Item] = [
        read(about, knee, abnormalities=[said], unread=unread, diagnostics=(doubt,)),
        read(secret_note("n-zz-2", "zanzibar again"), finding("achilles", "left", 0)),
        read(note("n-stays", "AJ 2+", patient=STAYS, source="other.csv"), finding("achilles", "right", 2)),
        Failed(diagnostic=doubt, note=secret_note("n-zz-1", "broken")),
        replace(doubt, code="encoding-guessed"),
    ]
    with open_archive(path) as archive:
        load_all(archive, items)
        amendment = Amendment(
            system=None, id=about.id, note_hash=about.hash, spans=knee.spans, verdict="corrected",
            finding=replace(knee, side="right"), made_on=knee.finding, by="r1", at=AT, remark="zz-remark",
        )  # fmt: skip
        amend(archive, amendment, MAKER)
        other = read(
            note("n-stays", "AJ 2+", patient=STAYS, source="other.csv"), finding("achilles", "right", 2)
        )
        later = secret_note(text="KJ 2+ said zanzibar, later")
        load_all(archive, [other, read(later, finding("patellar", "left", 2))], "run-2", assess=assessed)


def bytes_around(folder: Path) -> bytes:
    return b"".join(file.read_bytes() for file in folder.rglob("*") if file.is_file())


def runs(archive: Archive) -> list[tuple[object, ...]]:
    return archive.connection.execute("SELECT * FROM run_log ORDER BY run_number").fetchall()


def fates(archive: Archive) -> list[tuple[object, ...]]:
    return archive.connection.execute("SELECT run_number, place, fate FROM note_log ORDER BY ALL").fetchall()


def test_nothing_of_the_forgotten_is_left_in_any_file(tmp_path: Path) -> None:
    path = filled(tmp_path)
    before = bytes_around(tmp_path)
    with open_archive(path) as archive:
        hashes = [
            row[0]
            for row in archive.connection.execute(
                "SELECT note_hash FROM notes WHERE patient = 'p-zz-17'"
            ).fetchall()
        ]
    assert all(word.encode() in before for word in (*SECRET, *hashes))
    done = forget(path, Whom(patient="p-zz-17"), "r9", AT, SALT)
    assert (done.notes, done.findings) == (3, 2)
    after = bytes_around(tmp_path)
    assert [word for word in (*SECRET, *hashes) if word.encode() in after] == []
    assert [file.name for file in tmp_path.iterdir()] == ["archive.duckdb"]
    with open_archive(path) as archive:
        archive.connection.execute("CHECKPOINT")
        assert [word for word in SECRET if word.encode() in bytes_around(tmp_path)] == []


def test_what_stays_is_as_it_was_and_the_runs_add_up(tmp_path: Path) -> None:
    path = filled(tmp_path)
    with open_archive(path) as archive:
        ran, went = runs(archive), fates(archive)
        kept = list(stored_readings(archive, [NoteKey(None, "n-stays")]))
    forget(path, Whom(patient="p-zz-17"), "r9", AT, SALT)
    with open_archive(path) as archive:
        assert runs(archive) == ran
        assert fates(archive) == went
        assert all(row[-1] for row in runs(archive))
        assert list(stored_readings(archive)) == kept
        counts = archive.connection.execute("SELECT * FROM forgotten").fetchall()
        assert counts == [(1, "r9", AT, 3, 2)]
        left = "SELECT count(*) FROM run_diagnostics"
        assert archive.connection.execute(left).fetchall() == [(2,)]


def test_the_same_source_does_not_bring_it_back_and_is_counted(tmp_path: Path) -> None:
    path = filled(tmp_path)
    forget(path, Whom(patient="p-zz-17"), "r9", AT, SALT)
    with open_archive(path) as archive:
        again = read(secret_note(), finding("patellar", "left", 3))
        unknown = read(secret_note("n-new", "KJ 1+"), finding("patellar", "left", 1))
        moved = read(secret_note(patient=None), finding("patellar", "left", 3))
        other = read(note("n-other", "KJ 2+", patient=STAYS), finding("patellar", "left", 2))
        failed = Failed(
            diagnostic=Diagnostic(code="x", severity=Severity.ERROR, message="x"), note=secret_note("n-zz-2")
        )
        totals = load_all(archive, [again, unknown, moved, other, failed], "run-3")
        assert (totals.kept_out, totals.with_findings, totals.failed) == (4, 1, 0)
        assert totals.adds_up
        (adds_up,) = {row[-1] for row in runs(archive)}
        assert adds_up
    assert [word for word in SECRET if word.encode() in bytes_around(tmp_path)] == []


def test_without_a_guard_it_comes_back(tmp_path: Path) -> None:
    path = filled(tmp_path)
    forget(path, Whom(patient="p-zz-17"), "r9", AT, SALT, guard=False)
    with open_archive(path) as archive:
        again = read(secret_note(), finding("patellar", "left", 3))
        assert load_all(archive, [again], "run-3").with_findings == 1


def test_a_guard_that_is_lifted_lets_it_in_again(tmp_path: Path) -> None:
    path = filled(tmp_path)
    forget(path, Whom(note=NoteKey(None, "n-stays")), "r9", AT, SALT)
    forget(path, Whom(patient="p-zz-17"), "r9", AT, SALT)
    again = read(secret_note(), finding("patellar", "left", 3))
    with open_archive(path) as archive:
        assert lift_guard(archive, Whom(patient="p-nobody")) == 0
        assert load_all(archive, [again], "run-3").kept_out == 1
        assert lift_guard(archive, Whom(patient="p-zz-17")) > 0
        stays = read(note("n-stays", "AJ 2+", patient=STAYS), finding("achilles", "right", 2))
        totals = load_all(archive, [again, stays], "run-4")
        assert (totals.with_findings, totals.kept_out) == (1, 1)


def test_one_note_goes_and_the_patients_others_stay(tmp_path: Path) -> None:
    path = filled(tmp_path)
    forget(path, Whom(note=NoteKey(None, "n-zz-2")), "r9", AT, SALT)
    with open_archive(path) as archive:
        assert {one.id for one, _, _ in stored_readings(archive)} == {"n-zz-1", "n-stays"}
        more = read(secret_note("n-zz-3", "KJ 1+"), finding("patellar", "left", 1))
        again = read(secret_note("n-zz-2", "zanzibar again"), finding("achilles", "left", 0))
        totals = load_all(archive, [more, again], "run-3")
        assert (totals.with_findings, totals.kept_out) == (1, 1)


def test_a_note_that_only_ever_failed_is_forgotten_too(tmp_path: Path) -> None:
    doubt = Diagnostic(code="broken", severity=Severity.ERROR, message="no", line=3, source="a.csv")
    with open_archive(tmp_path / "archive.duckdb") as archive:
        load_all(archive, [Failed(diagnostic=doubt, note=secret_note())])
    done = forget(tmp_path / "archive.duckdb", Whom(note=NoteKey(None, "n-zz-1")), "r9", AT, SALT)
    assert (done.notes, done.remarks) == (0, 1)
    assert b"n-zz-1" not in bytes_around(tmp_path)
    with open_archive(tmp_path / "archive.duckdb") as archive:
        assert archive.connection.execute("SELECT * FROM failed_notes").fetchall() == []
        assert runs(archive)[0][-1] is True


def test_a_version_that_names_somebody_else_stays(tmp_path: Path) -> None:
    with open_archive(tmp_path / "archive.duckdb") as archive:
        load_all(archive, [read(secret_note(), finding("patellar", "left", 3))])
        load_all(archive, [read(secret_note(patient=STAYS), finding("patellar", "left", 3))], "run-2")
    done = forget(tmp_path / "archive.duckdb", Whom(patient="p-zz-17"), "r9", AT, SALT)
    assert done.notes == 1
    with open_archive(tmp_path / "archive.duckdb") as archive:
        assert [one.patient for one, _, _ in stored_readings(archive)] == [STAYS]
    assert b"p-zz-17" not in bytes_around(tmp_path)


def test_a_patient_of_one_system_goes_alone(tmp_path: Path) -> None:
    with open_archive(tmp_path / "archive.duckdb") as archive:
        for system in ("urn:a", "urn:b"):
            load_all(archive, [read(secret_note(system=system), finding("patellar", "left", 3))], system)
    forget(tmp_path / "archive.duckdb", Whom(patient="p-zz-17", system="urn:a"), "r9", AT, SALT)
    with open_archive(tmp_path / "archive.duckdb") as archive:
        assert [one.system for one, _, _ in stored_readings(archive)] == ["urn:b"]


def test_a_merged_patient_is_forgotten_under_every_name(tmp_path: Path) -> None:
    path = filled(tmp_path)
    with open_archive(path) as archive:
        relink(archive, [Link("p-zz-17", "p-zz-18")], "r9", AT)
    with pytest.raises(ArchiveError, match="merged into another"):
        forget(path, Whom(patient="p-zz-17"), "r9", AT, SALT)
    forget(path, Whom(patient="p-zz-18"), "r9", AT, SALT)
    assert [word for word in (*SECRET, "p-zz-18") if word.encode() in bytes_around(tmp_path)] == []
    with open_archive(path) as archive:
        late = read(secret_note("n-late", "KJ 1+"), finding("patellar", "left", 1))
        assert load_all(archive, [late], "run-3").kept_out == 1


def test_nothing_to_forget_is_said_and_changes_nothing(tmp_path: Path) -> None:
    path = filled(tmp_path)
    before = path.read_bytes()
    for whom in (Whom(patient="p-nobody"), Whom(note=NoteKey("urn:x", "n-zz-1"))):
        with pytest.raises(ArchiveError, match="There is no"):
            forget(path, whom, "r9", AT, SALT)
    with pytest.raises(ArchiveError, match="there is no archive here"):
        forget(tmp_path / "missing", Whom(patient="p"), "r9", AT, SALT)
    assert path.read_bytes() == before
    assert [file.name for file in tmp_path.iterdir()] == ["archive.duckdb"]


def test_every_table_has_its_rule(tmp_path: Path) -> None:
    with open_archive(tmp_path / "archive.duckdb") as archive:
        tables = archive.connection.execute("SELECT table_name FROM duckdb_tables()").fetchall()
    assert {name for (name,) in tables} == set(_KEEP)


def test_a_fresh_archive_is_what_one_that_never_held_the_patient_would_be(tmp_path: Path) -> None:
    path = filled(tmp_path)
    forget(path, Whom(patient="p-zz-17"), "r9", AT, SALT, guard=False)
    (tmp_path / "never").mkdir()
    with open_archive(tmp_path / "never" / "archive.duckdb") as never:
        stays = read(
            note("n-stays", "AJ 2+", patient=STAYS, source="other.csv"), finding("achilles", "right", 2)
        )
        load_all(never, [stays])
        expected = content(never)
    with open_archive(path) as archive:
        held = content(archive)
    numbers = {"notes", "readings", "findings", "exams", "reflexes", "assessments"}
    assert {table for table in held if held[table] != expected[table]} <= numbers | {"forgotten"}
    assert {table: len(rows) for table, rows in held.items() if table != "forgotten"} == {
        table: len(rows) for table, rows in expected.items() if table != "forgotten"
    }


_KILLED = """
import os, signal, sys
from pathlib import Path
from converter.archive import Whom, forget
from converter.archive import forgetting
def dies(*_):
    os.kill(os.getpid(), signal.SIGKILL)
forgetting.shutil.copymode = dies
forget(Path({path!r}), Whom(patient="p-zz-17"), "r9", "2031-05-01T08:00:00Z", "salt")
"""


def test_killed_before_the_last_step_it_leaves_the_archive_whole(tmp_path: Path) -> None:
    path = filled(tmp_path)
    with open_archive(path) as archive:
        before = content(archive)
    program = [sys.executable, "-c", _KILLED.format(path=str(path))]
    done = subprocess.run(program, capture_output=True, text=True, env=dict(os.environ), check=False)
    assert done.returncode == -signal.SIGKILL, done.stderr
    with open_archive(path) as archive:
        assert content(archive) == before
    assert len(list(tmp_path.iterdir())) == 2
    forget(path, Whom(patient="p-zz-17"), "r9", AT, SALT)
    assert [file.name for file in tmp_path.iterdir()] == ["archive.duckdb"]


def test_another_program_that_has_the_archive_open_is_told_of(tmp_path: Path) -> None:
    path = filled(tmp_path)
    with open_archive(path), pytest.raises(ArchiveError):
        forget(path, Whom(patient="p-zz-17"), "r9", AT, SALT)
    assert b"p-zz-17" in path.read_bytes()


def test_the_rights_of_the_file_stay(tmp_path: Path) -> None:
    path = filled(tmp_path)
    path.chmod(0o640)
    forget(path, Whom(patient="p-zz-17"), "r9", AT, SALT)
    assert path.stat().st_mode & 0o777 == 0o640


def test_amendments_of_others_stay(tmp_path: Path) -> None:
    path = filled(tmp_path)
    with open_archive(path) as archive:
        ((about, reading, _),) = stored_readings(archive, [NoteKey(None, "n-stays")])
        said = Amendment(
            system=None, id=about.id, note_hash=about.hash, spans=reading.findings[0].spans, by="r1", at=AT,
            verdict="confirmed", finding=reading.findings[0], made_on=reading.findings[0].finding,
        )  # fmt: skip
        number = amend(archive, said, MAKER)
    forget(path, Whom(patient="p-zz-17"), "r9", AT, SALT)
    with open_archive(path) as archive:
        ((_, after, _),) = stored_readings(archive)
        assert [one.number for one in after.amendments] == [number]
        assert VOCABULARY.fingerprint == after.vocabulary
