"""Puts many rows into a table at once, from plain Python lists.

Each column of a batch travels as one list parameter and is unfolded by the database; a column that holds one
value throughout travels as that value. Of the ways that need no further library this measured fastest
(`tests/benchmarks/bench_archive.py` shows it beside a bare insert).
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, TypeAlias

if TYPE_CHECKING:
    import duckdb

Columns: TypeAlias = Mapping[str, tuple[str, ...]]
"""The types of each table's columns, in order."""

_SPANS = """[{"start": "BIGINT", "end": "BIGINT", "role": "VARCHAR"}]"""


def columns_of(connection: "duckdb.DuckDBPyConnection") -> Columns:
    """The types of the columns of every table."""
    found: dict[str, list[str]] = {}
    for table, kind in connection.execute(
        "SELECT table_name, data_type FROM duckdb_columns() WHERE NOT internal"
        " ORDER BY table_name, column_index"
    ).fetchall():
        found.setdefault(table, []).append(kind)
    return {table: tuple(kinds) for table, kinds in found.items()}


def insert_rows(
    connection: "duckdb.DuckDBPyConnection", columns: Columns, table: str, rows: Iterable[Sequence[Any]]
) -> int:
    """Insert rows that hold a value for each column of the table, in order; give their number."""
    lists = [list(column) for column in zip(*rows, strict=True)]
    if not lists:
        return 0
    count = len(lists[0])
    constant = [column.count(column[0]) == count for column in lists]
    if all(constant):
        constant[0] = False  # one column unfolds, so that there are as many rows as came in
    values = ", ".join(_value(kind, one) for kind, one in zip(columns[table], constant, strict=True))
    connection.execute(
        f"INSERT INTO {table} SELECT {values}",
        [column[0] if one else column for column, one in zip(lists, constant, strict=True)],
    )
    return count


def _value(kind: str, one: bool) -> str:
    if kind.startswith("STRUCT"):
        return f"from_json({_value('VARCHAR', one)}, '{_SPANS}')"
    return f"?::{kind}" if one else f"unnest(?::{kind}[])"
