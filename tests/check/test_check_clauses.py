"""Clauses of the standard, each with the smallest resources that keep and break it.

Sources stand beside the cases; where the page is not at hand the clause is told from memory, and says so.
"""

from decimal import Decimal
from typing import Any

import pytest
from check_helpers import PROFILE, base_errors, observation, profile, profile_errors

from converter.check import Checker, Definitions
from converter.check.units import factor
from converter.model import Severity

Json = dict[str, Any]
BASE = "http://hl7.org/fhir/StructureDefinition/"
SITE = "https://site.example/fhir/"
CODES = f"{SITE}CodeSystem/c"


def coded(code: str, system: str = CODES, **more: str) -> Json:
    return {"coding": [{"system": system, "code": code, **more}]}


def beats(unit: str) -> Json:
    return {"value": 60, "unit": unit, "system": "http://unitsofmeasure.org", "code": unit}


def heart_rate(**more: Any) -> Json:
    category = coded("vital-signs", "http://terminology.hl7.org/CodeSystem/observation-category")
    whole = {
        "category": [category],
        "code": coded("8867-4", "http://loinc.org"),
        "subject": {"reference": "Patient/a"},
        "effectiveDateTime": "2024-03-01",
        "valueQuantity": beats("/min"),
        **more,
    }
    return observation(**{name: value for name, value in whole.items() if value is not None})


@pytest.mark.parametrize(
    ("changed", "expected"),
    [
        ({}, []),
        ({"category": None}, [("slice-missing", "Observation.category")]),
        ({"subject": None}, [("element-missing", "Observation.subject")]),
        (
            {"valueQuantity": beats("/h")},
            [("fixed-value", "Observation.value.ofType(Quantity).code")],
        ),
        ({"valueQuantity": None}, [("invariant", "Observation")]),
        ({"effectiveDateTime": "2024-03"}, [("invariant", "Observation.effective.ofType(dateTime)")]),
    ],
)
def test_vital_sign_conforms_though_it_claims_nothing(changed: Json, expected: list[Any]) -> None:
    """Source: https://hl7.org/fhir/R4/observation-vitalsigns.html: such codes SHALL conform to them."""
    assert base_errors(heart_rate(**changed)) == expected


def test_unit_of_a_component_of_a_vital_sign_is_a_warning() -> None:
    """Source: HL7's recorded outcomes for oxygen given beside a saturation; FHIR/fhir-test-cases."""
    flow = {"code": coded("3151-8", "http://loinc.org"), "valueQuantity": beats("L/min")}
    assert base_errors(heart_rate(component=[flow])) == []


def test_shared_content_keeps_its_invariants() -> None:
    """Source: https://hl7.org/fhir/R4/elementdefinition.html, contentReference; from memory."""
    low = {"low": {"value": 1}}
    part = {"code": {"text": "a"}, "valueString": "b"}
    wrong = observation(component=[{**part, "referenceRange": [{"age": low}]}])
    assert base_errors(wrong) == [("invariant", "Observation.component[0].referenceRange[0]")]
    assert base_errors(observation(component=[{**part, "referenceRange": [low]}])) == []
    codes = {"resourceType": "ValueSet", "status": "draft"}
    compose = {"include": [{"system": CODES}], "exclude": [{"concept": [{"code": "a"}]}]}
    assert set(base_errors({**codes, "compose": compose})) == {("invariant", "ValueSet.compose.exclude[0]")}


def test_only_resources_say_their_type() -> None:
    """Source: https://hl7.org/fhir/R4/json.html: resourceType is a property of resources; from memory."""
    wrong = {"resourceType": "Patient", "name": [{"resourceType": "HumanName", "text": "a"}]}
    assert base_errors(wrong) == [("element-unknown", "Patient.name[0].resourceType")]


def test_path_below_a_type_of_a_choice_leaves_the_others() -> None:
    """Source: https://hl7.org/fhir/R4/profiling.html: the path is short for a slice by type; from memory."""
    below = profile({"path": "Observation.valueQuantity.code", "min": 1})
    assert profile_errors(observation(valueString="a"), below) == []
    assert profile_errors(observation(valueQuantity={"value": 1}), below) == [
        ("element-missing", "Observation.value.ofType(Quantity).code")
    ]
    itself = profile({"path": "Observation.valueQuantity", "short": "a"})
    assert profile_errors(observation(valueString="a"), itself) == [
        ("type-not-allowed", "Observation.value.ofType(string)")
    ]


def contained_patient() -> Json:
    patient = {"resourceType": "Patient", "id": "p"}
    return observation(contained=[patient], subject={"reference": "#p"})


def test_contained_resources_are_sliced_by_their_type() -> None:
    """Source: https://hl7.org/fhir/R4/profiling.html#discriminator: type tells resources apart."""
    definition = profile(
        {
            "path": "Observation.contained",
            "slicing": {"discriminator": [{"type": "type", "path": "$this"}], "rules": "closed"},
        },
        {"path": "Observation.contained", "sliceName": "p", "min": 1, "type": [{"code": "Patient"}]},
    )
    assert profile_errors(contained_patient(), definition) == []
    group = {"resourceType": "Group", "id": "p", "type": "person", "actual": True}
    wrong = contained_patient() | {"contained": [group]}
    assert profile_errors(wrong, definition) == [
        ("slice-unknown", "Observation.contained[0]"),
        ("slice-missing", "Observation.contained"),
    ]


def test_rule_of_a_bundle_resolves_inside_it() -> None:
    """Source: https://hl7.org/fhir/R4/bundle.html#references: entries lead to one another."""
    rule = {"key": "b-1", "severity": "error", "human": "subjects are here"}
    rule["expression"] = "entry.resource.ofType(Observation).all(subject.resolve().exists())"
    definition = profile({"path": "Bundle", "constraint": [rule]}, type_name="Bundle")
    seen = observation(id="o", subject={"reference": "Patient/p"})
    entries = [
        {"fullUrl": f"https://site.example/{one['resourceType']}/{one['id']}", "resource": one}
        for one in (seen, {"resourceType": "Patient", "id": "p"})
    ]
    whole = {"resourceType": "Bundle", "type": "collection", "entry": entries}
    assert profile_errors(whole, definition) == []
    assert profile_errors({**whole, "entry": entries[:1]}, definition) == [("invariant", "Bundle")]


@pytest.mark.parametrize(
    ("display", "right"),
    [("Knee jerk", True), ("knee  JERK", True), ("Kniereflex", True), ("Ankle jerk", False)],
)
def test_display_is_one_that_the_code_system_gives(display: str, right: bool) -> None:
    """Source: https://hl7.org/fhir/R4/datatypes.html#Coding: display follows the rules of the system."""
    concept = {
        "code": "k",
        "display": "Knee jerk",
        "designation": [{"language": "de", "value": "Kniereflex"}],
    }
    system = {"resourceType": "CodeSystem", "url": CODES, "content": "complete", "concept": [concept]}
    found = profile_errors(observation(method=coded("k", display=display)), system, profile())
    assert found == ([] if right else [("display-wrong", "Observation.method.coding[0].display")])


@pytest.mark.parametrize(
    ("element", "good", "bad", "code"),
    [
        ("regex", "ABC", "ABc", "wrong-format"),
        ("minLength", "ABC", "AB", "too-short"),
    ],
)
def test_form_of_a_primitive_by_extension(element: str, good: str, bad: str, code: str) -> None:
    """Source: http://hl7.org/fhir/StructureDefinition/regex and minLength; from memory."""
    value: Json = {"valueString": "[A-Z]+"} if element == "regex" else {"valueInteger": 3}
    stated = {"extension": [{"url": f"{BASE}{element}", **value}]}
    definition = profile({"path": "Patient.name.family", **stated}, type_name="Patient")
    by_type = {"path": "Patient.name.family", "type": [{"code": "string", **stated}]}
    for one in (definition, profile(by_type, type_name="Patient")):
        assert profile_errors({"resourceType": "Patient", "name": [{"family": good}]}, one) == []
        wrong = {"resourceType": "Patient", "name": [{"family": bad}]}
        assert profile_errors(wrong, one) == [(code, "Patient.name[0].family")]


def test_form_of_a_primitive_by_a_profile_of_its_type() -> None:
    """Source: http://hl7.org/fhir/StructureDefinition/regex, on a primitive's value; from memory."""
    stated = {"extension": [{"url": f"{BASE}regex", "valueString": "[0-9]{3}"}]}
    number = {"path": "string.value", "type": [{"code": "http://hl7.org/fhirpath/System.String", **stated}]}
    digits = profile(number, type_name="string", url=f"{SITE}StructureDefinition/digits")
    family = {"path": "Patient.name.family", "type": [{"code": "string", "profile": [digits["url"]]}]}
    definition = profile(family, type_name="Patient")
    assert profile_errors({"resourceType": "Patient", "name": [{"family": "123"}]}, definition, digits) == []
    wrong = {"resourceType": "Patient", "name": [{"family": "abc"}]}
    assert profile_errors(wrong, definition, digits) == [("wrong-format", "Patient.name[0].family")]


def test_decimal_places_by_extension() -> None:
    """Source: http://hl7.org/fhir/StructureDefinition/maxDecimalPlaces; from memory."""
    stated = {"extension": [{"url": f"{BASE}maxDecimalPlaces", "valueInteger": 1}]}
    definition = profile(
        {"path": "Observation.value[x]", "type": [{"code": "Quantity"}]},
        {"path": "Observation.value[x].value", **stated},
    )
    assert profile_errors(observation(valueQuantity={"value": 1.2}), definition) == []
    assert profile_errors(observation(valueQuantity={"value": 1.25}), definition) == [
        ("too-precise", "Observation.value.ofType(Quantity).value")
    ]


def test_unknown_profile_of_a_type_is_an_error_where_a_value_stands() -> None:
    """Source: both recorded validators name a profile they cannot resolve an error; FHIR/fhir-test-cases."""
    unknown = [f"{SITE}StructureDefinition/none"]
    number = {"path": "Patient.identifier", "type": [{"code": "Identifier", "profile": unknown}]}
    definition = profile(number, type_name="Patient")
    assert profile_errors({"resourceType": "Patient"}, definition) == []
    wrong = {"resourceType": "Patient", "identifier": [{"value": "1"}]}
    assert profile_errors(wrong, definition) == [("profile-unknown", "Patient.identifier[0]")]


def test_unknown_profile_of_a_target_is_an_error_where_the_target_is_at_hand() -> None:
    """Source: the outcomes recorded for res-inv-example-good; FHIR/fhir-test-cases."""
    unknown = f"{SITE}StructureDefinition/none"
    target = {"path": "Observation.subject", "type": [{"code": "Reference", "targetProfile": [unknown]}]}
    assert profile_errors(contained_patient(), profile(target)) == [
        ("profile-unknown", "Observation.subject")
    ]
    assert profile_errors(observation(subject={"reference": "Patient/a"}), profile(target)) == []
    target["type"] = [{"code": "Reference", "targetProfile": [unknown, f"{BASE}Patient"]}]
    assert profile_errors(contained_patient(), profile(target)) == []


@pytest.mark.parametrize("expression", ["value.exists(", "value.isFine()", "status = "])
def test_rule_that_is_no_expression_is_an_error(expression: str) -> None:
    """Source: http://hl7.org/fhirpath/N1/: grammar, and an unknown function is an error; from memory."""
    rule = {"key": "p-1", "severity": "error", "human": "a", "expression": expression}
    definition = profile({"path": "Observation", "constraint": [rule]})
    assert profile_errors(observation(), definition) == [("invariant-unreadable", "Observation")]


def test_rule_that_is_not_evaluated_here_stays_information() -> None:
    rule = {"key": "p-1", "severity": "error", "human": "a", "expression": "elementDefinition().exists()"}
    found = Checker(Definitions([profile({"path": "Observation", "constraint": [rule]})])).check(
        observation(), [PROFILE]
    )
    assert [one.severity for one in found if one.code == "invariant-not-checked"] == [Severity.INFORMATION]


def test_profile_reaches_into_the_resource_of_an_entry() -> None:
    """Source: https://hl7.org/fhir/R4/profiling.html: a path may lead through a resource; from memory."""
    patient = {"path": "Bundle.entry.resource", "type": [{"code": "Patient"}]}
    active = {"path": "Bundle.entry.resource.active", "min": 1}
    definition = profile(patient, active, type_name="Bundle")
    entry = {"fullUrl": "urn:uuid:6c1ee0b4-6a2c-4c52-9d6c-3b8f0f0a1b2c"}
    for given, found in (
        ({"active": True}, []),
        ({}, [("element-missing", "Bundle.entry[0].resource.active")]),
    ):
        resource = {"resourceType": "Patient", "id": "p", **given}
        whole = {"resourceType": "Bundle", "type": "collection", "entry": [{**entry, "resource": resource}]}
        assert profile_errors(whole, definition) == found


def test_slice_takes_an_extension_whose_definition_is_not_at_hand() -> None:
    """Source: https://hl7.org/fhir/R4/profiling.html#extensions: extensions are told apart by their url."""
    for url, expected in (
        (f"{SITE}StructureDefinition/none", [("extension-unknown", "Observation.extension[0]")]),
        (f"{BASE}observation-none", []),
    ):
        asked = {"sliceName": "none", "min": 1, "type": [{"code": "Extension", "profile": [url]}]}
        definition = profile({"path": "Observation.extension", **asked})
        assert profile_errors(observation(), definition) == [("slice-missing", "Observation.extension")]
        given = observation(extension=[{"url": url, "valueBoolean": True}])
        assert profile_errors(given, definition) == expected


def test_value_set_without_inactive_codes() -> None:
    """Source: https://hl7.org/fhir/R4/valueset-definitions.html#ValueSet.compose.inactive."""
    concepts: list[Json] = [
        {"code": "a"},
        {"code": "b", "property": [{"code": "inactive", "valueBoolean": True}]},
        {"code": "c", "property": [{"code": "status", "valueCode": "retired"}]},
    ]
    system = {"resourceType": "CodeSystem", "url": CODES, "content": "complete", "concept": concepts}
    bound = {"strength": "required", "valueSet": f"{SITE}ValueSet/v"}
    definition = profile({"path": "Observation.method", "binding": bound})
    for inactive, allowed in ((None, "abc"), (True, "abc"), (False, "a")):
        compose = {"include": [{"system": CODES}], **({} if inactive is None else {"inactive": inactive})}
        codes = {"resourceType": "ValueSet", "url": bound["valueSet"], "compose": compose}
        found = {c: profile_errors(observation(method=coded(c)), definition, system, codes) for c in "abc"}
        assert "".join(code for code, errors in found.items() if not errors) == allowed


def test_profile_that_forbids_what_its_base_requires_is_fulfilled_by_nothing() -> None:
    """Source: https://hl7.org/fhir/R4/profiling.html: what fits a profile also fits its base; from memory."""
    definition = profile({"path": "Observation.code", "min": 0, "max": "0"})
    assert ("not-allowed", "Observation.code") in profile_errors(observation(), definition)
    assert profile_errors({"resourceType": "Observation", "status": "final"}, definition) == [
        ("element-missing", "Observation.code")
    ]


def amount(value: object, code: str) -> Json:
    return {"value": value, "unit": code, "system": "http://unitsofmeasure.org", "code": code}


@pytest.mark.parametrize(
    ("given", "expected"),
    [
        (amount(500, "mg"), [("below-minimum", "Observation.value.ofType(Quantity)")]),
        (amount(1000, "mg"), []),
        (amount(0.002, "kg"), []),
        (amount(1, "mol"), []),
    ],
)
def test_minimum_in_another_unit_of_the_same_kind(given: Json, expected: list[Any]) -> None:
    """Source: https://hl7.org/fhir/R4/datatypes.html#Quantity: amounts compare by UCUM; from memory."""
    limit = {
        "path": "Observation.value[x]",
        "type": [{"code": "Quantity"}],
        "minValueQuantity": amount(1, "g"),
    }
    assert profile_errors(observation(valueQuantity=given), profile(limit)) == expected


@pytest.mark.parametrize(
    ("expression", "holds"),
    [
        ("value > 4 'mg'", True),
        ("value > 6 'mg'", False),
        ("value = 5.0 'mg'", True),
        ("value != 5 'mg'", False),
        ("value < 1 'g'", True),
        ("value = 0.005 'g'", True),
        ("value > 4 'mol'", None),
    ],
)
def test_amounts_in_rules(expression: str, holds: bool | None) -> None:
    """Source: http://hl7.org/fhirpath/N1/#quantity-literals and #comparison; from memory."""
    rule = {"key": "p-1", "severity": "error", "human": "a", "expression": expression}
    definition = profile({"path": "Observation", "constraint": [rule]})
    found = Checker(Definitions([definition])).check(observation(valueQuantity=amount(5, "mg")), [PROFILE])
    codes = {one.code for one in found if one.rule == "p-1"}
    assert codes == {True: set(), False: {"invariant"}, None: {"invariant-not-checked"}}[holds]


@pytest.mark.parametrize(
    ("one", "other", "times"),
    [
        ("cm", "m", "0.01"),
        ("mg/dL", "g/L", "0.01"),
        ("ms", "s", "0.001"),
        ("h", "min", "60"),
        ("wk", "d", "7"),
        ("mm[Hg]", "m[Hg]", "0.001"),
        ("mL", "l", "0.001"),
        ("min", "m", None),
        ("m", "mol", None),
        ("Cel", "K", None),
        ("kg/m2", "g/m2", None),
        ("", "", None),
    ],
)
def test_factors_between_units(one: str, other: str, times: str | None) -> None:
    """Source: UCUM, https://ucum.org/ucum, tables of prefixes and units; from memory."""
    assert factor(one, other) == (None if times is None else Decimal(times))


def test_binding_to_a_value_set_that_the_profile_contains() -> None:
    """Source: https://hl7.org/fhir/R4/references.html#contained: `#` and an id lead inside; from memory."""
    compose = {"include": [{"system": CODES, "concept": [{"code": "a"}]}]}
    bound = {"path": "Observation.method", "binding": {"strength": "required", "valueSet": "#v"}}
    definition = profile(bound) | {"contained": [{"resourceType": "ValueSet", "id": "v", "compose": compose}]}
    assert profile_errors(observation(method=coded("a")), definition) == []
    assert profile_errors(observation(method=coded("b")), definition) == [
        ("code-not-in-value-set", "Observation.method")
    ]
    derived = profile({"path": "Observation.method", "min": 1}, base=PROFILE, url=f"{PROFILE}-2")
    assert profile_errors(observation(method=coded("b")), definition, derived, url=derived["url"]) == [
        ("code-not-in-value-set", "Observation.method")
    ]
