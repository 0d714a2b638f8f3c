"""Rules that the Java reference validator holds too; each verdict here was compared with it.

Source: Maven `ca.uhn.hapi.fhir:hapi-fhir-validation` 8.0.0, and the page of the standard named beside each.
"""

from typing import Any

import pytest
from check_helpers import PROFILE, base_errors, errors, observation, profile, profile_errors

from converter.check import Checker, Definitions

Json = dict[str, Any]
SITE = "https://site.example/fhir/StructureDefinition"


def narrative(inside: str) -> Json:
    div = f'<div xmlns="http://www.w3.org/1999/xhtml">{inside}</div>'
    return observation(text={"status": "generated", "div": div})


@pytest.mark.parametrize(
    "inside",
    [
        *("<u>x</u>", "<s>x</s>", "<center>x</center>", '<font color="red">x</font>', "<nav>x</nav>"),
        *("<ins>x</ins>", '<ol start="2"><li>x</li></ol>', '<p href="x">x</p>', '<li value="2">x</li>'),
        *('<a href="javascript:alert(1)">x</a>', '<a href=" JavaScript:x">x</a>'),
        *('<a href="#nowhere">x</a>', '<img src="#nowhere" alt="a"/>'),
    ],
)
def test_narrative_that_is_refused(inside: str) -> None:
    """Source: fhir-xhtml.xsd of R4; https://hl7.org/fhir/R4/narrative.html."""
    assert base_errors(narrative(inside)) != []


@pytest.mark.parametrize(
    "inside",
    [
        *('<map name="m"><area href="http://site.example" alt="a"/></map>x', '<td nowrap="nowrap">x</td>'),
        *('<p id="a">x</p><a href="#a">y</a>', '<a name="a">x</a><a href="#a">y</a>'),
        *('<p style="color:red" xml:lang="en">x</p>', '<img src="http://site.example/a.png" alt="a"/>'),
    ],
)
def test_narrative_that_is_taken(inside: str) -> None:
    assert base_errors(narrative(inside)) == []


def test_a_link_may_lead_to_an_element_or_a_contained_resource() -> None:
    resource = narrative('<a href="#n1">x</a><a href="#c1">y</a>') | {
        "note": [{"id": "n1", "text": "a"}],
        "contained": [{"resourceType": "Patient", "id": "c1"}],
        "subject": {"reference": "#c1"},
    }
    assert base_errors(resource) == []
    del resource["note"]
    assert base_errors(resource) == [("narrative-link", "Observation.text.div")]


def test_a_canonical_is_absolute() -> None:
    """Source: https://hl7.org/fhir/R4/datatypes.html#canonical."""
    resource = observation(meta={"profile": ["reflex-finding"]})
    assert ("wrong-format", "Observation.meta.profile[0]") in base_errors(resource)


def test_comments_are_no_element_of_r4() -> None:
    assert base_errors(observation(fhir_comments=["a"])) == [("element-unknown", "Observation.fhir_comments")]


def extension(name: str, **value: Any) -> Json:
    return {"url": f"{SITE}/{name}", **value}


def test_a_primitive_may_need_an_extension() -> None:
    """Source: https://hl7.org/fhir/R4/json.html#primitive and https://hl7.org/fhir/R4/profiling.html."""
    own = profile(
        {"path": "Extension.url", "fixedUri": f"{SITE}/told"},
        {"path": "Extension.value[x]", "min": 1, "type": [{"code": "string"}]},
        type_name="Extension",
        url=f"{SITE}/told",
    )
    needs = profile(
        {
            "path": "Observation.issued.extension",
            "slicing": {"discriminator": [{"type": "value", "path": "url"}], "rules": "open"},
        },
        {
            "path": "Observation.issued.extension",
            "sliceName": "told",
            "min": 1,
            "type": [{"code": "Extension", "profile": [f"{SITE}/told"]}],
        },
    )
    when = "2031-03-02T08:00:00Z"
    missing = [("slice-missing", "Observation.issued.extension")]
    assert profile_errors(observation(), needs, own) == []
    assert profile_errors(observation(issued=when), needs, own) == missing
    beside = {"extension": [extension("told", valueString="x")]}
    assert profile_errors(observation(issued=when, _issued=beside), needs, own) == []
    assert profile_errors(observation(issued=when, _issued={"id": "a"}), needs, own) == missing
    wrong = {"extension": [extension("told", valueInteger=1)]}
    assert profile_errors(observation(issued=when, _issued=wrong), needs, own) != []
    stray = beside | {"value": when}
    assert profile_errors(observation(issued=when, _issued=stray), needs, own) == [
        ("element-unknown", "Observation.issued.value")
    ]


def test_a_reference_that_must_be_contained_may_not_leave_the_resource() -> None:
    """Source: https://hl7.org/fhir/R4/codesystem-resource-aggregation-mode.html."""
    patient = "http://hl7.org/fhir/StructureDefinition/Patient"
    entry = {"code": "Reference", "targetProfile": [patient], "aggregation": ["contained"]}
    asks = profile({"path": "Observation.subject", "type": [entry]})
    inside = observation(contained=[{"resourceType": "Patient", "id": "p"}], subject={"reference": "#p"})
    assert profile_errors(inside, asks) == []
    assert profile_errors(observation(subject={"reference": "Patient/1"}), asks) == [
        ("reference-place", "Observation.subject")
    ]


def entry(number: int, resource: Json) -> Json:
    return {"fullUrl": f"urn:uuid:c757873d-ec9a-4326-a141-55654323952{number}", "resource": resource}


def document(*more: Json) -> Json:
    composition = {
        "resourceType": "Composition",
        "status": "final",
        "type": {"text": "x"},
        "date": "2031-03-02",
        "author": [{"display": "a"}],
        "title": "t",
        "subject": {"reference": entry(1, {})["fullUrl"]},
    }
    patient = {"resourceType": "Patient"}
    return {
        "resourceType": "Bundle",
        "identifier": {"system": "http://site.example", "value": "1"},
        "type": "document",
        "timestamp": "2031-03-02T08:00:00Z",
        "entry": [entry(0, composition), entry(1, patient), *more],
    }


def test_everything_in_a_document_is_tied_to_its_composition() -> None:
    """Source: https://hl7.org/fhir/R4/documents.html#content."""
    assert base_errors(document()) == []
    about = entry(2, observation(subject={"reference": entry(1, {})["fullUrl"]}))
    assert base_errors(document(about)) == []
    stray = entry(2, observation())
    assert base_errors(document(stray)) == [("bundle-document", "Bundle.entry[2]")]


def test_a_slice_named_after_a_type_limits_a_choice_that_is_not_sliced_otherwise() -> None:
    """Source: https://hl7.org/fhir/R4/profiling.html#slicing, on choice types."""
    named = {"path": "Observation.value[x]", "sliceName": "valueQuantity", "type": [{"code": "Quantity"}]}
    limits = profile({"id": "Observation.value[x]:valueQuantity", **named})
    assert profile_errors(observation(valueQuantity={"value": 1}), limits) == []
    assert profile_errors(observation(valueString="a"), limits) != []
    slicing = {"discriminator": [{"type": "type", "path": "$this"}], "rules": "open"}
    opened = profile(
        {"id": "Observation.value[x]", "path": "Observation.value[x]", "slicing": slicing},
        {"id": "Observation.value[x]:valueQuantity", **named},
    )
    assert profile_errors(observation(valueString="a"), opened) == []


def test_a_quantity_without_code_draws_a_warning_where_a_code_is_required() -> None:
    codes = {
        "resourceType": "ValueSet",
        "url": f"{SITE}/units",
        "status": "active",
        "compose": {"include": [{"system": "https://site.example/units", "concept": [{"code": "u"}]}]},
    }
    bound = profile(
        {
            "path": "Observation.value[x]",
            "type": [{"code": "Quantity"}],
            "binding": {"strength": "required", "valueSet": f"{SITE}/units"},
        }
    )
    found = Checker(Definitions([bound, codes])).check(observation(valueQuantity={"value": 1}), [PROFILE])
    assert errors(found) == []
    assert [one.severity for one in found if one.code == "code-missing"] == ["warning"]


def test_a_complete_code_system_counts_its_concepts() -> None:
    system = {
        "resourceType": "CodeSystem",
        "url": f"{SITE}/codes",
        "status": "draft",
        "content": "complete",
        "count": 2,
        "concept": [{"code": "a", "concept": [{"code": "b"}]}],
    }
    assert base_errors(system) == []
    assert base_errors({**system, "count": 5}) == [("concept-count", "CodeSystem.count")]
    assert base_errors({**system, "count": 5, "content": "fragment"}) == []


@pytest.mark.parametrize(
    ("kind", "severity"), [("transaction", "error"), ("document", "error"), ("collection", "warning")]
)
def test_a_urn_that_leads_out_of_a_bundle(kind: str, severity: str) -> None:
    """Source: https://hl7.org/fhir/R4/bundle.html#references; a collection may hold a part of a whole."""
    resource = observation(subject={"reference": entry(7, {})["fullUrl"]})
    bundle = {"resourceType": "Bundle", "type": kind, "entry": [entry(1, resource)]}
    found = Checker(Definitions(())).check(bundle)
    assert [one.severity for one in found if one.code == "reference-unresolved"] == [severity]


def own_extension(name: str, *contexts: Json, **more: Any) -> Json:
    made = profile(
        {"path": "Extension.url", "fixedUri": f"{SITE}/{name}"},
        {"path": "Extension.value[x]", "type": [{"code": "string"}]},
        type_name="Extension",
        url=f"{SITE}/{name}",
    )
    return {**made, "context": list(contexts), **more}


def test_an_extension_stands_where_its_path_leads() -> None:
    """Source: https://hl7.org/fhir/R4/defining-extensions.html#context, contexts of type fhirpath."""
    path = "Observation.component.where(value is Quantity)"
    checker = Checker(Definitions([own_extension("e", {"type": "fhirpath", "expression": path})]))
    part = {"code": {"text": "a"}, "extension": [extension("e", valueString="a")]}
    good = observation(
        component=[{"code": {"text": "b"}, "valueString": "x"}, part | {"valueQuantity": {"value": 1}}]
    )
    assert errors(checker.check(good)) == []
    bad = observation(component=[part | {"valueString": "x"}])
    assert errors(checker.check(bad)) == [("extension-context", "Observation.component[0].extension[0]")]
    assert errors(checker.check(observation(extension=part["extension"]))) == [
        ("extension-context", "Observation.extension[0]")
    ]


def test_an_extension_beside_a_primitive_stands_where_its_path_leads() -> None:
    checker = Checker(
        Definitions([own_extension("e", {"type": "fhirpath", "expression": "Observation.code.text"})])
    )
    beside = {"extension": [extension("e", valueString="a")]}
    assert errors(checker.check(observation(code={"text": "a", "_text": beside}))) == []
    assert errors(checker.check(observation(code={"text": "a", **beside}))) != []


def test_an_extension_may_ask_something_of_the_element_it_stands_on() -> None:
    """Source: https://hl7.org/fhir/R4/structuredefinition.html, contextInvariant."""
    where = {"type": "element", "expression": "Observation"}
    checker = Checker(Definitions([own_extension("e", where, contextInvariant=["subject.exists()"])]))
    bare = observation(extension=[extension("e", valueString="a")])
    assert errors(checker.check(bare)) == [("extension-context", "Observation.extension[0]")]
    assert errors(checker.check({**bare, "subject": {"display": "a"}})) == []


def clinical_document(composition: Json, *others: Json) -> Json:
    whole = document(*others)
    first = whole["entry"][0]["resource"] | composition
    return whole | {"entry": [{**whole["entry"][0], "resource": first}, *whole["entry"][1:]]}


@pytest.mark.parametrize(
    ("composition", "place"),
    [
        ({"author": [{"display": "a"}, {"reference": "Practitioner/a"}]}, "author[1]"),
        ({"custodian": {"reference": "urn:uuid:6c1ee0b4-6a2c-4c52-9d6c-3b8f0f0a1b2c"}}, "custodian"),
        ({"attester": [{"mode": "legal", "party": {"reference": "Patient/z"}}]}, "attester[0].party"),
        (
            {"section": [{"section": [{"entry": [{"reference": "Observation/o"}]}]}]},
            "section[0].section[0].entry[0]",
        ),
        ({"section": [{"entry": [{"identifier": {"value": "1"}}, {"display": "a"}]}]}, None),
    ],
)
def test_a_document_holds_what_its_composition_names(composition: Json, place: str | None) -> None:
    """Source: https://hl7.org/fhir/R4/documents.html#content: it SHALL include them; from memory."""
    expected = [("bundle-document", f"Bundle.entry[0].resource.{place}")] if place else []
    assert base_errors(clinical_document(composition)) == expected


def test_a_message_holds_its_focus() -> None:
    """Source: https://hl7.org/fhir/R4/messageheader.html, focus; from memory."""
    header = {
        "resourceType": "MessageHeader",
        "eventCoding": {"system": "https://site.example/events", "code": "e"},
        "source": {"endpoint": "https://site.example/x"},
        "focus": [{"reference": entry(1, {})["fullUrl"]}],
    }
    whole = {"resourceType": "Bundle", "type": "message", "entry": [entry(0, header)]}
    assert base_errors(whole) == [("bundle-document", "Bundle.entry[0].resource.focus[0]")]
    patient = entry(1, {"resourceType": "Patient", "active": True})
    assert base_errors({**whole, "entry": [entry(0, header), patient]}) == []
