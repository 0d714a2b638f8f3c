"""Reaches a CDM 5.4 in PostgreSQL, and puts the finished CSV files into it: all of it, or nothing.

Takes files by table and the row counts they must give; gives what was put in and taken out. The connection
comes from the usual environment and service file of PostgreSQL (PGSERVICE, PGHOST, PGDATABASE, PGPASSFILE
...), never from the command line. What is done inside the transaction belongs to `loading`.
"""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from converter.exports.omop.loading import Loading
from converter.exports.values import ExportError

if TYPE_CHECKING:
    from psycopg import Connection, Error

_MISSING = "PostgreSQL is reached through an extra of plexor: install plexor[omop]."
_LOST = (
    "Nothing was changed, unless the connection broke at the very end; run the same command again, which "
    "makes no row twice."
)


@dataclass(frozen=True, slots=True)
class Database:
    """A schema with the tables of the CDM.

    Attributes:
        schema: its name.
        keys: name of the key file that the rows were numbered by.
    """

    schema: str
    keys: str

    def check(self) -> None:
        """See that the database can be reached and has the tables, before anything is written.

        Raises:
            ExportError: it cannot, or has not.
        """
        with _connected() as connection, connection.cursor() as cursor:
            Loading(cursor, self.schema, self.keys).check_tables()
            connection.rollback()

    def load(self, files: Mapping[str, Path], rows: Mapping[str, int]) -> Mapping[str, Any]:
        """Put the rows of the files in the place of those that an earlier export wrote.

        Args:
            files: CSV by table, `trace`, and `withdrawn` with notes whose rows must go.
            rows: how many rows each table must get.

        Raises:
            ExportError: it cannot be done; then nothing was changed.
        """
        with _connected() as connection, connection.cursor() as cursor:
            put, removed = Loading(cursor, self.schema, self.keys).run(files)
            if put != dict(rows):
                raise ExportError("PostgreSQL took another number of rows than the files have.")
            connection.commit()
        return {"schema": self.schema, "rows_put_in": put, "rows_taken_out": removed}


@contextmanager
def _connected() -> "Iterator[Connection]":
    try:
        import psycopg
    except ImportError:
        raise ExportError(_MISSING) from None
    try:
        with psycopg.connect("", application_name="plexor") as connection:
            yield connection
    except psycopg.OperationalError as error:
        raise ExportError(f"PostgreSQL: {_sentence(error)}. {_LOST}") from error
    except psycopg.Error as error:
        raise ExportError(f"PostgreSQL: {_sentence(error)}. Nothing was changed.") from error


def _sentence(error: "Error") -> str:
    """What went wrong, without text of any row: details are given only of keys that are numbers."""
    import psycopg

    primary = error.diag.message_primary or next(iter(str(error).splitlines()), "") or type(error).__name__
    broken = isinstance(error, psycopg.errors.ForeignKeyViolation)
    detail = f" ({error.diag.message_detail})" if broken and error.diag.message_detail else ""
    return f"{primary.strip().rstrip('.')}{detail}"
