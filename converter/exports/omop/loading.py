"""What happens inside the transaction: staging, checks, and rows of ours in the place of earlier ones.

Takes a cursor of PostgreSQL and finished CSV files; gives counts of rows. A table `plexor_written` in the
schema of the CDM remembers which rows are ours, so that doing it again replaces these and no others.
"""

import csv
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from converter.exports.omop.columns import TABLES
from converter.exports.values import ExportError

if TYPE_CHECKING:
    from psycopg import Cursor

_WRITTEN = "plexor_written"
_LARGEST_CELL = 1 << 30
_TRACED = ("note_nlp_id", "note_id", "system", "id", "finding", "table_name", "row_id", "stays_because")
_REFERENCES = ("person", "visit_occurrence", "provider")
_REFERRING = ("note", "observation", "measurement")

_MAKE_WRITTEN = """
CREATE TABLE IF NOT EXISTS {written} (
    table_name text NOT NULL, row_id bigint NOT NULL, note_id bigint NOT NULL, keys text NOT NULL,
    PRIMARY KEY (table_name, row_id))"""
_MAKE_STAGE = "CREATE TEMPORARY TABLE {stage} ON COMMIT DROP AS SELECT {columns} FROM {table} WHERE false"
_LACKING = """
SELECT count(DISTINCT s.{key}), min(s.{key}) FROM {stage} s
WHERE s.{key} IS NOT NULL AND NOT EXISTS (SELECT 1 FROM {other} o WHERE o.{key} = s.{key})"""
_ANOTHER_PERSON = """
SELECT count(*), min(s.visit_occurrence_id) FROM {stage} s
JOIN {other} v ON v.visit_occurrence_id = s.visit_occurrence_id WHERE v.person_id <> s.person_id"""
_OTHER_DOMAIN = """
SELECT count(DISTINCT c.concept_id), min(c.concept_id), min(c.domain_id) FROM {stage} s
JOIN {other} c ON c.concept_id = s.{key} WHERE s.{key} <> 0 AND c.domain_id"""
_DOMAINS = {
    # by table: what the domain of a concept in it must not be, by the rules of CDM 5.4
    "measurement": " <> 'Measurement'",
    "observation": " IN ('Condition', 'Procedure', 'Drug', 'Measurement', 'Device')",
}
_REMOVE = """
DELETE FROM {table} t USING {written} w
WHERE w.table_name = %s AND w.row_id = t.{key} AND w.note_id IN (SELECT note_id FROM stage_gone)"""
_IN_THE_WAY = "SELECT count(*), min(t.{key}) FROM {table} t JOIN {stage} s ON s.{key} = t.{key}"
_INSERT = "INSERT INTO {table} ({columns}) SELECT {columns} FROM {stage} ORDER BY {key}"
_REMEMBER = """
INSERT INTO {written} SELECT t.table_name, t.row_id, t.note_id, %s FROM (
    SELECT 'note' AS table_name, note_id AS row_id, note_id FROM stage_note
    UNION ALL SELECT 'note_nlp', note_nlp_id, note_id FROM stage_note_nlp
    UNION ALL SELECT table_name, row_id::bigint, note_id::bigint FROM stage_trace
    WHERE row_id IS NOT NULL) t"""


@dataclass(frozen=True, slots=True)
class Loading:
    """One load into one schema.

    Attributes:
        cursor: inside a transaction.
        schema: of the CDM.
        keys: name of the key file that the rows were numbered by.
    """

    cursor: "Cursor"
    schema: str
    keys: str

    def check_tables(self) -> None:
        """See that the schema has the tables of CDM 5.4.

        Raises:
            ExportError: a table or a column is missing.
        """
        for table, columns in TABLES.items():
            found = self._columns(table)
            lacking = [name for name in columns if name not in found]
            if not found:
                raise ExportError(f"PostgreSQL: the schema {self.schema} has no table {table}; see --schema.")
            if lacking:
                raise ExportError(
                    f"PostgreSQL: {self.schema}.{table} has no column {lacking[0]}; is it CDM 5.4?"
                )

    def run(self, files: Mapping[str, Path]) -> tuple[dict[str, int], dict[str, int]]:
        """Do it all but the commit; give the rows put in and taken out, by table.

        Raises:
            ExportError: something stands in the way.
        """
        self.check_tables()
        self._claim()
        for table in TABLES:
            self._run(_MAKE_STAGE, table=table)
            self._copy(f"stage_{table}", TABLES[table], files[table])
        for name, columns in (("trace", _TRACED), ("withdrawn", ("note_id",))):
            listed = ", ".join(f"{column} text" for column in columns)
            self.cursor.execute(f"CREATE TEMPORARY TABLE stage_{name} ({listed}) ON COMMIT DROP".encode())
            self._copy(f"stage_{name}", columns, files[name])
        self._check_references()
        self._check_visits()
        self._check_domains()
        removed = self._remove_earlier()
        put = {table: self._run(_INSERT, table=table, key=f"{table}_id") for table in TABLES}
        self._run(_REMEMBER, [self.keys])
        return put, removed

    def _columns(self, table: str) -> set[str]:
        self.cursor.execute(
            "SELECT column_name FROM information_schema.columns WHERE table_schema = %s AND table_name = %s",
            (self.schema, table),
        )
        return {str(name).strip('"') for (name,) in self.cursor.fetchall()}

    def _claim(self) -> None:
        """Make the table of our rows where there is none, and keep other exports out until the end."""
        self._run(_MAKE_WRITTEN)
        self._run("LOCK TABLE {written} IN EXCLUSIVE MODE")
        self._run("SELECT count(*) FROM {written} WHERE keys <> %s", [self.keys])
        if self._one()[0]:
            raise ExportError(
                f"PostgreSQL: the schema {self.schema} holds rows that were numbered by another file of "
                "keys; name that file with --keys."
            )

    def _copy(self, stage: str, columns: Sequence[str], file: Path) -> None:
        from psycopg import sql

        into = sql.SQL("COPY {} ({}) FROM STDIN").format(sql.Identifier(stage), _names(columns))
        with self.cursor.copy(into) as copy:
            for cells in _cells(file):
                copy.write_row([cell or None for cell in cells])

    def _check_references(self) -> None:
        """Say which persons, visits or providers are lacking, whether or not the schema has constraints."""
        for other in _REFERENCES:
            for table in _REFERRING:
                self._run(_LACKING, table=table, key=f"{other}_id", other=other)
                number, example = self._one()
                if number:
                    raise ExportError(
                        f"PostgreSQL: {self.schema}.{other} lacks {number} of the numbers that your map "
                        f"names, e.g. {other}_id {example}; put them in or correct the map."
                    )

    def _check_visits(self) -> None:
        for table in _REFERRING:
            self._run(_ANOTHER_PERSON, table=table, other="visit_occurrence")
            number, example = self._one()
            if number:
                raise ExportError(
                    f"PostgreSQL: {number} rows for {table} name a visit of another person, e.g. "
                    f"visit_occurrence_id {example}; correct the map of visits or that of persons."
                )

    def _check_domains(self) -> None:
        """See that each concept stands in the table of its domain, where the schema holds the vocabulary."""
        if not self._columns("concept"):
            return
        for table, wrong in _DOMAINS.items():
            self._run(_OTHER_DOMAIN + wrong, table=table, key=f"{table}_concept_id", other="concept")
            number, example, domain = self._one()
            if number:
                raise ExportError(
                    f"PostgreSQL: the map puts {number} concepts into {table} that are of another domain, "
                    f"e.g. {example}, which is of the domain {domain}."
                )

    def _remove_earlier(self) -> dict[str, int]:
        """Take out what earlier exports wrote for these notes, and see that nothing else is in the way."""
        self.cursor.execute(
            "CREATE TEMPORARY TABLE stage_gone ON COMMIT DROP AS"
            " SELECT note_id::bigint FROM stage_withdrawn UNION SELECT note_id FROM stage_note"
        )
        removed = {
            table: self._run(_REMOVE, [table], table=table, key=f"{table}_id")
            for table in reversed(list(TABLES))
        }
        self._run("DELETE FROM {written} WHERE note_id IN (SELECT note_id FROM stage_gone)")
        for table in TABLES:
            self._run(_IN_THE_WAY, table=table, key=f"{table}_id")
            number, example = self._one()
            if number:
                raise ExportError(
                    f"PostgreSQL: {self.schema}.{table} has {number} rows with numbers of ours that plexor "
                    f"did not write, e.g. {example}; use a new file of keys that begins at a free number: "
                    "--keys FILE --first-key NUMBER."
                )
        return {table: removed[table] for table in TABLES}

    def _run(
        self,
        statement: str,
        values: Sequence[Any] = (),
        *,
        table: str = "note",
        key: str = "note_id",
        other: str = "person",
    ) -> int:
        """Run a statement with names filled in; give the number of rows it touched."""
        from psycopg import sql

        composed = sql.SQL(statement).format(
            table=sql.Identifier(self.schema, table),
            stage=sql.Identifier(f"stage_{table}"),
            written=sql.Identifier(self.schema, _WRITTEN),
            other=sql.Identifier(self.schema, other),
            key=sql.Identifier(key),
            columns=_names(TABLES[table]),
        )
        self.cursor.execute(composed, values)
        return self.cursor.rowcount

    def _one(self) -> tuple[Any, ...]:
        found = self.cursor.fetchone()
        assert found is not None
        return found


def _names(columns: Sequence[str]) -> Any:
    from psycopg import sql

    return sql.SQL(", ").join(sql.Identifier(name) for name in columns)


def _cells(file: Path) -> Iterator[list[str]]:
    """The rows of a CSV file of ours behind its header; a note may be longer than a usual cell."""
    usual = csv.field_size_limit(_LARGEST_CELL)
    try:
        with file.open(encoding="utf-8", newline="") as stream:
            rows = csv.reader(stream, strict=True)
            next(rows)
            yield from rows
    finally:
        csv.field_size_limit(usual)
