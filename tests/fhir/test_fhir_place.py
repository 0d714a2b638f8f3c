"""Reflex, side and place. SNOMED CT side codes: HL7 FHIR Extensions Pack 5.3.0, structure-laterality."""

from typing import Any

import pytest
from fhir_samples import finding, graded, observation, options

BASE = "https://plexor.example/fhir"


def codes(resource: dict[str, Any]) -> list[str]:
    return [coding["code"] for coding in resource["code"]["coding"]]


@pytest.mark.parametrize(
    ("side", "snomed"), [("left", "7771000"), ("right", "24028007"), ("both", "51440002")]
)
def test_side_is_in_the_code_and_on_the_place(side: str, snomed: str) -> None:
    resource = observation(graded(2, site="crossed_adductor", side=side))
    assert codes(resource) == ["crossed-adductor", f"crossed-adductor-{side}"]
    extension = resource["bodySite"]["extension"][0]
    assert extension["url"] == f"{BASE}/StructureDefinition/laterality"
    assert [(one["system"], one["code"]) for one in extension["valueCodeableConcept"]["coding"]] == [
        (f"{BASE}/CodeSystem/side", side),
        ("http://snomed.info/sct", snomed),
    ]


def test_side_that_is_not_stated_stays_unstated() -> None:
    resource = observation(graded(2, side="unspecified"))
    assert codes(resource) == ["patellar"]
    assert "extension" not in resource["bodySite"]


def test_place_that_is_not_stated_stays_unstated() -> None:
    resource = observation(graded(2, site="unspecified", side="unspecified", root="C6"))
    assert codes(resource) == ["unspecified"]
    assert "bodySite" not in resource
    sided = observation(graded(2, site="unspecified", side="left"))
    assert "coding" not in sided["bodySite"]
    assert sided["bodySite"]["text"] == "Left"


def test_unpaired_reflex_has_no_sided_code() -> None:
    assert codes(observation(graded(2, site="jaw", side="unspecified"))) == ["jaw"]


def test_named_variant_is_a_component_and_in_the_text() -> None:
    resource = observation(
        finding(site="primitive", kind="primitive", which="palmomental", descriptor="present")
    )
    assert resource["code"]["text"] == "Primitive reflex (palmomental), left"


def test_words_of_the_note() -> None:
    resource = observation(graded(2))
    extension = resource["extension"][0]
    assert extension["url"] == f"{BASE}/StructureDefinition/source-words"
    parts = [
        (part["url"], *[v for k, v in part.items() if k.startswith("value")])
        for part in extension["extension"]
    ]
    assert parts == [
        ("finding", "patellar-left-32"),
        ("exam", 1),
        ("span",),
        ("span",),
        ("span",),
        ("start", 32),
        ("end", 42),
        ("quote", "KJ 2+ left"),
    ]
    assert extension["extension"][2]["extension"] == [
        {"url": "start", "valueInteger": 32},
        {"url": "end", "valueInteger": 34},
        {"url": "role", "valueCode": "site"},
    ]


def test_denial_stays_with_the_words() -> None:
    words = observation(finding(descriptor="absent", negated=True))["extension"][0]["extension"]
    assert {"url": "negated", "valueBoolean": True} in words


def test_words_stay_at_home_on_request() -> None:
    resource = observation(graded(2), options=options(quotes=False))
    assert "KJ 2+ left" not in str(resource)


def test_odd_characters_keep_their_place() -> None:
    # FHIR R4 string: no characters below U+0020 but tab, line feed, carriage return
    resource = observation(graded(2, quote="a\x00b\u00a0c\ud800d"))
    words = resource["extension"][0]["extension"]
    assert {"url": "quote", "valueString": "a\ufffdb c\ufffdd"} in words
