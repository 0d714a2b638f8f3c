"""Plain SQL over the archive, read-only.

Takes the text of one query; gives its columns and rows. The database itself keeps the query from writing,
and from any other file.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from converter.archive.values import Archive, ArchiveError

_PAGE = 1000


@dataclass(frozen=True, slots=True)
class SqlResult:
    """What a query gave.

    Attributes:
        columns: names of the columns.
        rows: the rows, read from the archive as they are taken.
        types: the SQL types of the columns.
    """

    columns: tuple[str, ...]
    rows: Iterator[tuple[Any, ...]]
    types: tuple[str, ...] = ()


def sql(archive: Archive, text: str) -> SqlResult:
    """Run one query of plain SQL; the documented views are listed by `SELECT * FROM documentation`.

    Args:
        archive: opened with `read_only`.
        text: one statement.

    Raises:
        ArchiveError: the archive is open for writing, or the query is wrong; one sentence says how.
    """
    import duckdb

    if not archive.read_only:
        raise ArchiveError(f"{archive.path}: plain SQL needs an archive that is open for reading only.")
    cursor = archive.connection.cursor()
    try:
        text.encode()  # half characters would stop the database's own reader
        statements = cursor.extract_statements(text)
        if len(statements) != 1:
            raise ArchiveError("Give one SQL statement at a time.")
        found = cursor.execute(statements[0])
    except (duckdb.Error, UnicodeError) as error:
        raise ArchiveError(_why(error)) from None
    about = found.description or ()
    return SqlResult(tuple(one[0] for one in about), _rows(found), tuple(str(one[1]) for one in about))


def _rows(found: Any) -> Iterator[tuple[Any, ...]]:
    import duckdb

    try:
        while page := found.fetchmany(_PAGE):
            yield from page
    except duckdb.Error as error:
        raise ArchiveError(_why(error)) from None


def _why(error: Exception) -> str:
    """What is wrong with the query; errors about values may hold words of a note."""
    import duckdb

    about_the_query = (
        duckdb.ParserException,
        duckdb.BinderException,
        duckdb.CatalogException,
        duckdb.SyntaxException,
    )
    if isinstance(error, about_the_query):
        return f"The query is not right: {str(error).splitlines()[0]}"
    if isinstance(error, (duckdb.PermissionException, duckdb.InvalidInputException)):
        return "The query is not allowed: it may read the archive's tables and views, and nothing else."
    return "The query failed on a value it met."
