"""Writes found rows as Parquet, for tools of data analysis.

Takes found rows and a path; gives a Parquet file, readable by its owner only, that appears whole or not at
all. The rows pass through a database of their own in memory.
"""

import tempfile
from collections.abc import Iterable
from dataclasses import astuple
from itertools import islice
from pathlib import Path
from typing import get_type_hints

from converter.archive.inserting import insert_rows
from converter.archive.opening import private_files
from converter.archive.queries import FoundRow
from converter.archive.values import ArchiveError

_PAGE = 5000
_TYPES = {str: "VARCHAR", int: "BIGINT", float: "DOUBLE", bool: "BOOLEAN"}


def write_parquet(rows: Iterable[FoundRow], path: Path) -> int:
    """Write found rows to a Parquet file, one column for each field; give their number.

    Raises:
        ArchiveError: the file cannot be written.
    """
    import duckdb

    kinds = tuple(_sql_type(hint) for hint in _hints().values())
    columns = ", ".join(f'"{name}" {kind}' for name, kind in zip(_hints(), kinds, strict=True))
    source, number = iter(rows), 0
    try:
        with (
            duckdb.connect() as connection,
            tempfile.TemporaryDirectory(dir=path.parent, prefix=".plexor-") as folder,
            private_files(),
        ):
            connection.execute(f"CREATE TABLE found ({columns})")
            while page := [astuple(row) for row in islice(source, _PAGE)]:
                number += insert_rows(connection, {"found": kinds}, "found", page)
            connection.execute("COPY found TO $1 (FORMAT parquet)", [str(Path(folder) / "found")])
            (Path(folder) / "found").replace(path)
    except (OSError, duckdb.Error):
        raise ArchiveError(f"{path}: the Parquet file cannot be written.") from None
    return number


def _hints() -> dict[str, object]:
    return {name: hint for name, hint in get_type_hints(FoundRow).items() if name in FoundRow.__slots__}


def _sql_type(hint: object) -> str:
    """The SQL type of a field such as `float | None`."""
    return next(sql for kind, sql in _TYPES.items() if hint in (kind, kind | None))
