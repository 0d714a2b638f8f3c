"""One transaction: all of it, or nothing.

Takes a connection; commits at the end of a `with` block, or undoes all where the block raises.
"""

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import duckdb


class transaction:  # noqa: N801 - reads as a word in `with transaction(connection)`
    """Commit at the end, or undo all."""

    def __init__(self, connection: "duckdb.DuckDBPyConnection") -> None:
        self._connection = connection

    def __enter__(self) -> None:
        self._connection.execute("BEGIN")

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        if kind is None:
            self._connection.execute("COMMIT")
            return
        import duckdb

        try:
            self._connection.execute("ROLLBACK")
        except duckdb.Error:
            return  # nothing left to undo: the first error is the one to tell
