"""References, contained resources, bundles and extensions: what hangs together must fit."""

import json
from typing import Any
from uuid import NAMESPACE_URL, uuid5

import pytest
from check_helpers import PROFILE, base_errors, observation, profile, profile_errors

Json = dict[str, Any]
UUID = "urn:uuid:c757873d-ec9a-4326-a141-556f43239520"
PATIENT: Json = {"resourceType": "Patient", "id": "p", "active": True}


def bundle(*entries: Json, kind: str = "collection", **more: Any) -> Json:
    return {"resourceType": "Bundle", "type": kind, "entry": list(entries), **more}


def entry(resource: Json, url: str | None = None, **more: Any) -> Json:
    """An entry whose full URL, where none is given, is made from its content."""
    made = f"urn:uuid:{uuid5(NAMESPACE_URL, json.dumps(resource))}"
    return {"fullUrl": url or made, "resource": resource, **more}


@pytest.mark.parametrize(
    ("resource", "expected"),
    [
        (bundle(entry(PATIENT, UUID), entry(observation(subject={"reference": UUID}))), []),
        (
            bundle(
                entry(
                    observation(subject={"reference": UUID}), request={"method": "POST", "url": "Observation"}
                ),
                kind="transaction",
            ),
            [("reference-unresolved", "Bundle.entry[0].resource.subject")],
        ),
        (
            bundle(
                entry(
                    {"resourceType": "Encounter", "id": "e", "status": "planned", "class": {"code": "AMB"}},
                    UUID,
                ),
                entry(observation(subject={"reference": UUID})),
            ),
            [("reference-target", "Bundle.entry[1].resource.subject")],
        ),
        (
            bundle(
                entry(PATIENT, "https://a.example/Patient/p"),
                entry(observation(subject={"reference": "Patient/p"})),
            ),
            [],
        ),
        (bundle({"resource": PATIENT}), [("bundle-full-url", "Bundle.entry[0]")]),
        (bundle({"resource": PATIENT, "request": {"method": "PUT", "url": "Patient/p"}}, kind="batch"), []),
        (
            bundle(entry({"resourceType": "Patient", "active": True}, "https://a.example/Patient/p")),
            [("bundle-full-url", "Bundle.entry[0].fullUrl")],
        ),
        (
            bundle(entry(PATIENT, "https://a.example/Patient/q")),
            [("bundle-full-url", "Bundle.entry[0].fullUrl")],
        ),
        (bundle(entry(PATIENT, "Patient/p")), [("bundle-full-url", "Bundle.entry[0].fullUrl")]),
        (
            bundle(entry(PATIENT, UUID), entry(PATIENT, UUID)),
            [("bundle-full-url", "Bundle.entry[1].fullUrl"), ("invariant", "Bundle")],
        ),
        (bundle(entry(PATIENT), kind="transaction"), [("invariant", "Bundle")]),
        (
            bundle(entry(PATIENT, request={"method": "PUT", "url": "Patient/p"}), kind="transaction"),
            [],
        ),
        (
            bundle(entry(PATIENT, request={"method": "PUT", "url": "Observation/p"}), kind="transaction"),
            [("bundle-request", "Bundle.entry[0].request.url")],
        ),
        (
            bundle({"request": {"method": "POST", "url": "Patient"}}, kind="transaction"),
            [("bundle-request", "Bundle.entry[0]")],
        ),
        (
            bundle(
                entry(PATIENT, UUID),
                kind="document",
                identifier={"system": "urn:a", "value": "1"},
                timestamp="2024-01-01T00:00:00Z",
            ),
            [("invariant", "Bundle")],
        ),
        (bundle({"fullUrl": UUID}), [("invariant", "Bundle.entry[0]")]),
        (
            bundle(entry({"resourceType": "Patient", "actve": True})),
            [("element-unknown", "Bundle.entry[0].resource.actve")],
        ),
        (
            bundle(entry({"resourceType": "Patience"})),
            [("resource-type-unknown", "Bundle.entry[0].resource")],
        ),
    ],
)
def test_bundles(resource: Json, expected: list[Any]) -> None:
    assert sorted(base_errors(resource)) == sorted(expected)


@pytest.mark.parametrize(
    ("contained", "subject", "expected"),
    [
        ([PATIENT], {"reference": "#p"}, []),
        ([PATIENT], {"display": "a"}, [("invariant", "Observation.contained[0]")]),
        (
            [{**PATIENT, "id": "q"}],
            {"reference": "#p"},
            [("reference-unresolved", "Observation.subject"), ("invariant", "Observation.contained[0]")],
        ),
        (
            [{"resourceType": "Patient", "active": True}],
            {"display": "a"},
            [("contained-id", "Observation.contained[0]")],
        ),
        (
            [{**PATIENT, "contained": [{"resourceType": "Patient", "id": "x"}]}],
            {"reference": "#p"},
            [("invariant", "Observation")],
        ),
        ([{**PATIENT, "meta": {"versionId": "1"}}], {"reference": "#p"}, [("invariant", "Observation")]),
    ],
)
def test_contained(contained: list[Json], subject: Json, expected: list[Any]) -> None:
    found = base_errors(observation(contained=contained, subject=subject))
    assert set(expected) <= set(found)
    assert bool(found) == bool(expected)


def test_reference_to_a_profile_is_held_where_the_target_is_at_hand() -> None:
    active = profile(
        {"path": "Patient.active", "min": 1}, type_name="Patient", url="https://s.example/active"
    )
    target = {"code": "Reference", "targetProfile": ["https://s.example/active"]}
    definition = profile({"path": "Observation.subject", "type": [target]})
    subject = {"reference": "#p"}
    assert profile_errors(observation(subject=subject, contained=[PATIENT]), definition, active) == []
    bare = {"resourceType": "Patient", "id": "p", "gender": "other"}
    assert profile_errors(observation(subject=subject, contained=[bare]), definition, active) == [
        ("reference-target", "Observation.subject")
    ]
    assert profile_errors(observation(subject={"reference": "Patient/1"}), definition, active) == []


def test_aggregation_within_a_bundle() -> None:
    target = {"code": "Reference", "aggregation": ["bundled"]}
    definition = profile({"path": "Observation.subject", "type": [target]})
    claiming = observation(id="o", subject={"reference": "Patient/p"}, meta={"profile": [PROFILE]})
    url = "http://hl7.org/fhir/StructureDefinition/Bundle"
    assert profile_errors(bundle(entry(claiming)), definition, url=url) == [
        ("reference-place", "Bundle.entry[0].resource.subject")
    ]
    together = bundle(
        entry(PATIENT, "https://a.example/Patient/p"), entry(claiming, "https://a.example/Observation/o")
    )
    assert profile_errors(together, definition, url=url) == []


def extension(*context: str, **value: Any) -> Json:
    made = profile(
        {"path": "Extension.url", "fixedUri": "https://s.example/x"},
        {"path": "Extension.value[x]", "min": 1, "type": [{"code": "string"}]},
        type_name="Extension",
        url="https://s.example/x",
    )
    return {**made, "context": [{"type": "element", "expression": one} for one in context], **value}


X = {"url": "https://s.example/x", "valueString": "a"}


@pytest.mark.parametrize(
    ("context", "resource", "allowed"),
    [
        ("Observation", observation(extension=[X]), True),
        ("Patient", observation(extension=[X]), False),
        ("DomainResource", observation(extension=[X]), True),
        ("Element", observation(code={"text": "a", "extension": [X]}), True),
        ("Observation.code", observation(code={"text": "a", "extension": [X]}), True),
        ("CodeableConcept", observation(code={"text": "a", "extension": [X]}), True),
        ("Coding", observation(code={"text": "a", "extension": [X]}), False),
        ("Coding", observation(code={"coding": [{"code": "a", "extension": [X]}]}), True),
        ("CodeableConcept.coding", observation(code={"coding": [{"code": "a", "extension": [X]}]}), True),
        ("Observation.value[x]", observation(valueQuantity={"value": 1, "extension": [X]}), True),
        ("Quantity", observation(valueQuantity={"value": 1, "extension": [X]}), True),
        ("Observation.component", observation(valueQuantity={"value": 1, "extension": [X]}), False),
        ("code", observation(_status={"extension": [X]}), True),
        ("Observation.status", observation(_status={"extension": [X]}), True),
    ],
)
def test_context_of_an_extension(context: str, resource: Json, allowed: bool) -> None:
    found = profile_errors(resource, extension(context), profile())
    assert [code for code, _ in found] == ([] if allowed else ["extension-context"])


def test_context_is_looked_at_in_every_place() -> None:
    """The same good value elsewhere must not make a wrong place right."""
    from check_helpers import errors

    from converter.check import Checker, Definitions

    checker = Checker(Definitions([extension("Observation.code")]))
    value = {"text": "a", "extension": [X]}
    assert errors(checker.check(observation(code=value))) == []
    assert errors(checker.check(observation(method=value))) == [
        ("extension-context", "Observation.method.extension[0]")
    ]
    assert errors(checker.check(observation(code=value))) == []


def test_extension_is_held_to_its_definition_wherever_it_stands() -> None:
    wrong = {"url": "https://s.example/x", "valueInteger": 1}
    found = profile_errors(
        observation(code={"text": "a", "extension": [wrong]}), extension("Element"), profile()
    )
    assert ("type-not-allowed", "Observation.code.extension[0].value.ofType(integer)") in found


def test_extension_that_changes_the_meaning() -> None:
    plain = observation(modifierExtension=[X])
    assert profile_errors(plain, extension("Observation"), profile()) == [
        ("extension-modifier", "Observation.modifierExtension[0]")
    ]
    made = extension("Observation")
    made["differential"]["element"].insert(0, {"path": "Extension", "isModifier": True})
    assert profile_errors(plain, made, profile()) == []
    assert profile_errors(observation(extension=[X]), made, profile()) == [
        ("extension-modifier", "Observation.extension[0]")
    ]


def test_relative_address_of_an_extension() -> None:
    assert base_errors(observation(extension=[{"url": "x", "valueString": "a"}])) == [
        ("extension-url", "Observation.extension[0].url")
    ]
    inner = {"url": "https://e.example/a", "extension": [{"url": "x", "valueString": "a"}]}
    assert base_errors(observation(extension=[inner])) == []
