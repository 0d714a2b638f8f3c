"""Codes against ValueSets and CodeSystems: lists, filters, exclusions, nesting, expansions, the unknown."""

from typing import Any

import pytest
from check_helpers import PROFILE, errors, observation, profile

from converter.check import Checker, Definitions
from converter.check.terminology import Terminology
from converter.model import Severity

Json = dict[str, Any]
CS, VS = "https://s.example/cs", "https://s.example/vs"

SYSTEM: Json = {
    "resourceType": "CodeSystem",
    "url": CS,
    "content": "complete",
    "caseSensitive": True,
    "concept": [
        {
            "code": "limb",
            "concept": [
                {
                    "code": "arm",
                    "concept": [{"code": "hand"}],
                    "property": [{"code": "pairs", "valueInteger": 1}],
                },
                {"code": "leg", "property": [{"code": "pairs", "valueInteger": 2}]},
            ],
        },
        {"code": "trunk", "property": [{"code": "middle", "valueBoolean": True}]},
        {"code": "foot", "property": [{"code": "parent", "valueCode": "leg"}]},
    ],
}


def value_set(*include: Json, exclude: list[Json] | None = None, url: str = VS, **more: Any) -> Json:
    compose = {"include": list(include), **({"exclude": exclude} if exclude else {})}
    return {"resourceType": "ValueSet", "url": url, "compose": compose, **more}


def terminology(*definitions: Json) -> Terminology:
    return Terminology(Definitions([SYSTEM, *definitions]).library("R4"))


def filtered(name: str, op: str, value: str) -> Json:
    return {"system": CS, "filter": [{"property": name, "op": op, "value": value}]}


@pytest.mark.parametrize(
    ("include", "inside", "outside"),
    [
        ({"system": CS}, {"limb", "hand", "foot"}, {"head"}),
        ({"system": CS, "concept": [{"code": "arm"}]}, {"arm"}, {"hand", "leg"}),
        (filtered("concept", "is-a", "limb"), {"limb", "arm", "hand", "foot"}, {"trunk"}),
        (filtered("concept", "descendent-of", "limb"), {"arm", "hand"}, {"limb", "trunk"}),
        (filtered("concept", "is-not-a", "limb"), {"trunk"}, {"limb", "hand"}),
        (filtered("concept", "generalizes", "hand"), {"hand", "arm", "limb"}, {"leg", "trunk"}),
        (filtered("concept", "in", "arm,leg"), {"arm", "leg"}, {"hand"}),
        (filtered("concept", "not-in", "arm,leg"), {"hand"}, {"arm"}),
        (filtered("code", "regex", "[a-l].*"), {"arm", "leg", "hand"}, {"trunk"}),
        (filtered("parent", "=", "limb"), {"arm", "leg"}, {"hand", "limb"}),
        (filtered("pairs", "=", "2"), {"leg"}, {"arm", "trunk"}),
        (filtered("pairs", "exists", "true"), {"arm", "leg"}, {"trunk"}),
        (filtered("middle", "=", "true"), {"trunk"}, {"arm"}),
    ],
)
def test_include(include: Json, inside: set[str], outside: set[str]) -> None:
    known = terminology(value_set(include))
    assert {code: known.holds(VS, CS, code) for code in inside} == dict.fromkeys(inside, True)
    assert {code: known.holds(VS, CS, code) for code in outside} == dict.fromkeys(outside, False)
    assert all(known.holds(VS, "https://elsewhere.example", code) is False for code in inside)


def test_filters_add_up_and_exclusion_wins() -> None:
    both = {
        "system": CS,
        "filter": [*filtered("concept", "is-a", "limb")["filter"], *filtered("pairs", "=", "1")["filter"]],
    }
    assert terminology(value_set(both)).holds(VS, CS, "arm") is True
    assert terminology(value_set(both)).holds(VS, CS, "leg") is False
    without = value_set({"system": CS}, exclude=[{"system": CS, "concept": [{"code": "arm"}]}])
    assert terminology(without).holds(VS, CS, "arm") is False
    assert terminology(without).holds(VS, CS, "leg") is True


def test_nested_value_sets_intersect_within_one_include() -> None:
    limbs = value_set(filtered("concept", "is-a", "limb"), url="https://s.example/limbs")
    paired = value_set(filtered("pairs", "exists", "true"), url="https://s.example/paired")
    shared = value_set({"valueSet": ["https://s.example/limbs", "https://s.example/paired"]})
    known = terminology(limbs, paired, shared)
    assert [known.holds(VS, CS, code) for code in ("arm", "hand", "trunk")] == [True, False, False]


def test_value_set_that_includes_itself_ends() -> None:
    assert terminology(value_set({"valueSet": [VS]})).holds(VS, CS, "arm") in (False, None)


def test_expansion() -> None:
    contains = [
        {"system": CS, "code": "arm", "contains": [{"system": CS, "code": "hand"}]},
        {"abstract": True, "code": "x"},
    ]
    ready = {"resourceType": "ValueSet", "url": VS, "expansion": {"contains": contains}}
    known = terminology(ready)
    assert [known.holds(VS, CS, code) for code in ("arm", "hand", "x", "leg")] == [True, True, False, False]


def test_what_cannot_be_told() -> None:
    known = terminology(
        value_set({"system": "http://loinc.org"}, url=VS), value_set(filtered("smell", "=", "a"), url="b")
    )
    assert known.holds(VS, "http://loinc.org", "1-8") is None
    assert known.holds("b", CS, "arm") is None
    assert known.holds("https://s.example/absent", CS, "arm") is None
    fragment = Terminology(Definitions([{**SYSTEM, "content": "fragment"}]).library("R4"))
    assert (fragment.defines(CS, "arm"), fragment.defines(CS, "head")) == (True, None)


def test_case() -> None:
    loose = Terminology(Definitions([{**SYSTEM, "caseSensitive": False}]).library("R4"))
    assert loose.defines(CS, "ARM") is True
    assert terminology().defines(CS, "ARM") is False


@pytest.mark.parametrize(
    ("system", "code", "answer"),
    [
        ("urn:ietf:bcp:13", "text/plain; charset=utf-8", True),
        ("urn:ietf:bcp:13", "plain", False),
        ("urn:ietf:bcp:47", "de-CH", True),
        ("urn:ietf:bcp:47", "de_CH", False),
    ],
)
def test_systems_known_by_form(system: str, code: str, answer: bool) -> None:
    assert terminology().defines(system, code) is answer


def bound(strength: str, **more: Any) -> Json:
    return profile({"path": "Observation.method", "binding": {"strength": strength, "valueSet": VS, **more}})


def method(code: str | None, definition: Json) -> list[tuple[str, Severity]]:
    arms = value_set({"system": CS, "concept": [{"code": "arm"}]})
    checker = Checker(Definitions([SYSTEM, arms, definition]))
    value = {"text": "a"} if code is None else {"coding": [{"system": CS, "code": code}]}
    found = checker.check(observation(method=value), [PROFILE])
    return [(one.code, one.severity) for one in found if one.path == "Observation.method"]


@pytest.mark.parametrize(
    ("strength", "severity"),
    [("required", Severity.ERROR), ("extensible", Severity.WARNING), ("preferred", Severity.INFORMATION)],
)
def test_strength_of_a_binding(strength: str, severity: Severity) -> None:
    assert method("arm", bound(strength)) == []
    assert method("leg", bound(strength)) == [("code-not-in-value-set", severity)]


def test_example_binding_asks_nothing() -> None:
    assert method("leg", profile({"path": "Observation.method", "min": 1})) == []


def test_text_alone_does_not_fulfil_a_required_binding() -> None:
    assert method(None, bound("required")) == [("code-missing", Severity.ERROR)]


def test_maximum_value_set() -> None:
    extension = {
        "url": "http://hl7.org/fhir/StructureDefinition/elementdefinition-maxValueSet",
        "valueCanonical": VS,
    }
    definition = bound("preferred", extension=[extension])
    assert method("leg", definition) == [("code-not-in-value-set", Severity.ERROR)]


def test_additional_binding() -> None:
    additional = [{"purpose": "required", "valueSet": VS}]
    definition = profile(
        {"path": "Observation.method", "binding": {"strength": "example", "additional": additional}}
    )
    assert method("leg", definition) == [("code-not-in-value-set", Severity.ERROR)]
    assert method("arm", definition) == []


def test_message_lists_the_few_codes_there_are() -> None:
    arms = value_set({"system": CS, "concept": [{"code": "arm"}, {"code": "hand"}]})
    checker = Checker(Definitions([SYSTEM, arms, bound("required")]))
    found = checker.check(observation(method={"coding": [{"system": CS, "code": "leg"}]}), [PROFILE])
    assert [one.hint for one in found if one.code == "code-not-in-value-set"] == ["Use one of: arm, hand."]


def test_one_coding_of_several_is_enough() -> None:
    arms = value_set({"system": CS, "concept": [{"code": "arm"}]})
    checker = Checker(Definitions([SYSTEM, arms, bound("required")]))
    both = {"coding": [{"system": CS, "code": "leg"}, {"system": CS, "code": "arm"}]}
    assert errors(checker.check(observation(method=both), [PROFILE])) == []


def test_unknown_value_set_is_said_as_information() -> None:
    checker = Checker(Definitions([bound("required")]))
    found = checker.check(observation(method={"coding": [{"system": CS, "code": "leg"}]}), [PROFILE])
    assert errors(found) == []
    assert "code-not-checked" in {one.code for one in found}


def test_a_prescribed_code_outweighs_a_preferred_binding() -> None:
    own = {"coding": [{"system": "https://site.example/codes", "code": "knee"}]}
    resource = {
        "resourceType": "Composition",
        "status": "final",
        "type": own,
        "date": "2031-03-02",
        "author": [{"display": "a"}],
        "title": "a",
    }
    # Composition.type is bound to doc-typecodes, preferred: https://hl7.org/fhir/R4/composition.html
    plain = Checker(Definitions(())).check(resource)
    assert "Composition.type" in [one.path for one in plain if one.code == "code-not-in-value-set"]
    states = profile({"path": "Composition.type", "patternCodeableConcept": own}, type_name="Composition")
    found = Checker(Definitions([states])).check(resource, [PROFILE])
    assert [one.path for one in found if one.code == "code-not-in-value-set"] == []
