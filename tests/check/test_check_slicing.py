"""Slices: told apart by value, pattern, existence, type and profile, also behind references; their rules."""

from typing import Any

import pytest
from check_helpers import PROFILE, observation, profile, profile_errors

Json = dict[str, Any]
SD = "http://hl7.org/fhir/StructureDefinition/"


def slicing(kind: str, path: str, rules: str = "open", ordered: bool = False) -> Json:
    return {"discriminator": [{"type": kind, "path": path}], "rules": rules, "ordered": ordered}


def coded(code: str) -> Json:
    return {"coding": [{"system": "https://s.example", "code": code}]}


def components(rules: str = "open", ordered: bool = False) -> Json:
    return profile(
        {"path": "Observation.component", "slicing": slicing("pattern", "code", rules, ordered)},
        {"path": "Observation.component", "sliceName": "a", "min": 1, "max": "1"},
        {"path": "Observation.component.code", "patternCodeableConcept": coded("a")},
        {"path": "Observation.component.value[x]", "min": 1, "type": [{"code": "Quantity"}]},
        {"path": "Observation.component", "sliceName": "b"},
        {"path": "Observation.component.code", "patternCodeableConcept": coded("b")},
    )


A = {"code": coded("a"), "valueQuantity": {"value": 1}}
B = {"code": coded("b")}
OTHER = {"code": coded("c")}


@pytest.mark.parametrize(
    ("rules", "ordered", "items", "expected"),
    [
        ("open", False, [A], []),
        ("open", False, [OTHER, B, A], []),
        ("open", False, [B], [("slice-missing", "Observation.component")]),
        ("open", False, [A, A], [("slice-too-many", "Observation.component")]),
        ("closed", False, [A, B], []),
        ("closed", False, [A, OTHER], [("slice-unknown", "Observation.component[1]")]),
        ("openAtEnd", False, [A, B, OTHER], []),
        ("openAtEnd", False, [OTHER, A], [("slice-order", "Observation.component[1]")]),
        ("open", True, [A, OTHER, B], []),
        ("open", True, [B, A], [("slice-order", "Observation.component[1]")]),
        ("open", False, [{"code": coded("a")}], [("element-missing", "Observation.component[0].value[x]")]),
        (
            "open",
            False,
            [{"code": coded("a"), "valueString": "x"}],
            [
                ("type-not-allowed", "Observation.component[0].value.ofType(string)"),
                ("element-missing", "Observation.component[0].value[x]"),
            ],
        ),
    ],
)
def test_rules_between_slices(rules: str, ordered: bool, items: list[Json], expected: list[Any]) -> None:
    found = profile_errors(observation(component=items), components(rules, ordered))
    assert sorted(found) == sorted(expected)


def test_value_below_the_item() -> None:
    definition = profile(
        {"path": "Observation.category", "slicing": slicing("value", "coding.system")},
        {"path": "Observation.category", "sliceName": "own", "max": "1"},
        {"path": "Observation.category.coding.system", "fixedUri": "https://s.example"},
    )
    assert profile_errors(observation(category=[coded("a"), {"text": "b"}]), definition) == []
    twice = observation(category=[coded("a"), coded("b")])
    assert profile_errors(twice, definition) == [("slice-too-many", "Observation.category")]


def test_existence() -> None:
    definition = profile(
        {"path": "Observation.component", "slicing": slicing("exists", "interpretation")},
        {"path": "Observation.component", "sliceName": "with", "max": "1"},
        {"path": "Observation.component.interpretation", "min": 1},
        {"path": "Observation.component", "sliceName": "without"},
        {"path": "Observation.component.interpretation", "max": "0"},
        {"path": "Observation.component.value[x]", "max": "0"},
    )
    marked = {"code": coded("a"), "interpretation": [{"text": "high"}], "valueInteger": 1}
    plain = {"code": coded("a"), "valueInteger": 1}
    assert profile_errors(observation(component=[marked]), definition) == []
    assert profile_errors(observation(component=[marked, marked]), definition) == [
        ("slice-too-many", "Observation.component")
    ]
    assert profile_errors(observation(component=[plain]), definition) == [
        ("not-allowed", "Observation.component[0].value.ofType(integer)")
    ]


def test_type_of_a_choice() -> None:
    definition = profile(
        {"path": "Observation.value[x]", "slicing": slicing("type", "$this")},
        {"path": "Observation.value[x]", "sliceName": "valueQuantity", "type": [{"code": "Quantity"}]},
        {"path": "Observation.value[x].unit", "min": 1},
    )
    assert profile_errors(observation(valueString="a"), definition) == []
    assert profile_errors(observation(valueQuantity={"value": 1, "unit": "a"}), definition) == []
    assert profile_errors(observation(valueQuantity={"value": 1}), definition) == [
        ("element-missing", "Observation.value.ofType(Quantity).unit")
    ]


def test_short_form_limits_a_choice() -> None:
    definition = profile(
        {"path": "Observation.valueQuantity", "min": 1}, {"path": "Observation.valueQuantity.code", "min": 1}
    )
    assert (
        profile_errors(observation(valueQuantity={"value": 1, "system": "urn:a", "code": "a"}), definition)
        == []
    )
    assert ("type-not-allowed", "Observation.value.ofType(string)") in profile_errors(
        observation(valueString="a"), definition
    )
    assert profile_errors(observation(), definition) == [("slice-missing", "Observation.value")]


def test_type_behind_a_reference() -> None:
    definition = profile(
        {"path": "Observation.performer", "slicing": slicing("type", "resolve()", "closed")},
        {
            "path": "Observation.performer",
            "sliceName": "who",
            "max": "1",
            "type": [{"code": "Reference", "targetProfile": [f"{SD}Practitioner"]}],
        },
    )
    practitioner = {"reference": "Practitioner/1"}
    assert profile_errors(observation(performer=[practitioner]), definition) == []
    assert profile_errors(
        observation(performer=[practitioner, {"reference": "Practitioner/2"}]), definition
    ) == [("slice-too-many", "Observation.performer")]
    assert profile_errors(observation(performer=[{"reference": "Organization/1"}]), definition) == [
        ("slice-unknown", "Observation.performer[0]")
    ]


def test_profile_behind_a_reference() -> None:
    active = profile(
        {"path": "Patient.active", "min": 1}, type_name="Patient", url="https://s.example/active"
    )
    definition = profile(
        {"path": "Observation.focus", "slicing": slicing("profile", "resolve()")},
        {
            "path": "Observation.focus",
            "sliceName": "active",
            "min": 1,
            "type": [{"code": "Reference", "targetProfile": ["https://s.example/active"]}],
        },
    )
    inside = {"resourceType": "Patient", "id": "p"}
    focus = [{"reference": "#p"}]
    good = observation(focus=focus, contained=[{**inside, "active": True}])
    assert profile_errors(good, definition, active) == []
    assert profile_errors(observation(focus=focus, contained=[inside]), definition, active) == [
        ("slice-missing", "Observation.focus")
    ]


def test_extension_slice_takes_its_definition() -> None:
    extension = profile(
        {"path": "Extension.url", "fixedUri": "https://s.example/x"},
        {"path": "Extension.value[x]", "min": 1, "type": [{"code": "integer"}]},
        type_name="Extension",
        url="https://s.example/x",
    )
    definition = profile(
        {
            "path": "Observation.extension",
            "sliceName": "x",
            "min": 1,
            "max": "1",
            "type": [{"code": "Extension", "profile": ["https://s.example/x"]}],
        }
    )
    good = {"url": "https://s.example/x", "valueInteger": 1}
    assert profile_errors(observation(extension=[good]), definition, extension) == []
    wrong = {"url": "https://s.example/x", "valueString": "1"}
    assert ("type-not-allowed", "Observation.extension[0].value.ofType(string)") in profile_errors(
        observation(extension=[wrong]), definition, extension
    )
    assert profile_errors(observation(), definition, extension) == [
        ("slice-missing", "Observation.extension")
    ]
    assert profile_errors(observation(extension=[good, good]), definition, extension) == [
        ("slice-too-many", "Observation.extension")
    ]


def test_reslices_are_counted_within_their_slice() -> None:
    definition = profile(
        {
            "id": "Observation.component",
            "path": "Observation.component",
            "slicing": slicing("pattern", "code"),
        },
        {
            "id": "Observation.component:a",
            "path": "Observation.component",
            "sliceName": "a",
            "slicing": slicing("exists", "interpretation"),
        },
        {
            "id": "Observation.component:a.code",
            "path": "Observation.component.code",
            "patternCodeableConcept": coded("a"),
        },
        {
            "id": "Observation.component:a/marked",
            "path": "Observation.component",
            "sliceName": "a/marked",
            "max": "1",
        },
        {
            "id": "Observation.component:a/marked.interpretation",
            "path": "Observation.component.interpretation",
            "min": 1,
        },
    )
    marked = {**A, "interpretation": [{"text": "high"}]}
    other = {**OTHER, "interpretation": [{"text": "high"}]}
    assert profile_errors(observation(component=[A, A, marked, other, other]), definition) == []
    assert profile_errors(observation(component=[marked, marked]), definition) == [
        ("slice-too-many", "Observation.component")
    ]


def test_default_slice_takes_the_rest() -> None:
    definition = profile(
        {"path": "Observation.component", "slicing": slicing("pattern", "code", "closed")},
        {"path": "Observation.component", "sliceName": "a"},
        {"path": "Observation.component.code", "patternCodeableConcept": coded("a")},
        {"path": "Observation.component", "sliceName": "@default"},
        {"path": "Observation.component.value[x]", "max": "0"},
    )
    assert profile_errors(observation(component=[A, B]), definition) == []
    assert profile_errors(observation(component=[{**B, "valueInteger": 1}]), definition) == [
        ("not-allowed", "Observation.component[0].value.ofType(integer)")
    ]


def test_constraint_on_the_unsliced_element_reaches_slices_of_the_base() -> None:
    further = profile(
        {"path": "Observation.component.interpretation", "max": "0"},
        base=PROFILE,
        url="https://s.example/further",
    )
    marked = observation(component=[{**A, "interpretation": [{"text": "high"}]}])
    assert profile_errors(marked, components()) == []
    assert profile_errors(marked, components(), further, url="https://s.example/further") == [
        ("not-allowed", "Observation.component[0].interpretation")
    ]
