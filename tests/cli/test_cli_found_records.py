"""Found rows as records: the same text as the standard library's own JSON and CSV make of them."""

import csv
import io
import json
from typing import Any

import pytest

from converter.archive import FoundRow
from converter.cli.find_views import write_found
from converter.cli.output import Format

ODD = 'a "b\\ \t\n\r\x00\x1f\x7f,[]{} é ☃ 𝄞 \u2028 / null'
GRADES = [None, 2.0, 2.5, 0.1, 1e-7, -0.0, 1e16, 1e22, 1e300]


def row(grade: float | None, words: str | None, **more: Any) -> FoundRow:
    values = dict.fromkeys(FoundRow._fields) | {
        "id": words, "exam": 1, "grade_low": grade, "grade_high": grade, "negated": False, "quote": words,
        "start_offset": 0, "end_offset": 4, "sustained": None if words is None else True,
    } | more  # fmt: skip
    return FoundRow(**values)  # type: ignore[arg-type]


ROWS = [row(grade, words) for grade in GRADES for words in (None, "", ODD, "=1+1", "-x", "+")]


def record(found: FoundRow) -> dict[str, Any]:
    """Whole grades are written without a fraction."""
    whole = {name: int(value) for name, value in found._asdict().items()
             if isinstance(value, float) and value == int(value)}  # fmt: skip
    return found._asdict() | whole


def written(format_: Format) -> str:
    stream = io.StringIO(newline="")
    write_found(stream, format_, ROWS)
    return stream.getvalue()


def lines() -> list[str]:
    return [json.dumps(record(one), ensure_ascii=False, separators=(",", ":")) for one in ROWS]


def test_found_rows_are_json() -> None:
    assert written(Format.JSONL) == "".join(f"{line}\n" for line in lines())
    assert written(Format.JSON) == "[\n" + ",\n".join(lines()) + "\n]\n"


def test_found_rows_are_cells() -> None:
    wanted = io.StringIO(newline="")
    table = csv.writer(wanted, lineterminator="\n")
    table.writerow(FoundRow._fields)
    for one in ROWS:
        table.writerow([
            {True: "true", False: "false"}[cell] if isinstance(cell, bool)
            else f"'{cell}" if isinstance(cell, str) and cell.startswith(("=", "+", "-", "@"))
            else cell
            for cell in record(one).values()
        ])  # fmt: skip
    assert written(Format.CSV) == wanted.getvalue()


@pytest.mark.parametrize("format_", [Format.JSON, Format.JSONL])
def test_a_grade_that_is_no_number_is_never_written_as_nothing(format_: Format) -> None:
    with pytest.raises(ValueError, match="JSON"):
        write_found(io.StringIO(), format_, [row(float("nan"), "x")])
