"""Found rows as Parquet: read back by DuckDB's own reader, and by pyarrow where it is installed."""

import stat
from pathlib import Path
from typing import Any

import duckdb
import pytest
from archive_notes import finding, full_item, new_archive, note, read

from converter.archive import ArchiveError, FindQuery, FoundRow, find, write_parquet


def read_back(path: Path) -> tuple[list[str], list[tuple[Any, ...]]]:
    with duckdb.connect() as connection:
        found = connection.execute("SELECT * FROM read_parquet(?)", [str(path)])
        return [column[0] for column in found.description or ()], found.fetchall()


def test_rows_come_back_as_they_were_found(tmp_path: Path) -> None:
    items = (full_item(), read(note("n1", patient="=1+1"), finding("all_limbs", "both", 2)))
    archive = new_archive(tmp_path, *items)
    rows = list(find(archive, FindQuery(spread=True, statuses=())))
    path = tmp_path / "it's here.parquet"
    assert write_parquet(iter(rows), path) == len(rows) == 13
    assert read_back(path) == (list(FoundRow._fields), [tuple(row) for row in rows])
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    names = sorted(file.name for file in tmp_path.iterdir())
    assert names == ["archive.duckdb", "archive.duckdb.wal", "it's here.parquet"]


def test_nothing_found_is_a_file_with_columns_and_no_rows(tmp_path: Path) -> None:
    assert write_parquet([], tmp_path / "none.parquet") == 0
    assert read_back(tmp_path / "none.parquet") == (list(FoundRow._fields), [])


def test_pyarrow_reads_the_file(tmp_path: Path) -> None:
    parquet = pytest.importorskip("pyarrow.parquet", reason="pyarrow is not installed")
    archive = new_archive(tmp_path, full_item())
    rows = list(find(archive, FindQuery(statuses=())))
    write_parquet(rows, tmp_path / "found.parquet")
    (held,) = parquet.read_table(tmp_path / "found.parquet").to_pylist()
    assert tuple(held.values()) == tuple(rows[0])


def test_a_place_that_cannot_be_written_is_said_plainly(tmp_path: Path) -> None:
    with pytest.raises(ArchiveError, match=r"the Parquet file cannot be written\.$"):
        write_parquet([], tmp_path / "missing" / "found.parquet")
