"""The OMOP CDM 5.4 in a database, by the definitions of PyPI `omop-cdm`, with the few concepts that rows need.

All concept ids above 2 000 000 000 are invented; the standard keeps that range free for a site's own.
"""

import csv
import warnings
from collections.abc import Iterable, Mapping
from datetime import date
from pathlib import Path
from typing import Any

from omop_cdm.constants import CDM_SCHEMA, VOCAB_SCHEMA
from omop_cdm.regular.cdm54 import Base
from sqlalchemy import Connection, Engine, insert, text

CONCEPTS = (0, 32678, 32831, 32858, *range(2_000_000_001, 2_000_000_041))
_DAY = date(1970, 1, 1)


def in_schema(engine: Engine, schema: str | None) -> Engine:
    """The same engine, with the model's placeholders led to a schema (None for SQLite)."""
    return engine.execution_options(schema_translate_map={CDM_SCHEMA: schema, VOCAB_SCHEMA: schema})


def make_cdm(connection: Connection) -> None:
    """Create all tables with their constraints."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Cannot correctly sort tables")
        Base.metadata.create_all(connection)


def seed(connection: Connection, persons: Iterable[int], visits: Mapping[int, int]) -> None:
    """Put in concepts, persons, and visits by their person; constraints that refer in circles are put off."""
    put(connection, "vocabulary", [{"vocabulary_id": "None", "vocabulary_name": "", "vocabulary_reference": "",
                                    "vocabulary_concept_id": 0}])  # fmt: skip
    put(connection, "domain", [{"domain_id": "Metadata", "domain_name": "", "domain_concept_id": 0}])
    put(connection, "concept_class", [{"concept_class_id": "Undefined", "concept_class_name": "",
                                       "concept_class_concept_id": 0}])  # fmt: skip
    put(connection, "concept", [_concept(number) for number in CONCEPTS])
    put(connection, "person", [
        {"person_id": one, "gender_concept_id": 0, "year_of_birth": 1960, "race_concept_id": 0,
         "ethnicity_concept_id": 0} for one in persons])  # fmt: skip
    put(connection, "visit_occurrence", [
        {"visit_occurrence_id": visit, "person_id": person, "visit_concept_id": 0, "visit_start_date": _DAY,
         "visit_end_date": _DAY, "visit_type_concept_id": 0} for visit, person in visits.items()])  # fmt: skip


def put(connection: Connection, table: str, rows: list[dict[str, Any]]) -> None:
    """Put rows into a table."""
    if rows:
        connection.execute(insert(_table(table)), rows)


def load_csv(connection: Connection, table: str, file: Path) -> int:
    """Put a CSV file into a table, each value in the type of its column; give the number of rows."""
    columns = _table(table).columns
    with file.open(encoding="utf-8", newline="") as stream:
        rows = [
            {name: _typed(columns[name].type.python_type, cell) for name, cell in row.items()}
            for row in csv.DictReader(stream)
        ]
    put(connection, table, rows)
    return len(rows)


def without_circles(connection: Connection) -> None:
    """Let constraints wait until the end of the transaction, since the vocabulary refers to itself (PostgreSQL)."""
    found = connection.execute(
        text("SELECT conrelid::regclass::text, conname FROM pg_constraint WHERE contype = 'f'")
    ).all()
    for table, name in found:
        connection.execute(text(f'ALTER TABLE {table} ALTER CONSTRAINT "{name}" DEFERRABLE'))
    connection.execute(text("SET CONSTRAINTS ALL DEFERRED"))


def _table(name: str) -> Any:
    return Base.metadata.tables[f"{VOCAB_SCHEMA if name in _VOCABULARY else CDM_SCHEMA}.{name}"]


_VOCABULARY = frozenset({"vocabulary", "domain", "concept_class", "concept"})


def _typed(kind: type, cell: str) -> Any:
    if not cell:
        return None
    return cell if kind is str else kind.fromisoformat(cell) if hasattr(kind, "fromisoformat") else kind(cell)


def _concept(number: int) -> dict[str, Any]:
    return {
        "concept_id": number,
        "concept_name": f"Concept {number}",
        "domain_id": "Metadata",
        "vocabulary_id": "None",
        "concept_class_id": "Undefined",
        "concept_code": str(number),
        "valid_start_date": _DAY,
        "valid_end_date": _DAY,
    }
