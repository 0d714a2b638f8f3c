"""The form of an archive: its tables and views, their version, and the way from an older form to this one.

Each `schema/NNN.sql` takes an archive from the form before to form NNN; `views.sql` and the documentation in
`columns.csv` are laid over the newest form.
"""

import csv
from collections.abc import Sequence
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
    import duckdb

    try:
        row = connection.execute("SELECT schema_version FROM archive_info").fetchone()
    except (duckdb.CatalogException, duckdb.BinderException):
        return None
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
        connection.execute(_documentation())
        connection.execute("COMMIT")
    except BaseException:
        connection.execute("ROLLBACK")
        raise


def column_meanings() -> dict[str, str]:
    """What each column means; a column means the same in every table and view."""
    with (SCHEMA / "columns.csv").open(encoding="utf-8", newline="") as lines:
        return {row["column"]: row["meaning"] for row in csv.DictReader(lines)}


def _documentation() -> str:
    """The documenting view; comments on each column would take most of the time of a new archive."""
    rows = (f"    ({_text(column)}, {_text(meaning)})" for column, meaning in column_meanings().items())
    sql = (SCHEMA / "documentation.sql").read_text(encoding="utf-8")
    return sql.replace("{meanings}\n", ",\n".join(rows) + "\n")


def _text(value: str) -> str:
    """A text as SQL writes it."""
    return "'" + value.replace("'", "''") + "'"
