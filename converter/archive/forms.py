"""The form of an archive: its tables and views, their version, and the way from an older form to this one.

Each `schema/NNN.sql` takes an archive from the form before to form NNN; `views.sql` and the documentation in
`columns.csv` are laid over the newest form.
"""

import csv
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import duckdb

SCHEMA = Path(__file__).parent / "schema"


@dataclass(frozen=True, slots=True)
class Step:
    """The way from one form to the next.

    Attributes:
        version: the form that it leads to.
        sql: the statements.
    """

    version: int
    sql: str


def steps() -> tuple[Step, ...]:
    """Every step, from an empty database to the newest form."""
    return tuple(
        Step(int(file.stem), file.read_text(encoding="utf-8")) for file in sorted(SCHEMA.glob("[0-9]*.sql"))
    )


def form_of(connection: "duckdb.DuckDBPyConnection") -> int | None:
    """The form of the archive, or None where the database holds no archive."""
    known = connection.execute(
        "SELECT count(*) FROM duckdb_columns()"
        " WHERE table_name = 'archive_info' AND column_name = 'schema_version'"
    ).fetchone()
    if not known or not known[0]:
        return None
    row = connection.execute("SELECT schema_version FROM archive_info").fetchone()
    return int(row[0]) if row else None


def bring_up_to_date(connection: "duckdb.DuckDBPyConnection", way: Sequence[Step]) -> None:
    """Take an archive, or an empty database, to the newest form in one transaction."""
    form = form_of(connection) or 0
    if form >= way[-1].version:
        return
    connection.execute("BEGIN")
    try:
        for step in way:
            if step.version > form:
                connection.execute(step.sql)
                connection.execute("UPDATE archive_info SET schema_version = ?", [step.version])
        connection.execute((SCHEMA / "views.sql").read_text(encoding="utf-8"))
        _document(connection)
        connection.execute("COMMIT")
    except BaseException:
        connection.execute("ROLLBACK")
        raise


def column_meanings() -> dict[str, str]:
    """What each column means; a column means the same in every table and view."""
    with (SCHEMA / "columns.csv").open(encoding="utf-8", newline="") as lines:
        return {row["column"]: row["meaning"] for row in csv.DictReader(lines)}


def _document(connection: "duckdb.DuckDBPyConnection") -> None:
    columns = connection.execute(
        "SELECT table_name, column_name FROM duckdb_columns() WHERE NOT internal ORDER BY ALL"
    ).fetchall()
    connection.execute("\n".join(_comments(columns)))


def _comments(columns: Sequence[tuple[str, str]]) -> Iterator[str]:
    meanings = column_meanings()
    for table, column in columns:
        if column in meanings:
            text = meanings[column].replace("'", "''")
            yield f"COMMENT ON COLUMN {table}.{column} IS '{text}';"
