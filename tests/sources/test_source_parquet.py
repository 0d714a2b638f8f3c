"""Parquet files, written by DuckDB, are read as the same notes that CSV gives."""

import gzip
import tracemalloc
from dataclasses import replace
from pathlib import Path

import pytest
from note_files import codes, only, read, write

from converter.model import Note, Severity
from converter.sources import SourceOptions, open_notes


def parquet(path: Path, select: str) -> Path:
    """A Parquet file with what a query gives."""
    import duckdb

    with duckdb.connect() as database:
        database.execute(f"COPY ({select}) TO '{path}' (FORMAT parquet)")
    return path


ROWS = (
    "SELECT 'n' || i AS id, 'KJ ' || i || '+' AS text, i AS patient, DATE '2031-05-06' AS authored, "
    "71 AS age FROM range(1, 4) t(i)"
)


@pytest.mark.parametrize("name", ["a.parquet", "a.pq", "a.txt", "a", "a[1]*.parquet", "a'b.parquet"])
def test_rows_are_notes_whatever_the_file_is_called(tmp_path: Path, name: str) -> None:
    file = parquet(tmp_path / "x", ROWS).rename(tmp_path / name)
    notes, troubles = read(file)
    assert troubles == []
    assert [(note.id, note.text, note.patient, note.authored, note.age, note.line) for note in notes] == [
        (f"n{at}", f"KJ {at}+", str(at), "2031-05-06", 71, at) for at in (1, 2, 3)
    ]


def test_it_gives_what_csv_gives(tmp_path: Path) -> None:
    rows = "id,text,patient,authored,age\n" + "".join(
        f"n{at},KJ {at}+,{at},2031-05-06,71\n" for at in (1, 2, 3)
    )
    ours, theirs = (
        [replace(note, source=None, line=None) for note in read(file)[0]]
        for file in (parquet(tmp_path / "a.parquet", ROWS), write(tmp_path / "a.csv", rows))
    )
    assert ours == theirs


@pytest.mark.parametrize(
    ("value", "authored"),
    [
        ("TIMESTAMP '2031-05-06 14:30:00'", "2031-05-06T14:30:00"),
        ("TIMESTAMPTZ '2031-05-06 14:30:00+00'", "2031-05-06T14:30:00+00:00"),
        ("'2031-05'", "2031-05"),
        ("NULL", None),
    ],
)
def test_times_of_any_type(tmp_path: Path, value: str, authored: str | None) -> None:
    (note,), troubles = read(
        parquet(tmp_path / "a.parquet", f"SELECT 'a' AS id, 'x' AS text, {value} AS authored")
    )
    assert (note.authored, troubles) == (authored, [])


def test_columns_are_renamed(tmp_path: Path) -> None:
    file = parquet(tmp_path / "a.parquet", 'SELECT \'a\' AS "Note ""No""", \'KJ 2+\' AS Body')
    (note,), troubles = read(file, options=SourceOptions(columns={"id": 'note "no"', "text": "BODY"}))
    assert (note.id, note.text, troubles) == ("a", "KJ 2+", [])


@pytest.mark.parametrize(
    ("select", "code", "words"),
    [
        ("SELECT 1 AS id, 'x' AS note", "no-text-column", "no column text"),
        ("SELECT 1 AS id, 7 AS text", "no-text-column", "INTEGER"),
        ("SELECT 1 AS id, ['a', 'b'] AS text", "no-text-column", "VARCHAR[]"),
        ("SELECT 1 AS id, {'a': 'b'} AS text", "no-text-column", "STRUCT"),
    ],
)
def test_another_schema_is_said_with_its_columns(tmp_path: Path, select: str, code: str, words: str) -> None:
    notes, troubles = read(parquet(tmp_path / "a.parquet", select), write(tmp_path / "good.txt", "KJ 2+"))
    assert [note.id for note in notes] == ["good"]
    trouble = only(troubles, code, Severity.ERROR)
    assert words in trouble.message
    assert "id, " in (trouble.hint or "")


def test_rows_without_text_or_with_too_much_are_said(tmp_path: Path) -> None:
    values = "('a', 'KJ 2+'), ('b', NULL), ('c', repeat('x', 2000)), ('d', 'AJ 1+')"
    file = parquet(tmp_path / "a.parquet", f"SELECT * FROM (VALUES {values}) t(id, text)")
    notes, troubles = read(file, options=SourceOptions(largest_note=1000))
    assert [note.id for note in notes] == ["a", "d"]
    assert [(trouble.code, trouble.line) for trouble in troubles] == [("no-text", 2), ("too-large", 3)]


def test_a_column_of_lists_is_left_out_and_said(tmp_path: Path) -> None:
    (note,), troubles = read(parquet(tmp_path / "a.parquet", "SELECT 'a' AS id, 'x' AS text, [1] AS patient"))
    assert note.patient is None
    only(troubles, "bad-field", Severity.WARNING)


def test_no_rows(tmp_path: Path) -> None:
    _, troubles = read(parquet(tmp_path / "a.parquet", f"SELECT * FROM ({ROWS}) WHERE false"))
    only(troubles, "no-rows", Severity.WARNING)


@pytest.mark.parametrize("keep", [4, 12, 100, -1])
def test_a_file_that_is_cut_off(tmp_path: Path, keep: int) -> None:
    content = parquet(tmp_path / "x", ROWS).read_bytes()[:keep]
    notes, troubles = read(write(tmp_path / "a.parquet", content), write(tmp_path / "good.txt", "KJ 2+"))
    assert [note.id for note in notes] == ["x", "good"][-1:]
    only(troubles, "broken-parquet", Severity.ERROR)


def test_text_that_is_no_text_does_not_reach_the_message(tmp_path: Path) -> None:
    content = parquet(tmp_path / "x", "SELECT 'a' AS id, 'SECRETWORD é' AS text").read_bytes()
    broken = content.replace("WORD é".encode(), b"WORD \xff\xff")
    _, troubles = read(write(tmp_path / "a.parquet", broken))
    assert troubles
    assert all("SECRETWORD" not in str(trouble) for trouble in troubles)


def test_a_packed_file_is_read_without_touching_the_disk(tmp_path: Path) -> None:
    content = parquet(tmp_path / "x", ROWS).read_bytes()
    notes, troubles = read(write(tmp_path / "a.parquet", gzip.compress(content)))
    if troubles:  # the system has no files in memory
        only(troubles, "packed-parquet", Severity.ERROR)
    else:
        assert [note.id for note in notes] == ["n1", "n2", "n3"]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a.parquet", "x"]


def test_many_rows_are_streamed(tmp_path: Path) -> None:
    """Of 30 MB of text Python holds only what one batch needs, and the identities."""
    select = "SELECT i AS id, repeat('KJ 2+ ', 170) || i AS text FROM range(30_000) t(i)"
    file = parquet(tmp_path / "a.parquet", select)
    tracemalloc.start()
    count = sum(isinstance(item, Note) for item in open_notes([str(file)]))
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert count == 30_000
    assert peak < 20 * 2**20, peak


def test_the_order_is_the_files(tmp_path: Path) -> None:
    file = parquet(tmp_path / "a.parquet", "SELECT i AS id, 'x' AS text FROM range(50_000, 0, -1) t(i)")
    notes, troubles = read(file)
    assert codes(troubles) == []
    assert [note.id for note in notes] == [str(at) for at in range(50_000, 0, -1)]
