"""The OMOP CDM 5.4 in a database, by the definitions of PyPI `omop-cdm`, with the few concepts needed.

All concept ids above 2 000 000 000 are invented; the standard keeps that range free for a site's own.
"""

import csv
from collections.abc import Iterable, Mapping
from datetime import date
from pathlib import Path
from typing import Any

from omop_cdm.regular.cdm54 import Base
from sqlalchemy import BLANK_SCHEMA, Connection, MetaData, insert, text

CONCEPTS = (0, 32678, 32831, 32858, *range(2_000_000_001, 2_000_000_041))
DOMAINS = {
    **dict.fromkeys((2_000_000_001, 2_000_000_002, 2_000_000_006), "Measurement"),
    **dict.fromkeys((2_000_000_003, 2_000_000_004, 2_000_000_005, 2_000_000_007), "Observation"),
    2_000_000_008: "Condition",
}
"""The domains of the concepts that the sample map names."""
_DAY = date(1970, 1, 1)
_IN_CIRCLES = ("vocabulary", "domain", "concept_class", "relationship")


class Cdm:
    """The tables of the CDM in a schema, or in none."""

    def __init__(self, schema: str | None) -> None:
        self._tables = MetaData(naming_convention=Base.metadata.naming_convention)
        referred: Any = schema or BLANK_SCHEMA
        for table in Base.metadata.tables.values():
            copied = table.to_metadata(self._tables, schema=schema, referred_schema_fn=lambda *_: referred)
            if table.name in _IN_CIRCLES:
                for constraint in copied.foreign_key_constraints:
                    constraint.use_alter = True  # comes last, where the database can (SQLite cannot)
        self._prefix = f"{schema}." if schema else ""

    def make(self, connection: Connection) -> None:
        """Create all tables with their constraints."""
        self._tables.create_all(connection)

    def seed(self, connection: Connection, persons: Iterable[int], visits: Mapping[int, int]) -> None:
        """Put in concepts, persons, and visits by their person."""
        self.put(connection, "vocabulary", [
            {"vocabulary_id": "None", "vocabulary_name": "", "vocabulary_reference": "",
             "vocabulary_concept_id": 0}])  # fmt: skip
        self.put(connection, "domain", [
            {"domain_id": one, "domain_name": "", "domain_concept_id": 0}
            for one in ("Metadata", "Measurement", "Observation", "Condition")])  # fmt: skip
        self.put(connection, "concept_class", [
            {"concept_class_id": "Undefined", "concept_class_name": "",
             "concept_class_concept_id": 0}])  # fmt: skip
        self.put(connection, "concept", [_concept(number) for number in CONCEPTS])
        self.put(connection, "person", [
            {"person_id": one, "gender_concept_id": 0, "year_of_birth": 1960, "race_concept_id": 0,
             "ethnicity_concept_id": 0} for one in persons])  # fmt: skip
        self.put(connection, "visit_occurrence", [
            {"visit_occurrence_id": visit, "person_id": person, "visit_concept_id": 0,
             "visit_type_concept_id": 0, "visit_start_date": _DAY, "visit_end_date": _DAY}
            for visit, person in visits.items()])  # fmt: skip

    def put(self, connection: Connection, table: str, rows: list[dict[str, Any]]) -> None:
        """Put rows into a table."""
        if rows:
            connection.execute(insert(self._tables.tables[self._prefix + table]), rows)

    def load_csv(self, connection: Connection, table: str, file: Path) -> int:
        """Put a CSV file into a table, each value in the type of its column; give the number of rows."""
        columns = self._tables.tables[self._prefix + table].columns
        with file.open(encoding="utf-8", newline="") as stream:
            rows = [
                {name: _typed(columns[name].type.python_type, cell) for name, cell in row.items()}
                for row in csv.DictReader(stream)
            ]
        self.put(connection, table, rows)
        return len(rows)


def put_constraints_off(connection: Connection) -> None:
    """Let constraints of PostgreSQL wait until the end, since the vocabulary refers to itself."""
    found = connection.execute(
        text("SELECT conrelid::regclass::text, conname FROM pg_constraint WHERE contype = 'f'")
    ).all()
    for table, name in found:
        connection.execute(text(f'ALTER TABLE {table} ALTER CONSTRAINT "{name}" DEFERRABLE'))
    connection.execute(text("SET CONSTRAINTS ALL DEFERRED"))


def _typed(kind: type, cell: str) -> Any:
    if not cell:
        return None
    return cell if kind is str else kind.fromisoformat(cell) if hasattr(kind, "fromisoformat") else kind(cell)


def _concept(number: int) -> dict[str, Any]:
    return {
        "concept_id": number,
        "concept_name": f"Concept {number}",
        "domain_id": DOMAINS.get(number, "Metadata"),
        "vocabulary_id": "None",
        "concept_class_id": "Undefined",
        "concept_code": str(number),
        "valid_start_date": _DAY,
        "valid_end_date": _DAY,
    }
