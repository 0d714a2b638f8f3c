"""Rows go into a table as they are, whichever way columns travel; what the table cannot hold is refused."""

import math
from datetime import date
from functools import cache
from typing import Any

import duckdb
import pytest

from converter.archive import inserting as inserting_module
from converter.archive.inserting import insert_rows

SPANS = 'STRUCT("start" BIGINT, "end" BIGINT, role VARCHAR)[]'
REFUSALS = (duckdb.DataError, duckdb.InvalidInputException, UnicodeError, OverflowError)
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
    database = _database()
    database.execute(f"CREATE OR REPLACE TABLE kept (place BIGINT, held {kind})")
    assert insert_rows(database, {}, "kept", enumerate(values)) == len(values)
    return [held for (held,) in database.execute("SELECT held FROM kept ORDER BY place").fetchall()]


@cache
def _database() -> duckdb.DuckDBPyConnection:
    """One database for all tables: making one takes longer than all that is done with it."""
    return duckdb.connect()


@pytest.fixture(params=["arrow", "json", "lists"])
def way(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """How columns travel."""
    if request.param == "arrow":
        pytest.importorskip("nanoarrow")
    else:
        monkeypatch.setattr(inserting_module, "_inserted_as_arrow", lambda *_: False)
        monkeypatch.setattr(inserting_module, "_LONG", 4_000_000 if request.param == "json" else 0)
    return str(request.param)


@pytest.mark.usefixtures("way")
@pytest.mark.parametrize("kind", COLUMNS)
def test_values_come_back_as_they_were(kind: str) -> None:
    values = COLUMNS[kind]
    assert inserted(kind, values) == values
    for value in values:
        assert inserted(kind, [value]) == [value]
        assert inserted(kind, [value] * 3) == [value] * 3


@pytest.mark.usefixtures("way")
def test_what_is_no_number_is_kept_as_that() -> None:
    assert [str(number) for number in inserted("DOUBLE", [1.5, math.nan])] == ["1.5", "nan"]


@pytest.mark.usefixtures("way")
@pytest.mark.parametrize(
    ("kind", "values"),
    [
        ("INTEGER", [1, 2**31]),
        ("BOOLEAN", [True, "perhaps"]),
        ("BIGINT", [1, 2**63]),
        ("BIGINT", [1, 2**70]),
        ("VARCHAR", ["a", "half \ud800"]),
    ],
)
def test_what_the_table_cannot_hold_is_refused_and_not_made_null(kind: str, values: list[Any]) -> None:
    with pytest.raises(REFUSALS):
        inserted(kind, values)


@pytest.mark.usefixtures("way")
def test_a_refusal_is_told_as_such_within_a_transaction_and_leaves_nothing_behind() -> None:
    with duckdb.connect() as connection:
        connection.execute("CREATE TABLE kept (place BIGINT, held INTEGER)")
        connection.execute("BEGIN")
        with pytest.raises(REFUSALS):
            insert_rows(connection, {}, "kept", [(1, 1), (2, 2**31)])
        connection.execute("ROLLBACK")
        assert insert_rows(connection, {}, "kept", [(1, 1), (2, 2)]) == 2
        assert connection.execute("FROM kept").fetchall() == [(1, 1), (2, 2)]
        assert connection.execute("SELECT * FROM duckdb_views() WHERE NOT internal").fetchall() == []


@pytest.mark.usefixtures("way")
def test_columns_keep_step_with_each_other() -> None:
    """Values of several kinds in one row, in more rows than the database takes at a time."""
    rows = [
        (n, None if n % 3 else f"é{n}", n / 4 if n % 2 else None, n % 2 == 0, "same",
         [{"start": n, "end": n + k, "role": "site"} for k in range(n % 3)])
        for n in range(5000)
    ]  # fmt: skip
    with duckdb.connect() as connection:
        connection.execute(
            f"CREATE TABLE kept (a BIGINT, b VARCHAR, c DOUBLE, d BOOLEAN, e VARCHAR, f {SPANS})"
        )
        assert insert_rows(connection, {}, "kept", rows) == len(rows)
        assert connection.execute("FROM kept ORDER BY a").fetchall() == rows


def test_no_rows_are_no_statement() -> None:
    assert inserted("VARCHAR", []) == []
