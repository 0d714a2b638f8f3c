"""The judging sheet as spreadsheets give it back."""

from pathlib import Path

import pytest

from converter.model import Diagnostic, Span
from converter.review.sheet import JudgedRow, place_text, read_sheet


def sheet(folder: Path, text: str, encoding: str = "utf-8") -> Path:
    file = folder / "sheet.csv"
    file.write_bytes(text.encode(encoding))
    return file


def rows(folder: Path, text: str, encoding: str = "utf-8") -> list[JudgedRow | Diagnostic | None]:
    return list(read_sheet(sheet(folder, text, encoding)))


def test_a_place_is_no_date_and_reads_back(tmp_path: Path) -> None:
    written = place_text((Span(0, 2, "site"), Span(3, 5, "value")))
    assert written == "0..2 3..5"
    (row,) = rows(tmp_path, f"id,verdict,place\nn1,confirmed,{written}\n")
    assert isinstance(row, JudgedRow)
    assert [(span.start, span.end) for span in row.spans] == [(0, 2), (3, 5)]


@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252"])
def test_however_a_spreadsheet_saves_it(tmp_path: Path, delimiter: str, encoding: str) -> None:
    text = "\r\n".join(["ID;Verdict;remark", "n1;No finding;Müller's sheet", ""]).replace(";", delimiter)
    (row,) = rows(tmp_path, text, encoding)
    assert row == JudgedRow(2, "no_finding", (), {"id": "n1", "remark": "Müller's sheet"})


def test_the_apostrophe_before_a_formula_is_taken_off_again(tmp_path: Path) -> None:
    (row,) = rows(tmp_path, "id,verdict,value\nn1,corrected,'+2\n")
    assert isinstance(row, JudgedRow)
    assert row.cells["value"] == "+2"


def test_rows_that_nobody_judged_are_none_and_empty_lines_nothing(tmp_path: Path) -> None:
    assert rows(tmp_path, "id,verdict\nn1,\n,\n\nn2, \n") == [None, None]


@pytest.mark.parametrize(
    ("text", "code", "line"),
    [
        ("", "sheet-columns", 1),
        ("id,place\nn1,0..1\n", "sheet-columns", 1),
        ("id,verdict\nn1,confirmed,more\n", "sheet-row", 2),
        ('id,verdict,remark\n"n\n1",praised,\n', "sheet-verdict", 2),
        ("id,verdict,place\nn1,confirmed,3-5\n", "sheet-place", 2),
        ("id,verdict,place\nn1,confirmed,5..3\n", "sheet-place", 2),
        ('id,verdict\n"n1,confirmed\n', "sheet-row", 2),
    ],
)
def test_what_cannot_be_used_is_told_with_its_line(tmp_path: Path, text: str, code: str, line: int) -> None:
    (trouble,) = rows(tmp_path, text)
    assert isinstance(trouble, Diagnostic)
    assert (trouble.code, trouble.line, trouble.source) == (code, line, str(tmp_path / "sheet.csv"))


def test_a_broken_row_does_not_stop_the_rest(tmp_path: Path) -> None:
    found = rows(tmp_path, "id,verdict\nn1,praised\nn2,confirmed\n")
    assert [type(one) for one in found] == [Diagnostic, JudgedRow]
