"""`plexor sql`: plain SQL over the archive, for reading only."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TextIO

import typer

from converter.cli.find import FoundFormat
from converter.cli.options import Out
from converter.cli.output import Format, opened, records_to
from converter.cli.running import CLEAN, CannotRunError
from converter.cli.tables import counted, show_table

if TYPE_CHECKING:
    from converter.archive import SqlResult

EXAMPLE = """\b
Example:
  plexor sql findings.duckdb --views
  plexor sql findings.duckdb 'SELECT facility, count(*) FROM current_notes GROUP BY ALL'
  plexor sql findings.duckdb 'FROM failed_notes' --format csv --out failed.csv"""

_VIEWS = 'SELECT name, "column", type, meaning FROM documentation'


def sql(
    archive: Annotated[Path, typer.Argument(metavar="ARCHIVE", help="The archive.")],
    query: Annotated[
        str | None, typer.Argument(metavar="QUERY", help="One statement of DuckDB's SQL, or - to read it.")
    ] = None,
    views: Annotated[
        bool, typer.Option("--views", help="List the views, tables and columns, and what they mean.")
    ] = False,
    format_: Annotated[
        FoundFormat, typer.Option("--format", help="text, json, jsonl, csv, or parquet with --out.")
    ] = FoundFormat.TEXT,
    out: Out = None,
) -> int:
    """Ask the archive in SQL. Nothing can be written by it, and no other file can be read.

    The views that begin with current_ hold each note as last loaded. Other tables hold the history.
    """
    from converter.archive import open_archive, write_table
    from converter.archive import sql as run

    if views == (query is not None):
        raise CannotRunError("give a QUERY, or --views to see what can be asked for")
    if format_ is FoundFormat.PARQUET and out is None:
        raise CannotRunError("--format parquet is no text: say where to write it with --out FILE")
    with open_archive(archive, read_only=True) as opened_archive:
        result = run(opened_archive, _VIEWS if query is None else _statement(query))
        if format_ is FoundFormat.PARQUET and out is not None:
            write_table(result.columns, result.types, result.rows, out)
            return CLEAN
        with opened(out) as stream:
            _write(stream, Format(format_), result)
    return CLEAN


def _statement(query: str) -> str:
    return typer.get_text_stream("stdin").read() if query == "-" else query


def _write(stream: TextIO, format_: Format, result: "SqlResult") -> None:
    if format_ is Format.TEXT:
        rows = [["" if cell is None else _shown(cell) for cell in row] for row in _plain_rows(result)]
        show_table(stream, result.columns, rows)
        stream.write(f"{counted(len(rows), 'row')}\n")
        return
    with records_to(stream, format_, result.columns) as write:
        for row in _plain_rows(result):
            write(dict(zip(result.columns, row, strict=True)))


def _plain_rows(result: "SqlResult") -> Iterator[list[Any]]:
    """The rows as JSON has them: dates, decimals and the like as text.

    Raises:
        CannotRunError: two columns have one name, so a record could hold only one of them.
    """
    if len(set(result.columns)) < len(result.columns):
        raise CannotRunError("two columns of the query have one name; name them apart with AS")
    for row in result.rows:
        yield [_plain(cell) for cell in row]


def _plain(cell: Any) -> Any:
    if cell is None or isinstance(cell, str | bool | int):
        return cell
    if isinstance(cell, float):
        return cell if abs(cell) < float("inf") else str(cell)  # JSON has no infinity and no not-a-number
    if isinstance(cell, list | tuple):
        return [_plain(one) for one in cell]
    if isinstance(cell, dict):
        return {str(name): _plain(one) for name, one in cell.items()}
    return str(cell)


def _shown(cell: Any) -> str:
    return cell if isinstance(cell, str) else json.dumps(cell, ensure_ascii=False)
