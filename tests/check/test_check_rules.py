"""What the checker finds against the base definitions and small profiles, and that good resources pass."""

from decimal import Decimal
from typing import Any

import pytest
from check_helpers import PROFILE, base_checker, base_errors, errors, observation, profile, profile_errors

from converter.check import Checker, Definitions
from converter.model import Severity

Json = dict[str, Any]
GROUP = "http://hl7.org/fhir/StructureDefinition/Group"


def coded(code: str, system: str = "https://site.example/codes") -> Json:
    return {"coding": [{"system": system, "code": code}]}


def length(value: int | Decimal) -> Json:
    return {"value": value, "system": "http://unitsofmeasure.org", "code": "cm"}


def test_smallest_observation_passes() -> None:
    assert base_errors(observation()) == []


@pytest.mark.parametrize(
    ("resource", "expected"),
    [
        ({"resourceType": "Observation", "code": {"text": "a"}}, ("element-missing", "Observation.status")),
        (observation(statsu="final"), ("element-unknown", "Observation.statsu")),
        (observation(status="finished"), ("code-not-in-value-set", "Observation.status")),
        (observation(status=["final"]), ("wrong-json-type", "Observation.status")),
        (observation(category={"text": "a"}), ("wrong-json-type", "Observation.category")),
        (observation(code="a"), ("wrong-json-type", "Observation.code")),
        (observation(category=[]), ("empty-value", "Observation.category")),
        (observation(code={}), ("empty-value", "Observation.code")),
        (observation(issued=""), ("empty-value", "Observation.issued")),
        (observation(issued=None), ("empty-value", "Observation.issued")),
        (observation(issued="2024-01-01"), ("wrong-format", "Observation.issued")),
        (observation(valueString="a", valueInteger=1), ("choice-twice", "Observation.value[x]")),
        (observation(valueAddress={"text": "a"}), ("type-not-allowed", "Observation.value.ofType(Address)")),
        (observation(subject={"reference": "Encounter/1"}), ("reference-target", "Observation.subject")),
        (observation(subject={"reference": "#p"}), ("reference-unresolved", "Observation.subject")),
        (observation(valueString="a", dataAbsentReason={"text": "b"}), ("invariant", "Observation")),
        (
            observation(referenceRange=[{"age": {"low": {"value": 1}}}]),
            ("invariant", "Observation.referenceRange[0]"),
        ),
        (observation(extension=[{"url": "https://e.example/x"}]), ("invariant", "Observation.extension[0]")),
        (observation(extension=[{"valueString": "a"}]), ("element-missing", "Observation.extension[0].url")),
        (observation(_status={}), ("empty-value", "Observation.status")),
        (observation(_code={"id": "a"}), ("element-unknown", "Observation._code")),
        (
            observation(modifierExtension=[{"url": "https://e.example/x", "valueBoolean": True}]),
            ("extension-unknown", "Observation.modifierExtension[0]"),
        ),
        (
            observation(
                category=[coded("nonsense", "http://terminology.hl7.org/CodeSystem/observation-category")]
            ),
            ("code-unknown", "Observation.category[0].coding[0]"),
        ),
        (
            observation(identifier=[{"system": "mine", "value": "1"}]),
            ("system-relative", "Observation.identifier[0].system"),
        ),
        (
            observation(identifier=[{"system": "urn:ietf:rfc:3986", "value": "1"}]),
            ("identifier-uri", "Observation.identifier[0].value"),
        ),
        (
            observation(subject={"reference": "Patient/1", "type": "Group"}),
            ("reference-type", "Observation.subject.type"),
        ),
        (
            observation(method={"id": "a", "text": "b"}, bodySite={"id": "a", "text": "b"}),
            ("element-id", "Observation.bodySite.id"),
        ),
        (
            {"resourceType": "Patient", "photo": [{"contentType": "image/png", "data": "AAAA", "size": 4}]},
            ("attachment-size", "Patient.photo[0].size"),
        ),
        ({"resourceType": "Observashun"}, ("resource-type-unknown", "Observashun")),
    ],
)
def test_base_fault(resource: Json, expected: tuple[str, str]) -> None:
    assert base_errors(resource) == [expected]


def test_misspelt_element_names_the_right_one() -> None:
    found = base_checker().check(observation(compnent=[]))
    assert found[0].hint == "Did you mean `component`?"


def test_required_by_an_extension_on_a_primitive() -> None:
    absent = {
        "extension": [
            {"url": "http://hl7.org/fhir/StructureDefinition/data-absent-reason", "valueCode": "unknown"}
        ]
    }
    resource = observation(_status=absent)
    del resource["status"]
    assert base_errors(resource) == []


def test_primitive_lists_keep_their_extras_aligned() -> None:
    name = {"given": ["a", None], "_given": [None, {"id": "x"}]}
    assert base_errors({"resourceType": "Patient", "name": [name]}) == []
    uneven = {"given": ["a"], "_given": [None, {"id": "x"}]}
    assert base_errors({"resourceType": "Patient", "name": [uneven]}) == [
        ("uneven-lists", "Patient.name[0].given")
    ]


@pytest.mark.parametrize(
    ("element", "good", "bad", "code"),
    [
        ({"path": "Observation.status", "fixedCode": "final"}, {}, {"status": "amended"}, "fixed-value"),
        (
            {"path": "Observation.code", "patternCodeableConcept": {"text": "a"}},
            {"code": {"text": "a", "coding": [{"code": "x"}]}},
            {"code": {"text": "b"}},
            "pattern-value",
        ),
        (
            {"path": "Observation.code", "fixedCodeableConcept": {"text": "a"}},
            {"code": {"text": "a"}},
            {"code": {"text": "a", "coding": [{"code": "x"}]}},
            "fixed-value",
        ),
        (
            {"path": "Observation.valueInteger", "minValueInteger": 2},
            {"valueInteger": 2},
            {"valueInteger": 1},
            "below-minimum",
        ),
        (
            {"path": "Observation.valueQuantity", "maxValueQuantity": length(2)},
            {"valueQuantity": length(Decimal("2.0"))},
            {"valueQuantity": length(Decimal("2.01"))},
            "above-maximum",
        ),
        (
            {"path": "Observation.effectiveDateTime", "maxValueDateTime": "2024-06"},
            {"effectiveDateTime": "2024-06-30"},
            {"effectiveDateTime": "2024-07-01"},
            "above-maximum",
        ),
        (
            {"path": "Observation.valueString", "maxLength": 3},
            {"valueString": "abc"},
            {"valueString": "abcd"},
            "too-long",
        ),
        ({"path": "Observation.value[x]", "max": "0"}, {}, {"valueString": "a"}, "not-allowed"),
        ({"path": "Observation.subject", "min": 1}, {"subject": {"display": "a"}}, {}, "element-missing"),
        (
            {"path": "Observation.category", "max": "1"},
            {"category": [{"text": "a"}]},
            {"category": [{"text": "a"}] * 2},
            "too-many",
        ),
        (
            {"path": "Observation.value[x]", "type": [{"code": "string"}]},
            {"valueString": "a"},
            {"valueInteger": 1},
            "type-not-allowed",
        ),
        (
            {
                "path": "Observation.code",
                "constraint": [{"key": "site-1", "severity": "error", "expression": "coding.exists()"}],
            },
            {"code": coded("a")},
            {"code": {"text": "a"}},
            "invariant",
        ),
        (
            {"path": "Observation.subject", "type": [{"code": "Reference", "targetProfile": [GROUP]}]},
            {"subject": {"reference": "Group/1"}},
            {"subject": {"reference": "Patient/1"}},
            "reference-target",
        ),
    ],
)  # fmt: skip
def test_profile_rule(element: Json, good: Json, bad: Json, code: str) -> None:
    definition = profile(element)
    assert profile_errors(observation(**good), definition) == []
    assert [one for one, _ in profile_errors(observation(**bad), definition)] == [code]


def test_warning_invariants_stay_warnings() -> None:
    constraint = {
        "key": "site-2",
        "severity": "warning",
        "human": "say more",
        "expression": "subject.exists()",
    }
    found = Checker(Definitions([profile({"path": "Observation", "constraint": [constraint]})])).check(
        observation(), [PROFILE]
    )
    assert [(one.rule, one.severity) for one in found if one.rule == "site-2"] == [
        ("site-2", Severity.WARNING)
    ]
    assert errors(found) == []


def test_invariant_beyond_the_fast_reader_is_evaluated_by_the_library() -> None:
    expression = "note.text.aggregate($total & $this, '') = 'ab'"
    constraint = {"key": "site-3", "severity": "error", "human": "h", "expression": expression}
    definition = profile({"path": "Observation", "constraint": [constraint]})
    assert profile_errors(observation(note=[{"text": "a"}, {"text": "b"}]), definition) == []
    assert profile_errors(observation(note=[{"text": "b"}]), definition) == [("invariant", "Observation")]


def test_invariant_that_cannot_be_evaluated_is_said() -> None:
    constraint = {"key": "site-4", "severity": "error", "human": "h", "expression": "subsumes($this)"}
    found = Checker(Definitions([profile({"path": "Observation", "constraint": [constraint]})])).check(
        observation(), [PROFILE]
    )
    assert ("invariant-not-checked", Severity.INFORMATION) in [(one.code, one.severity) for one in found]


def test_same_fault_from_two_profiles_is_said_once() -> None:
    second = profile({"path": "Observation.subject", "min": 1}, url="https://site.example/second")
    first = profile({"path": "Observation.subject", "min": 1})
    found = Checker(Definitions([first, second])).check(
        observation(), [PROFILE, "https://site.example/second"]
    )
    assert errors(found) == [("element-missing", "Observation.subject")]


def test_same_fault_in_the_next_resource_is_said_again() -> None:
    checker = base_checker()
    bad = observation(
        category=[coded("nonsense", "http://terminology.hl7.org/CodeSystem/observation-category")]
    )
    assert errors(checker.check(bad)) == errors(checker.check(bad)) != []


def test_a_value_that_was_good_elsewhere_is_not_good_everywhere() -> None:
    """What is remembered for one slot must not leak into another, nor from one profile to the next."""
    definition = profile({"path": "Observation.method", "patternCodeableConcept": coded("a")})
    checker = Checker(Definitions([definition]))
    assert errors(checker.check(observation(method=coded("b"), bodySite=coded("b")))) == []
    assert errors(checker.check(observation(method=coded("b"), bodySite=coded("b")), [PROFILE])) == [
        ("pattern-value", "Observation.method")
    ]


def test_a_good_value_does_not_excuse_a_wrong_form() -> None:
    checker = base_checker()
    assert errors(checker.check({"resourceType": "Patient", "name": [{"given": ["Ada"]}]})) == []
    found = checker.check({"resourceType": "Patient", "name": [{"given": "Ada"}]})
    assert errors(found) == [("wrong-json-type", "Patient.name[0].given")]
    assert errors(checker.check(observation(valueString="Ada"))) == []
    assert errors(checker.check(observation(valueString=["Ada"]))) == [
        ("wrong-json-type", "Observation.value.ofType(string)")
    ]


def test_contained_reference_is_looked_up_every_time() -> None:
    checker = base_checker()
    subject = {"reference": "#p"}
    whole = observation(subject=subject, contained=[{"resourceType": "Patient", "id": "p", "active": True}])
    assert errors(checker.check(whole)) == []
    assert errors(checker.check(observation(subject=subject))) == [
        ("reference-unresolved", "Observation.subject")
    ]


def test_unknown_profiles() -> None:
    claimed = observation(meta={"profile": ["https://elsewhere.example/p"]})
    found = base_checker().check(claimed)
    assert [(one.code, one.severity) for one in found if one.code == "profile-unknown"] == [
        ("profile-unknown", Severity.WARNING)
    ]
    asked = base_checker().check(observation(), ["https://elsewhere.example/p"])
    assert errors(asked) == [("profile-unknown", "Observation")]


def test_profile_of_another_type() -> None:
    found = base_checker().check(observation(), ["http://hl7.org/fhir/StructureDefinition/Patient"])
    assert errors(found) == [("profile-type", "Observation")]


def test_must_support_on_demand() -> None:
    definitions = Definitions([profile({"path": "Observation.method", "mustSupport": True})])
    assert not [
        one
        for one in Checker(definitions).check(observation(), [PROFILE])
        if one.code == "must-support-absent"
    ]
    found = Checker(definitions, must_support=True).check(observation(), [PROFILE])
    assert [(one.path, one.severity) for one in found if one.code == "must-support-absent"] == [
        ("Observation.method", Severity.INFORMATION)
    ]


def test_vital_sign_without_its_code() -> None:
    """Source: https://hl7.org/fhir/R4/observation-vitalsigns.html; 276885007 is core body temperature."""
    temperature = observation(code=coded("276885007", "http://snomed.info/sct"))
    assert ("slice-missing", "Observation.code.coding") in base_errors(temperature)


def test_fault_of_an_implied_profile_does_not_hide_the_same_fault_of_the_type() -> None:
    temperature = observation(code=coded("8310-5", "http://loinc.org"))
    del temperature["status"]
    assert base_errors(temperature).count(("element-missing", "Observation.status")) == 1


def test_quantities_in_different_units_are_not_called_wrong() -> None:
    low, high = ({"value": 1, "system": "http://unitsofmeasure.org", "code": code} for code in ("mg", "mol"))
    found = base_checker().check(observation(valueRange={"low": low, "high": high}))
    assert errors(found) == []
    assert "invariant-not-checked" in {one.code for one in found}


_R5 = "http://hl7.org/fhir/5.0/StructureDefinition/extension-ElementDefinition."
_ABSENT = "http://hl7.org/fhir/StructureDefinition/data-absent-reason"


@pytest.mark.parametrize(
    ("extensions", "allowed"),
    [
        ([{"url": f"{_R5}mustHaveValue", "valueBoolean": True}], False),
        ([{"url": f"{_R5}valueAlternatives", "valueCanonical": _ABSENT}], True),
        ([{"url": f"{_R5}valueAlternatives", "valueCanonical": "https://s.example/other"}], False),
        ([], True),
    ],
)
def test_primitive_that_needs_a_value(extensions: list[Json], allowed: bool) -> None:
    """Source: https://hl7.org/fhir/R5/elementdefinition.html, and its extensions for earlier releases."""
    definition = profile({"path": "Observation.issued", "min": 1, "extension": extensions})
    absent = {"extension": [{"url": _ABSENT, "valueCode": "unknown"}]}
    found = profile_errors(observation(_issued=absent), definition)
    assert found == ([] if allowed else [("value-missing", "Observation.issued")])
    assert profile_errors(observation(issued="2024-01-01T00:00:00Z"), definition) == []


def test_profile_that_imposes_another() -> None:
    url = "http://hl7.org/fhir/StructureDefinition/structuredefinition-imposeProfile"
    imposing = {**profile(), "extension": [{"url": url, "valueCanonical": "https://s.example/other"}]}
    other = profile({"path": "Observation.subject", "min": 1}, url="https://s.example/other")
    assert profile_errors(observation(), imposing, other) == [("element-missing", "Observation.subject")]


def test_conforms_to_in_an_invariant() -> None:
    other = profile({"path": "Observation.subject", "min": 1}, url="https://s.example/other")
    expression = "conformsTo('https://s.example/other')"
    constraint = {"key": "site-5", "severity": "error", "human": "h", "expression": expression}
    definition = profile({"path": "Observation", "constraint": [constraint]})
    assert profile_errors(observation(subject={"display": "a"}), definition, other) == []
    assert profile_errors(observation(), definition, other) == [("invariant", "Observation")]


def test_member_of_in_an_invariant() -> None:
    codes = {
        "resourceType": "ValueSet",
        "url": "https://s.example/vs",
        "compose": {"include": [{"system": "https://site.example/codes", "concept": [{"code": "a"}]}]},
    }
    expression = "method.memberOf('https://s.example/vs')"
    constraint = {"key": "site-6", "severity": "error", "human": "h", "expression": expression}
    definition = profile({"path": "Observation", "constraint": [constraint]})
    assert profile_errors(observation(method=coded("a")), definition, codes) == []
    assert profile_errors(observation(method=coded("b")), definition, codes) == [("invariant", "Observation")]


def test_what_is_no_object_is_said() -> None:
    assert errors(base_checker().check([])) == [("wrong-json-type", "")]  # type: ignore[arg-type]
    assert errors(base_checker().check({})) == [("resource-type-unknown", "Resource")]
