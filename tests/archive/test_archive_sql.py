"""Plain SQL: the documented views answer, and nothing can be written or read elsewhere."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from archive_notes import finding, full_item, load_all, new_archive, note, read

from converter.archive import Archive, ArchiveError, open_archive, sql


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Archive]:
    made = new_archive(
        tmp_path_factory.mktemp("shared"),
        full_item(),
        read(note("n1", "KJ 2+"), finding("patellar", "both", 2)),
    )
    load_all(made, [read(note("n1", "KJ 3+"), finding("patellar", "both", 3))], "run-2")
    made.close()
    with open_archive(made.path, read_only=True) as opened:
        yield opened


@pytest.mark.parametrize(
    ("text", "rows"),
    [
        ("SELECT id FROM current_notes ORDER BY id", [("full",), ("n1",)]),
        ("SELECT id, grade_low FROM current_findings ORDER BY id", [("full", 1.0), ("n1", 3.0)]),
        ("SELECT side, basis FROM current_reflexes WHERE id = 'n1' AND side = 'left'", [("left", "direct")]),
        ("SELECT exam, exam_status FROM current_exams WHERE id = 'full'", [(1, "historical")]),
        ("SELECT hpo, size FROM current_abnormalities", [("HP:0001265", 1.0)]),
        ("SELECT caution FROM current_abnormalities", [("For records work, not a diagnosis.",)]),
        ("SELECT site, side FROM current_not_examined", [("achilles", "right")]),
        ("SELECT why FROM current_unread", [("no-rule",)]),
        ("SELECT count(*) FROM current_diagnostics", [(2,)]),
        ("SELECT count(*) FROM failed_notes", [(0,)]),
        ("SELECT count(*) FROM retracted_findings", [(0,)]),
        ("SELECT superseded, adds_up FROM run_log ORDER BY run_number", [(0, True), (1, True)]),
        ("SELECT count(*) FROM findings WHERE spans[1].role = 'site'", [(1,)]),
    ],
)  # fmt: skip
def test_the_documented_views_answer(archive: Archive, text: str, rows: list[tuple[object, ...]]) -> None:
    assert list(sql(archive, text).rows) == rows


def test_columns_are_named(archive: Archive) -> None:
    assert sql(archive, "SELECT id, side AS s FROM current_findings").columns == ("id", "s")


@pytest.mark.parametrize(
    "text",
    [
        "DELETE FROM notes",
        "CREATE TABLE t (a INTEGER)",
        "DROP VIEW current_notes",
        "UPDATE runs SET failed = 0",
        "COPY notes TO '{folder}/out.csv'",
        "EXPORT DATABASE '{folder}/out'",
        "ATTACH '{folder}/other.duckdb'",
        "SELECT * FROM read_text('/etc/hostname')",
        "SELECT * FROM read_csv('/etc/passwd')",
        "SELECT * FROM '/etc/passwd'",
        "INSTALL httpfs",
        "LOAD httpfs",
        "SET enable_external_access = true",
        "SET memory_limit = '1MB'",
        "PRAGMA database_size; DELETE FROM notes",
        "SELECT 1; SELECT 2",
        "",
        "SELECT",
        "SELECT * FROM nowhere",
        "SELECT nothing FROM notes",
        "SELECT '\ud800'",
    ],
)
def test_what_is_not_a_search_is_refused_in_one_sentence(archive: Archive, tmp_path: Path, text: str) -> None:
    before = sorted(tmp_path.iterdir())
    with pytest.raises(ArchiveError) as caught:
        list(sql(archive, text.format(folder=tmp_path)).rows)
    assert "\n" not in str(caught.value)
    assert "Traceback" not in str(caught.value)
    assert sorted(tmp_path.iterdir()) == before
    assert list(sql(archive, "SELECT count(*) FROM notes").rows) == [(3,)]


def test_words_of_a_note_stay_out_of_error_messages(archive: Archive) -> None:
    with pytest.raises(ArchiveError) as caught:
        list(sql(archive, "SELECT CAST(text AS INTEGER) FROM notes").rows)
    assert str(caught.value) == "The query failed on a value it met."
    assert caught.value.__cause__ is None
    assert caught.value.__suppress_context__


def test_plain_sql_needs_an_archive_open_for_reading_only(tmp_path: Path) -> None:
    with new_archive(tmp_path) as writable, pytest.raises(ArchiveError, match="reading only"):
        sql(writable, "SELECT 1")
