"""Opening: who may read the file, what is no archive, and how an older form is brought up to date."""

import gzip
import os
import stat
from pathlib import Path

import duckdb
import pytest
from archive_notes import finding, load_all, new_archive, note, read

from converter.archive import (
    ArchiveError,
    FindQuery,
    Maker,
    NoteKey,
    amend,
    find,
    open_archive,
    stored_readings,
)
from converter.archive import opening as opening_module
from converter.archive.forms import Step, column_meanings, steps
from converter.model import Amendment
from converter.words import shipped_vocabulary


def test_every_file_of_an_archive_is_its_owners_only(tmp_path: Path) -> None:
    before = os.umask(0o022)
    try:
        archive = new_archive(tmp_path, read(note("n1"), finding("patellar", "left", 2)))
        files = sorted(file.name for file in tmp_path.iterdir())
        assert files == ["archive.duckdb", "archive.duckdb.wal"]
        for file in tmp_path.iterdir():
            assert stat.S_IMODE(file.stat().st_mode) == 0o600
        archive.close()
        assert [file.name for file in tmp_path.iterdir()] == ["archive.duckdb"]
        assert stat.S_IMODE((tmp_path / "archive.duckdb").stat().st_mode) == 0o600
        (tmp_path / "other").touch()
        assert stat.S_IMODE((tmp_path / "other").stat().st_mode) == 0o644
    finally:
        os.umask(before)


def test_a_missing_archive_is_not_made_where_that_was_not_asked(tmp_path: Path) -> None:
    for more in ({"read_only": True}, {"create": False}):
        with pytest.raises(ArchiveError, match="there is no archive here"):
            open_archive(tmp_path / "a.duckdb", **more)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("held", [b"", b"hello", bytes(5000), os.urandom(3000)])
@pytest.mark.parametrize("read_only", [True, False])
def test_a_file_that_is_no_archive_is_left_alone(tmp_path: Path, held: bytes, read_only: bool) -> None:
    folder = tmp_path / "lock directory; different configuration"  # words of other complaints
    folder.mkdir()
    path = folder / "a.duckdb"
    path.write_bytes(held)
    with pytest.raises(ArchiveError, match=r"a\.duckdb: this file is no plexor archive\.$"):
        open_archive(path, read_only=read_only)
    assert path.read_bytes() == held


def test_a_database_of_somebody_else_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "a.duckdb"
    duckdb.connect(str(path)).execute("CREATE TABLE t (a INTEGER)").close()
    with pytest.raises(ArchiveError, match="no plexor archive"):
        open_archive(path)


def test_a_folder_or_a_missing_folder_is_said_plainly(tmp_path: Path) -> None:
    with pytest.raises(ArchiveError, match="this is a folder"):
        open_archive(tmp_path)
    with pytest.raises(ArchiveError, match=r"cannot be made here \(no such file or directory\)\.$"):
        open_archive(tmp_path / "missing" / "a.duckdb")


def test_a_truncated_archive_is_said_to_be_damaged(tmp_path: Path) -> None:
    new_archive(tmp_path, read(note("n1"), finding("patellar", "left", 2))).close()
    path = tmp_path / "archive.duckdb"
    path.write_bytes(path.read_bytes()[:20000])
    with pytest.raises(ArchiveError, match="damaged"):
        open_archive(path)


def test_an_archive_of_a_newer_program_is_refused(tmp_path: Path) -> None:
    archive = new_archive(tmp_path)
    archive.connection.execute("UPDATE archive_info SET schema_version = 999")
    archive.close()
    for read_only in (True, False):
        with pytest.raises(ArchiveError, match=r"made by a newer plexor \(form 999, known here \d+\)\.$"):
            open_archive(tmp_path / "archive.duckdb", read_only=read_only)


def test_an_older_form_is_brought_up_to_date_with_what_it_holds(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    new_archive(tmp_path, read(note("n1"), finding("patellar", "left", 2))).close()
    newest = steps()[-1].version
    later = Step(newest + 1, "ALTER TABLE notes ADD COLUMN ward VARCHAR; UPDATE notes SET ward = 'w';")
    monkeypatch.setattr(opening_module, "steps", lambda: (*steps(), later))
    path = tmp_path / "archive.duckdb"
    with pytest.raises(ArchiveError, match="older form"):
        open_archive(path, read_only=True)
    with open_archive(path) as archive:
        assert archive.connection.execute("SELECT ward FROM notes").fetchall() == [("w",)]
        assert [row.id for row in find(archive, FindQuery())] == ["n1"]
    with open_archive(path, read_only=True) as archive:
        assert archive.connection.execute("SELECT schema_version FROM archive_info").fetchall() == [
            (newest + 1,)
        ]


def test_a_failing_step_leaves_the_older_form_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    new_archive(tmp_path, read(note("n1"))).close()
    newest = steps()[-1].version
    broken = Step(newest + 1, "ALTER TABLE notes ADD COLUMN ward VARCHAR; SELECT nonsense FROM nowhere;")
    with monkeypatch.context() as patch:
        patch.setattr(opening_module, "steps", lambda: (*steps(), broken))
        with pytest.raises(ArchiveError, match="could not be brought up to date"):
            open_archive(tmp_path / "archive.duckdb")
    with open_archive(tmp_path / "archive.duckdb") as archive:
        assert load_all(archive, [note("n1")], "run-2").duplicate == 1


def test_several_may_read_at_once(tmp_path: Path) -> None:
    new_archive(tmp_path, read(note("n1"))).close()
    path = tmp_path / "archive.duckdb"
    first, second = open_archive(path, read_only=True), open_archive(path, read_only=True)
    with first, second, pytest.raises(ArchiveError, match="already has the archive open"):
        open_archive(path)


def test_every_table_view_and_column_is_documented(tmp_path: Path) -> None:
    with new_archive(tmp_path) as archive:
        known = archive.connection.execute('SELECT name, "column", meaning FROM documentation').fetchall()
    assert [row for row in known if not row[2]] == []
    assert {row[1] for row in known if row[1]} == set(column_meanings())


def test_an_archive_that_an_earlier_program_wrote_is_brought_up_to_date(tmp_path: Path) -> None:
    """`form-1.duckdb.gz` was written by the program before amendments: three invented notes."""
    path = tmp_path / "archive.duckdb"
    path.write_bytes(gzip.decompress((Path(__file__).parent / "form-1.duckdb.gz").read_bytes()))
    with pytest.raises(ArchiveError, match="older form"):
        open_archive(path, read_only=True)
    with open_archive(path) as archive:
        assert {row.id for row in find(archive, FindQuery(sites=("achilles",)))} == {"n1", "n2"}
        ((about, reading, _),) = stored_readings(archive, [NoteKey("urn:example:lakeside", "n2")])
        assert {one.verdict for one in reading.findings} == {None}
        said = Amendment(
            system=about.system, id=about.id, note_hash=about.hash, spans=reading.findings[0].spans,
            verdict="rejected", finding=reading.findings[0], made_on=reading.findings[0].finding,
            by="r1", at="2031-05-01T08:00:00Z",
        )  # fmt: skip
        assert amend(archive, said, Maker(shipped_vocabulary(), lambda *_: ())) == 1
        ((_, after, _),) = stored_readings(archive, [NoteKey("urn:example:lakeside", "n2")])
        assert after.findings == reading.findings[1:]
        fresh = archive.connection.execute("SELECT quotes, next_run FROM archive_info").fetchall()
        assert fresh == [(True, 2)]
