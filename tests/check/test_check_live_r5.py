"""R5 output before three judges: the Java reference validator, the models of `fhir.resources`, and us."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from check_helpers import base_checker, errors
from reference_validators import java_errors

from converter.check import second_opinion

Json = dict[str, Any]


@pytest.fixture(scope="module")
def bundles(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Json]:
    """The demo's notes as R5."""
    out = tmp_path_factory.mktemp("r5") / "fhir"
    demo = Path(__file__).parents[2] / "fixtures" / "demo" / "notes.csv"
    run = "from converter.cli.app import main; main()"
    command = [sys.executable, "-c", run, "convert", str(demo), "--out", str(out), "--release", "R5"]
    subprocess.run(command, check=True, capture_output=True)
    found = {file.stem: json.loads(file.read_text(encoding="utf-8")) for file in sorted(out.glob("*.json"))}
    assert len(found) > 20
    return found


def test_we_find_no_fault(bundles: dict[str, Json]) -> None:
    checker = base_checker("R5")
    assert {name: found for name, one in bundles.items() if (found := errors(checker.check(one)))} == {}


def test_the_models_refuse_nothing(bundles: dict[str, Json]) -> None:
    resources = [entry["resource"] for bundle in bundles.values() for entry in bundle["entry"]]
    assert {one["resourceType"] for one in resources} >= {"Composition", "Device", "DocumentReference"}
    assert [said.message for one in resources for said in second_opinion(one, "R5")] == []


def test_java_finds_no_fault(bundles: dict[str, Json], tmp_path: Path) -> None:
    """Source: Maven `ca.uhn.hapi.fhir:hapi-fhir-validation` with the R5 definitions."""
    few = dict(list(bundles.items())[:12])
    broken = {"resourceType": "Composition", "status": "final", "identifier": {"value": "1"}}
    said = java_errors({**few, "broken": broken}, [], tmp_path, "R5")
    assert said.pop("broken")
    assert {name: found for name, found in said.items() if found} == {}
