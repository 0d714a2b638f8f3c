"""Tables and OMOP rows are the same in one part, in many, and with a stop in between."""

from itertools import takewhile
from pathlib import Path
from typing import Any

import pytest
from archive_session import session
from tables_samples import sample_archive

from converter import exporting
from converter.archive import Cohort, FindQuery, open_archive
from converter.exports import Common, export
from converter.exports.tables.files import write_parquet


def written(
    archive: Path, out: Path, target: str, choices: dict[str, Any], part_notes: int
) -> dict[str, bytes]:
    """The files of an export, the manifest aside."""
    with open_archive(archive, read_only=True) as opened:
        made = exporting.target_of(target, choices, session())(opened)
        common = Common(program="p", vocabulary="v", caution="c")
        export(made, Cohort(opened, FindQuery()).reads, out, common, part_notes=part_notes)
    files = (path for path in out.rglob("*") if path.is_file() and path.name != "manifest.json")
    return {path.relative_to(out).as_posix(): path.read_bytes() for path in files}


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    (tmp_path / "persons.csv").write_text("patient,person_id\np1,1001\np2,1002\n")
    return sample_archive(tmp_path)


def choices(folder: Path, keys: str) -> dict[str, Any]:
    return {"persons": folder / "persons.csv", "keys": folder / keys}


def test_parts_make_no_difference_to_tables(archive: Path, tmp_path: Path) -> None:
    whole = written(archive, tmp_path / "whole", "tables", {}, 500)
    assert written(archive, tmp_path / "parts", "tables", {}, 1) == whole
    assert len(whole) == 24


def test_parts_make_no_difference_to_omop(archive: Path, tmp_path: Path) -> None:
    whole = written(archive, tmp_path / "whole", "omop", choices(tmp_path, "a.sqlite"), 500)
    assert written(archive, tmp_path / "parts", "omop", choices(tmp_path, "b.sqlite"), 1) == whole
    assert {"note.csv", "note_nlp.csv", "observation.csv", "measurement.csv", "unmapped.csv"} <= set(whole)


def test_a_stop_at_the_very_end_makes_no_difference(
    archive: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = written(archive, tmp_path / "whole", "tables", {}, 500)

    def stopping(tables: Any, writer: Any) -> None:
        write_parquet(takewhile(lambda table: table.name != "exams", tables), writer)
        raise KeyboardInterrupt

    monkeypatch.setattr("converter.exports.tables.target.write_parquet", stopping)
    with pytest.raises(KeyboardInterrupt):
        written(archive, tmp_path / "stopped", "tables", {}, 500)
    assert not (tmp_path / "stopped").exists()
    monkeypatch.setattr("converter.exports.tables.target.write_parquet", write_parquet)
    assert written(archive, tmp_path / "stopped", "tables", {}, 500) == whole
