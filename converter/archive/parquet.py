"""Writes found rows, and the rows of any query, as Parquet, for tools of data analysis.

Takes rows and a path; gives a Parquet file, readable by its owner only, that appears whole or not at
all. The rows pass through a database of their own in memory.
"""

import json
import tempfile
from collections.abc import Iterable, Sequence
from itertools import islice
from pathlib import Path
from typing import Any, get_type_hints

from converter.archive.inserting import insert_rows
from converter.archive.opening import private_files
from converter.archive.queries import FoundRow
from converter.archive.values import ArchiveError

_PAGE = 5000
_NESTED = ("STRUCT", "MAP", "UNION")
_LISTS = ("]",)
_TYPES = {str: "VARCHAR", int: "BIGINT", float: "DOUBLE", bool: "BOOLEAN"}


def write_parquet(rows: Iterable[FoundRow], path: Path) -> int:
    """Write found rows to a Parquet file, one column for each field; give their number.

    Raises:
        ArchiveError: the file cannot be written.
    """
    kinds = [_sql_type(hint) for hint in get_type_hints(FoundRow).values()]
    return write_table(FoundRow._fields, kinds, rows, path)


def write_table(
    columns: Sequence[str], types: Sequence[str], rows: Iterable[Sequence[Any]], path: Path
) -> int:
    """Write rows of any query to a Parquet file; give their number.

    Args:
        columns: their names, each once.
        types: their SQL types; nested values are written as JSON text.
        rows: the rows.
        path: the file.

    Raises:
        ArchiveError: the file cannot be written, or two columns have one name.
    """
    if len({name.lower() for name in columns}) < len(columns):
        raise ArchiveError(f"{path}: two columns have one name; name them apart with AS.")
    nested = [kind.startswith(_NESTED) or kind.endswith(_LISTS) for kind in types]
    kinds = tuple("VARCHAR" if deep else kind for deep, kind in zip(nested, types, strict=True))
    flat = ([_json(v) if deep else v for deep, v in zip(nested, row, strict=True)] for row in rows)
    return _write(columns, kinds, flat if any(nested) else rows, path)


def _write(columns: Sequence[str], kinds: tuple[str, ...], rows: Iterable[Sequence[Any]], path: Path) -> int:
    import duckdb

    named = ", ".join(f"{_quoted(name)} {kind}" for name, kind in zip(columns, kinds, strict=True))
    source, number = iter(rows), 0
    try:
        with (
            duckdb.connect() as connection,
            tempfile.TemporaryDirectory(dir=path.parent, prefix=".plexor-") as folder,
            private_files(),
        ):
            connection.execute(f"CREATE TABLE found ({named})")
            while page := list(islice(source, _PAGE)):
                number += insert_rows(connection, {"found": kinds}, "found", page)
            connection.execute("COPY found TO $1 (FORMAT parquet)", [str(Path(folder) / "found")])
            (Path(folder) / "found").replace(path)
    except (OSError, duckdb.Error):
        raise ArchiveError(f"{path}: the Parquet file cannot be written.") from None
    return number


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _json(value: Any) -> str | None:
    return None if value is None else json.dumps(value, ensure_ascii=False, default=str)


def _sql_type(hint: object) -> str:
    """The SQL type of a field such as `float | None`."""
    return next(sql for kind, sql in _TYPES.items() if hint in (kind, kind | None))
