"""The transaction Bundle. FHIR R4 http: a conditional update is a PUT to a search; the body needs no id."""

from typing import Any

from fhir_samples import abnormality, assessment, built, graded, rendered_notes
from hypothesis import HealthCheck, given, settings
from test_fhir_resources import references

from converter.fhir import FhirOptions, transaction


def bundle() -> dict[str, Any]:
    return transaction(built(graded(2), assessments=(assessment(abnormality()),)), FhirOptions())


def test_every_entry_is_a_conditional_update_by_our_identifier() -> None:
    for entry in bundle()["entry"]:
        resource, uuid = entry["resource"], entry["fullUrl"].removeprefix("urn:uuid:")
        kind = resource["resourceType"]
        system = {"DocumentReference": "document"}.get(kind, kind.lower())
        expected = f"{kind}?identifier=https://plexor.example/fhir/identifier/{system}|{uuid}"
        if kind in ("Composition", "Provenance"):
            # A Provenance has no identifier in R4, and a server that the tests of sending use does not
            # search that of a Composition; `_tag` is a parameter of every resource (R4, search, 3.1.1.4).
            tags = f"https://plexor.example/fhir/CodeSystem/{kind.lower()}-id"
            expected = f"{kind}?_tag={tags}|{uuid}"
            assert {"system": tags, "code": uuid} in resource["meta"]["tag"]
        assert entry["request"] == {"method": "PUT", "url": expected}
        assert "id" not in resource


def test_what_the_search_finds_is_in_the_body() -> None:
    for entry in bundle()["entry"]:
        system, _, value = entry["request"]["url"].partition("=")[2].partition("|")
        resource = entry["resource"]
        known = resource.get("identifier", [])
        known = known if isinstance(known, list) else [known]
        tags = [{"system": tag["system"], "value": tag["code"]} for tag in resource["meta"].get("tag", [])]
        assert {"system": system, "value": value} in [*known, *tags]


def test_references_inside_are_addresses_of_entries() -> None:
    sent = bundle()
    addresses = {entry["fullUrl"] for entry in sent["entry"]}
    inside = references([entry["resource"] for entry in sent["entry"]])
    assert inside
    assert inside <= addresses


def test_reference_to_what_was_sent_before_is_a_search() -> None:
    retracted = {
        "resourceType": "Composition",
        "id": "c",
        "author": [{"reference": "Device/d"}],
    }
    (entry,) = transaction([retracted], FhirOptions())["entry"]
    expected = "Device?identifier=https://plexor.example/fhir/identifier/device|d"
    assert entry["resource"]["author"] == [{"reference": expected}]


def test_resource_that_comes_twice_is_sent_once() -> None:
    resources = built(graded(2))
    assert transaction([*resources, *resources], FhirOptions()) == transaction(resources, FhirOptions())


def test_nothing_is_a_bundle_without_entries() -> None:
    assert transaction([], FhirOptions()) == {"resourceType": "Bundle", "type": "transaction"}


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(resources=rendered_notes())
def test_making_a_bundle_leaves_the_resources_as_they_are(resources: list[dict[str, Any]]) -> None:
    before = repr(resources)
    transaction(resources, FhirOptions())
    assert repr(resources) == before


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(resources=rendered_notes())
def test_no_literal_reference_of_ours_is_left(resources: list[dict[str, Any]]) -> None:
    bodies = [entry["resource"] for entry in transaction(resources, FhirOptions())["entry"]]
    left = {one for one in references(bodies) if not one.startswith(("urn:uuid:", "Patient"))}
    assert left == set()
