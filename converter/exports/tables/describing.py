"""The data dictionary of the tables: as CSV, as JSON Schema and as a Frictionless data package.

Takes tables; gives plain values and text. Standards: JSON Schema 2020-12; Data Package and Table Schema of
Frictionless Data, version 1.
"""

import json
from collections.abc import Iterable, Iterator
from typing import Any

from converter.exports.tables.fields import Field, Table

DICTIONARY = ("table", "field", "type", "unit", "allowed", "source", "meaning")
_JSON_TYPES = {"text": "string", "date": "string"}
_TABLE_TYPES = {"text": "string"}
_GUARD = (
    "Text that begins with one of = + - @ ' or a tab has an apostrophe before it in CSV, so that no "
    "spreadsheet takes it for a formula; take one away. In Parquet nothing is added."
)


def dictionary_rows(tables: Iterable[Table]) -> Iterator[tuple[str, ...]]:
    """The rows of the data dictionary, in the order of `DICTIONARY`."""
    for table in tables:
        for field in table.fields:
            allowed = " | ".join(field.allowed)
            yield table.name, field.name, field.kind, field.unit or "", allowed, field.source, field.meaning


def json_schema(table: Table, caution: str) -> dict[str, Any]:
    """The JSON Schema of one row of a table."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": table.title,
        "description": caution,
        "type": "object",
        "properties": {field.name: _property(field) for field in table.fields},
        "required": list(table.columns),
        "additionalProperties": False,
    }


def data_package(tables: Iterable[Table], title: str, caution: str) -> dict[str, Any]:
    """The data package that describes every CSV file with its table schema."""
    return {
        "profile": "tabular-data-package",
        "name": "reflex-findings",
        "title": title,
        "description": f"{caution} {_GUARD}",
        "resources": [_resource(table) for table in tables],
    }


def pretty(value: Any) -> str:
    """A value as JSON text that people can read."""
    return json.dumps(value, ensure_ascii=False, indent=2) + "\n"


def _property(field: Field) -> dict[str, Any]:
    about: dict[str, Any] = {"type": [_JSON_TYPES.get(field.kind, field.kind), "null"]}
    if field.kind == "date":
        about["format"] = "date"
    if field.allowed:
        about["enum"] = [*field.allowed, None]
    return {**about, "description": _description(field)}


def _resource(table: Table) -> dict[str, Any]:
    return {
        "profile": "tabular-data-resource",
        "name": table.name.replace("_", "-"),
        "title": table.title,
        "path": f"{table.name}.csv",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "schema": {
            "fields": [_table_field(field) for field in table.fields],
            "missingValues": [""],
            "primaryKey": list(table.key),
        },
    }


def _table_field(field: Field) -> dict[str, Any]:
    about: dict[str, Any] = {"name": field.name, "type": _TABLE_TYPES.get(field.kind, field.kind)}
    if field.kind == "boolean":
        about |= {"trueValues": ["true"], "falseValues": ["false"]}
    about["description"] = _description(field)
    if field.allowed:
        about["constraints"] = {"enum": list(field.allowed)}
    return about


def _description(field: Field) -> str:
    unit = f" Unit: {field.unit}." if field.unit else ""
    return f"{field.meaning}{unit} Source: {field.source}."
