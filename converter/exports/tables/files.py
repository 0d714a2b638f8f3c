"""Writes the tables: CSV row by row, and Parquet from the finished CSV, with the types of the fields.

Takes rows as plain dicts; gives `findings.csv`, `findings.parquet` and so on. Text in CSV that a spreadsheet
would take for a formula gets an apostrophe before it; so does text that begins with one, so that taking one
away always gives the text back. In Parquet nothing is added.
"""

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

from converter.exports.tables.fields import Field, Table
from converter.exports.values import ExportError
from converter.exports.writer import Writer

_GUARDED = ("=", "+", "-", "@", "\t", "\r", "'")
_TYPES = {"text": "VARCHAR", "integer": "BIGINT", "number": "DOUBLE", "boolean": "BOOLEAN", "date": "DATE"}
_LONGEST_LINE = (2_000_000, 64_000_000)
"""Bounds in bytes of what the reader of CSV keeps ready for one row."""


def csv_rows(table: Table, writer: Writer) -> Callable[[Mapping[str, Any]], None]:
    """A function that writes one row of a table as CSV; a field that is not given is empty."""
    write = writer.csv(f"{table.name}.csv", table.columns)
    columns = table.columns
    return lambda row: write([guarded(row.get(name)) for name in columns])


def guarded(value: Any) -> Any:
    """A cell that no spreadsheet takes for a formula; numbers stay numbers."""
    if not isinstance(value, str):
        return value
    text = value.replace("\0", "\N{REPLACEMENT CHARACTER}")
    return f"'{text}" if text.startswith(_GUARDED) else text


def write_parquet(tables: Iterable[Table], writer: Writer) -> None:
    """Write the Parquet files of tables whose CSV files are complete.

    Raises:
        ExportError: a file cannot be written.
    """
    import duckdb

    with duckdb.connect() as connection:
        connection.execute("SET threads = 1")  # the same rows give the same bytes
        for table in tables:
            source = writer.path(f"{table.name}.csv")
            target = writer.path(f"{table.name}.parquet", rows=writer.rows(f"{table.name}.csv"))
            try:
                connection.execute(_copy(table, source), [str(source), str(target)])
            except duckdb.Error as error:
                raise ExportError(f"{target.name}: the Parquet file cannot be written.") from error


def _copy(table: Table, source: Path) -> str:
    least, most = _LONGEST_LINE
    line = min(max(source.stat().st_size + 1, least), most)
    columns = ", ".join(f"'{name}': 'VARCHAR'" for name in table.columns)
    options = f"max_line_size={line}, buffer_size={2 * line}, parallel=false, strict_mode=true"
    chosen = ", ".join(_column(field) for field in table.fields)
    return f"""
        COPY (SELECT {chosen} FROM read_csv($1, header=true, auto_detect=false, delim=',', quote='"',
              escape='"', new_line='\\n', nullstr='', columns={{{columns}}}, {options}))
        TO $2 (FORMAT parquet)"""  # noqa: S608 - the names of our own fields


def _column(field: Field) -> str:
    name = f'"{field.name}"'
    if field.kind != "text":
        return f"CAST({name} AS {_TYPES[field.kind]}) AS {name}"
    return f"CASE WHEN starts_with({name}, '''') THEN substr({name}, 2) ELSE {name} END AS {name}"
