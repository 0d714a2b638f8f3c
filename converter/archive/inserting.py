"""Puts many rows into a table at once, from plain Python lists.

A column that holds one value throughout travels as that value, all others as Arrow arrays. Where Arrow cannot
hold a value, or nanoarrow is missing, each column travels as one parameter that the database unfolds: as a
JSON text, or as a list where JSON would not say the same or the text is long; then the database says what it
does not take.
`tests/benchmarks/bench_archive.py` shows the speed beside a bare insert.
"""

from collections.abc import Iterable, Sequence
from contextlib import suppress
from typing import TYPE_CHECKING, Any, TypeAlias

from converter.archive.arrow_columns import SPANS, ArrowColumns

if TYPE_CHECKING:
    import duckdb

Columns: TypeAlias = dict[str, tuple[str, ...]]
"""The types of each table's columns, in order; looked up once for each table that rows come for."""

_AS_JSON = {
    **{kind: f'"{kind}"' for kind in ("VARCHAR", "BIGINT", "INTEGER", "DATE")},
    "VARCHAR[]": '["VARCHAR"]',
    "BIGINT[][]": '[["BIGINT"]]',
    SPANS: '[{"start": "BIGINT", "end": "BIGINT", "role": "VARCHAR"}]',
}
"""The types whose values JSON holds exactly, as the database's JSON reader names them. A DOUBLE may be no
number, so that it is not among them."""
_ARRAYS = "arrays_of_a_batch"
_LONG = 4_000_000
"""Bytes of JSON from which a list is as fast, and needs less memory."""


def insert_rows(
    connection: "duckdb.DuckDBPyConnection", columns: Columns, table: str, rows: Iterable[Sequence[Any]]
) -> int:
    """Insert rows that hold a value for each column of the table, in order; give their number."""
    return insert_columns(connection, columns, table, list(zip(*rows, strict=True)))


def insert_columns(
    connection: "duckdb.DuckDBPyConnection", columns: Columns, table: str, values: Sequence[Sequence[Any]]
) -> int:
    """Insert rows that stand as columns, all of one length, in the order of the table; give their number."""
    if not values or not values[0]:
        return 0
    if table not in columns:
        columns[table] = _kinds(connection, table)
    count = len(values[0])
    constant = [column[0] == column[-1] and column.count(column[0]) == count for column in values]
    if all(constant):
        constant[0] = False  # one column unfolds, so that there are as many rows as came in
    if not _inserted_as_arrow(connection, table, columns[table], values, constant):
        carried = [_carried(*column) for column in zip(columns[table], values, constant, strict=True)]
        selected = ", ".join(sql for sql, _ in carried)
        connection.execute(f"INSERT INTO {table} SELECT {selected}", [parameter for _, parameter in carried])
    return count


def _inserted_as_arrow(
    connection: "duckdb.DuckDBPyConnection",
    table: str,
    kinds: Sequence[str],
    values: Sequence[Sequence[Any]],
    constant: Sequence[bool],
) -> bool:
    """Insert the columns as Arrow arrays; False, and nothing done, where that is not possible."""
    differing = [number for number, same in enumerate(constant) if not same]
    try:
        arrays = ArrowColumns(
            [kinds[number] for number in differing], [values[number] for number in differing]
        )
    except (ImportError, ValueError, TypeError, KeyError):
        return False
    import duckdb

    names = {number: f"c{place}" for place, number in enumerate(differing)}
    selected = ", ".join(f"{names.get(number, '?')}::{kind}" for number, kind in enumerate(kinds))
    connection.register(_ARRAYS, arrays)
    try:
        parameters = [column[0] for column, same in zip(values, constant, strict=True) if same]
        connection.execute(f"INSERT INTO {table} SELECT {selected} FROM {_ARRAYS}", parameters)  # noqa: S608 - ours
    finally:
        with suppress(duckdb.Error):  # a transaction that a refused value ended takes the arrays with it
            connection.unregister(_ARRAYS)
    return True


def _kinds(connection: "duckdb.DuckDBPyConnection", table: str) -> tuple[str, ...]:
    found = connection.execute(f"SELECT type FROM pragma_table_info('{table}') ORDER BY cid").fetchall()  # noqa: S608
    return tuple(kind for (kind,) in found)


def _carried(kind: str, column: Sequence[Any], constant: bool) -> tuple[str, Any]:
    """The SQL of a column's values, and the parameter that it rests on."""
    if constant:
        return f"?::{kind}", column[0]
    text = _json(column) if kind in _AS_JSON else None
    if text is None:
        return f"unnest(?::{kind}[])", list(column)
    return f"unnest(from_json_strict(?::VARCHAR, '[{_AS_JSON[kind]}]'))", text


def _json(column: Sequence[Any]) -> str | None:
    """A column as a JSON text; None where it is long, or where JSON cannot hold it."""
    import orjson

    try:
        text = orjson.dumps(column)
    except orjson.JSONEncodeError:
        return (
            None  # half a character, or a number of more than 64 bits: the database says what it thinks of it
        )
    return text.decode() if len(text) <= _LONG else None
