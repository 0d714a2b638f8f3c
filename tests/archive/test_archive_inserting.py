"""Rows go into a table as they are, whichever way columns travel; what the table cannot hold is refused."""

import math
from datetime import date
from typing import Any

import duckdb
import pytest

from converter.archive import inserting as inserting_module
from converter.archive.inserting import insert_rows

SPANS = 'STRUCT("start" BIGINT, "end" BIGINT, role VARCHAR)[]'
COLUMNS: dict[str, list[Any]] = {
    "VARCHAR": ["", "null", '"quoted"', "nul\0inside", "\u2028\ufeff", "😀" * 300, "1.0", None],
    "BIGINT": [0, -(2**63), 2**63 - 1, None],
    "INTEGER": [0, -(2**31), 2**31 - 1, None],
    "BOOLEAN": [True, None, False],
    "DOUBLE": [0.1, -0.0, 5e-324, 1e300, math.inf, None],
    "DATE": [date(1, 1, 1), date(2024, 2, 29), None],
    "VARCHAR[]": [["a", "b"], [], ["nul\0inside"]],
    "BIGINT[][]": [[[1, 2, 3], [4, 5, 6]], []],
    SPANS: [[{"start": 1, "end": 2, "role": "site"}, {"start": 5, "end": 9, "role": "value"}], []],
}


def inserted(kind: str, values: list[Any]) -> list[Any]:
    """The values of a column after their way through a table, beside a column that counts them."""
    with duckdb.connect() as connection:
        connection.execute(f"CREATE TABLE kept (place BIGINT, held {kind})")
        assert insert_rows(connection, {}, "kept", enumerate(values)) == len(values)
        return [held for (held,) in connection.execute("SELECT held FROM kept ORDER BY place").fetchall()]


@pytest.mark.parametrize("longest", [4_000_000, 0], ids=["short", "long"])
@pytest.mark.parametrize("kind", COLUMNS)
def test_values_come_back_as_they_were(kind: str, longest: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(inserting_module, "_LONG", longest)
    values = COLUMNS[kind]
    assert inserted(kind, values) == values
    for value in values:
        assert inserted(kind, [value]) == [value]
        assert inserted(kind, [value] * 3) == [value] * 3


def test_what_is_no_number_is_kept_as_that() -> None:
    assert [str(number) for number in inserted("DOUBLE", [1.5, math.nan])] == ["1.5", "nan"]


@pytest.mark.parametrize(
    ("kind", "values"),
    [
        ("INTEGER", [1, 2**31]),
        ("BIGINT", [1, 2**63]),
        ("BIGINT", [1, 2**70]),
        ("VARCHAR", ["a", "half \ud800"]),
    ],
)
def test_what_the_table_cannot_hold_is_refused_and_not_made_null(kind: str, values: list[Any]) -> None:
    refusals = (duckdb.DataError, duckdb.InvalidInputException, UnicodeError, OverflowError)
    with pytest.raises(refusals):
        inserted(kind, values)


def test_no_rows_are_no_statement() -> None:
    assert inserted("VARCHAR", []) == []
