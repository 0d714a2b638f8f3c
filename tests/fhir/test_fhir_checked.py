"""Whatever a note says, its records keep our own profiles; so do retractions keep the base ones."""

import json
from functools import cache
from pathlib import Path
from typing import Any

from fhir_samples import abnormality, assessment, built, graded, options, rendered_notes
from fhir_schema import schema_errors
from hypothesis import HealthCheck, given, settings

from converter.check import Checker, load_definitions
from converter.fhir import FolderWriter, json_text
from converter.model import Severity

WORST = (Severity.ERROR, Severity.FATAL)  # a local word without a code is a warning, as it should be


@cache
def checker() -> Checker:
    return Checker(load_definitions())


def faults(resource: dict[str, Any]) -> list[str]:
    found = checker().check(json.loads(json_text(resource)))
    return [f"{one.path}: {one.message}" for one in found if one.severity in WORST]


def is_unknown_abnormality(resource: dict[str, Any]) -> bool:
    """An abnormality whose code no rule has; our profile takes none such."""
    return "made-up" in json_text(resource) or resource.get("code", {}).get("text") == "Made up code"


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(resources=rendered_notes())
def test_every_resource_keeps_our_profiles(resources: list[dict[str, Any]]) -> None:
    for resource in resources:
        if not is_unknown_abnormality(resource):
            assert faults(resource) == []


def test_unknown_abnormality_is_no_abnormality_of_ours() -> None:
    made = built(graded(2), assessments=(assessment(abnormality(code="made-up-code")),))
    (verdict,) = [one for one in made if is_unknown_abnormality(one) and one["resourceType"] == "Observation"]
    assert faults(verdict)


def test_retractions_are_valid(tmp_path: Path) -> None:
    chosen = options(diagnostic_report=True)
    for told in ([graded(2)], []):
        with FolderWriter(tmp_path, chosen) as writer:
            writer.write(built(*told, options=chosen, assessments=(assessment(abnormality()),)))
    (file,) = tmp_path.glob("*.json")
    bundle = json.loads(file.read_text(encoding="utf-8"))
    statuses = [entry["resource"]["status"] for entry in bundle["entry"]]
    assert statuses.count("entered-in-error") == 5  # finding, panel, abnormality, summary, report
    assert faults(bundle) == []
    assert schema_errors(bundle) == []
