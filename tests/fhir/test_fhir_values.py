"""What a finding's value becomes. Expected values: the plan of the record, and FHIR R4 Observation."""

from decimal import Decimal
from typing import Any

import pytest
from fhir_samples import component, finding, graded, observation, value_code

from converter.model import Finding

BASE = "https://plexor.example/fhir"
ORDINAL = "http://hl7.org/fhir/StructureDefinition/ordinalValue"  # FHIR R4 4.0.1, extension ordinalValue


def quantity(resource: dict[str, Any], code: str) -> Any:
    part = component(resource, code)
    return None if part is None else part["valueQuantity"]["value"]


def term(resource: dict[str, Any], code: str) -> Any:
    part = component(resource, code)
    return None if part is None else part["valueCodeableConcept"]["coding"][0]["code"]


def test_grade_is_coded_on_its_scale_with_its_number_and_its_words() -> None:
    resource = observation(graded(2))
    assert resource["valueCodeableConcept"] == {
        "coding": [
            {
                "extension": [{"url": ORDINAL, "valueDecimal": 2}],
                "system": f"{BASE}/CodeSystem/scale-bedside",
                "code": "2",
                "display": "Normal",
            }
        ],
        "text": "2+",
    }
    assert component(resource, "grade-ordinal") == {
        "valueQuantity": {
            "value": 2,
            "unit": "score",
            "system": "http://unitsofmeasure.org",
            "code": "{score}",
        }
    }
    assert term(resource, "scale") == "bedside"
    assert term(resource, "scale-basis") == "assumed"
    assert term(resource, "plus-sign") == "trailing"
    assert term(resource, "level") == "normal"


def test_half_step_stays_exact() -> None:
    resource = observation(graded(2.5, level=None))
    assert value_code(resource) == "2.5"
    assert resource["valueCodeableConcept"]["coding"][0]["display"] == "Between normal and brisk"
    assert quantity(resource, "grade-ordinal") == Decimal("2.5")


def test_same_numeral_on_another_scale_is_another_code() -> None:
    low = observation(graded(-1, scale="nine-step", level="low", as_written="-1"))
    assert low["valueCodeableConcept"]["coding"][0]["system"] == f"{BASE}/CodeSystem/scale-nine-step"
    assert value_code(low) == "-1"
    assert quantity(low, "grade-ordinal") == -1


def test_range_has_two_ends_and_no_single_code() -> None:
    resource = observation(graded(2, grade_high=3.0, as_written="2-3"))
    assert resource["valueCodeableConcept"] == {"text": "2-3"}
    assert quantity(resource, "grade-ordinal") is None
    assert (quantity(resource, "grade-low"), quantity(resource, "grade-high")) == (2, 3)
    assert term(resource, "scale") == "bedside"


def test_range_that_is_written_downwards_has_its_ends_in_order() -> None:
    resource = observation(graded(3, grade_high=2.0, as_written="3 to 2"))
    assert resource["valueCodeableConcept"] == {"text": "3 to 2"}
    assert (quantity(resource, "grade-low"), quantity(resource, "grade-high")) == (2, 3)


@pytest.mark.parametrize(
    "off",
    [
        graded(9, as_written="9+"),
        graded(1.25, as_written="1.25"),
        graded(2, scale=None),
        graded(2, scale="another-place's-own"),
        graded(4, grade_high=9.0, as_written="4-9"),
    ],
)
def test_off_scale_is_text_alone(off: Finding) -> None:
    resource = observation(off)
    assert resource["valueCodeableConcept"] == {"text": off.as_written}
    assert quantity(resource, "grade-ordinal") is None
    assert quantity(resource, "grade-low") is None
    assert component(resource, "scale") is None
    assert component(resource, "scale-basis") is None
    assert "dataAbsentReason" not in resource


def test_word_is_coded_and_never_a_number() -> None:
    resource = observation(finding(descriptor="brisk", grade_basis="word", level="high", as_written="brisk"))
    coding = resource["valueCodeableConcept"]["coding"][0]
    assert (coding["system"], coding["code"]) == (f"{BASE}/CodeSystem/descriptor", "brisk")
    assert "extension" not in coding
    assert quantity(resource, "grade-ordinal") is None
    assert "interpretation" not in resource


def test_absent_is_a_value() -> None:
    resource = observation(finding(descriptor="absent", level="absent", as_written="absent"))
    assert value_code(resource) == "absent"
    assert "dataAbsentReason" not in resource


@pytest.mark.parametrize(("word", "code"), [("normal", "N"), ("abnormal", "A")])
def test_interpretation_only_where_the_examiner_said_so(word: str, code: str) -> None:
    # v3-ObservationInterpretation: N normal, A abnormal
    said = observation(finding(descriptor=word, as_written=word))
    assert said["interpretation"][0]["coding"][0]["code"] == code
    assert "interpretation" not in observation(
        finding(descriptor=word, negated=True, as_written=f"not {word}")
    )
    assert "interpretation" not in observation(graded(2))


def test_denied_word_has_a_code_of_its_own() -> None:
    resource = observation(
        finding(site="unspecified", descriptor="hyperactive", negated=True, as_written="no hyperreflexia")
    )
    assert value_code(resource) == "not-hyperactive"
    assert component(resource, "denied") == {"valueBoolean": True}


def test_denied_sign_is_absent() -> None:
    resource = observation(
        finding(site="ankle_clonus", kind="clonus", descriptor="absent", negated=True, as_written="no clonus")
    )
    assert value_code(resource) == "absent"
    assert component(resource, "denied") is None


def test_absence_that_is_denied_is_not_absence() -> None:
    resource = observation(finding(descriptor="absent", negated=True, as_written="absent"))
    assert value_code(resource) == "not-absent"
    assert "not absent" in resource["text"]["div"]
    # "Hoffmann absent" denies the sign by that very word
    sign = observation(finding(site="hoffmann", descriptor="absent", negated=True, as_written="absent"))
    assert value_code(sign) == "absent"
    assert value_code(observation(finding(site="jaw", descriptor="absent", negated=True))) == "absent"


def test_no_sustained_clonus_does_not_say_that_there_is_none() -> None:
    told = finding(site="ankle_clonus", kind="clonus", descriptor="absent", sustained=True, negated=True)
    resource = observation(told)
    assert value_code(resource) is None
    assert term(resource, "clonus-duration") == "not-sustained"
    assert "not sustained" in resource["text"]["div"]


def test_nothing_that_is_denied_is_a_component() -> None:
    told = graded(3, negated=True, level="high", quality="pendular", comparison="equal", as_written="not 3+")
    parts = [part["code"]["coding"][0]["code"] for part in observation(told)["component"]]
    assert parts == ["denied"]


def test_denied_grade_has_no_code_and_no_number() -> None:
    resource = observation(graded(3, negated=True, level=None, as_written="not 3+"))
    assert resource["valueCodeableConcept"] == {"text": "not 3+"}
    assert quantity(resource, "grade-ordinal") is None
    assert component(resource, "denied") == {"valueBoolean": True}


@pytest.mark.parametrize(
    ("response", "negated", "code"),
    [
        ("extensor", False, "extensor"),
        ("extensor", True, "not-extensor"),
        ("not_extensor", True, "not-extensor"),
        ("flexor", True, "flexor"),
        ("equivocal", False, "equivocal"),
    ],
)
def test_plantar_response(response: str, negated: bool, code: str) -> None:
    toe = finding(site="plantar", kind="plantar", response=response, negated=negated, as_written="Babinski")
    resource = observation(toe)
    assert value_code(resource) == code
    assert term(resource, "plantar-response") == code
    assert component(resource, "denied") is None


@pytest.mark.parametrize(
    ("beats", "expected"),
    [
        ("3", {"valueQuantity": {"value": 3}}),
        ("4-5", {"valueRange": {"low": {"value": 4}, "high": {"value": 5}}}),
        ("5-4", {"valueString": "5-4"}),
        ("a few", {"valueString": "a few"}),
    ],
)
def test_clonus_beats(beats: str, expected: dict[str, Any]) -> None:
    unit = {"unit": "beats", "system": "http://unitsofmeasure.org", "code": "{beats}"}
    resource = observation(finding(site="ankle_clonus", kind="clonus", beats=beats, as_written=beats))
    if "valueQuantity" in expected:
        expected = {"valueQuantity": expected["valueQuantity"] | unit}
    if "valueRange" in expected:
        expected = {"valueRange": {end: value | unit for end, value in expected["valueRange"].items()}}
    assert component(resource, "clonus-beats") == expected
    assert value_code(resource) == "present"


def test_clonus_that_is_only_not_sustained_is_not_called_present() -> None:
    denied = finding(
        site="ankle_clonus", kind="clonus", sustained=False, negated=True, as_written="no sustained clonus"
    )
    resource = observation(denied)
    assert resource["valueCodeableConcept"] == {"text": "no sustained clonus"}
    assert term(resource, "clonus-duration") == "not-sustained"
    assert (
        value_code(observation(finding(kind="clonus", sustained=True, as_written="sustained"))) == "present"
    )
    assert value_code(observation(finding(kind="clonus", beats="0", as_written="0 beats"))) is None


@pytest.mark.parametrize(
    ("reason", "code"),
    [
        ("refused", "asked-declined"),
        ("patient declined", "asked-declined"),
        ("left leg amputated", "not-applicable"),
        ("in_a_cast", "not-performed"),
        ("pain", "not-performed"),
        (None, "not-performed"),
    ],
)
def test_not_tested_has_a_reason_and_no_value(reason: str | None, code: str) -> None:
    # codes: FHIR R4 CodeSystem data-absent-reason
    resource = observation(graded(2, status="not_tested", reason=reason, as_written="not tested"))
    absent = resource["dataAbsentReason"]
    assert absent["coding"][0]["system"] == "http://terminology.hl7.org/CodeSystem/data-absent-reason"
    assert absent["coding"][0]["code"] == code
    assert absent["text"] == (reason or "not tested").replace("_", " ")
    assert "valueCodeableConcept" not in resource
    assert quantity(resource, "grade-ordinal") is None


def test_nothing_said_is_unknown() -> None:
    assert observation(finding())["dataAbsentReason"]["coding"][0]["code"] == "unknown"


def test_comparison_alone_is_no_strength() -> None:
    resource = observation(finding(comparison="greater_than_other_side", as_written="brisker"))
    assert resource["valueCodeableConcept"] == {"text": "brisker"}
    assert term(resource, "comparison") == "greater-than-other-side"


def test_how_it_was_elicited() -> None:
    resource = observation(graded(1, reinforcement="only_with", manoeuvre="jendrassik", position="seated"))
    assert resource["method"] == {"text": "Only with reinforcement; Jendrassik manoeuvre"}
    assert term(resource, "reinforcement") == "only-with"
    assert term(resource, "manoeuvre") == "jendrassik"
    position = resource["extension"][1]
    # FHIR R4 4.0.1, extension observation-bodyPosition
    assert position["url"] == "http://hl7.org/fhir/StructureDefinition/observation-bodyPosition"
    assert position["valueCodeableConcept"]["coding"][0]["code"] == "seated"
    alone = observation(graded(1, technique="direct"))["method"]
    assert (alone["coding"][0]["code"], alone["text"]) == ("direct", "Direct")


def test_word_that_no_list_has_is_text_and_no_code() -> None:
    resource = observation(graded(2, manoeuvre="wiggle_the_ears"))
    assert resource["method"] == {"text": "wiggle the ears"}
    assert component(resource, "manoeuvre") == {"valueCodeableConcept": {"text": "wiggle the ears"}}


def test_uncertain_is_said() -> None:
    assert term(observation(graded(2, certainty="uncertain")), "certainty") == "uncertain"
    assert component(observation(graded(2)), "certainty") is None
