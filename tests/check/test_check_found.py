"""Faults that mutated resources and definitions once laid bare, each as the smallest one that shows it."""

import json
from pathlib import Path
from typing import Any

import pytest
from check_helpers import PROFILE, base_errors, errors, observation, profile

from converter.check import (
    Checker,
    Definitions,
    check_definitions,
    element_tree,
    load_definitions,
    read_resources,
)
from converter.model import Diagnostic

Json = dict[str, Any]


def malformed(**facts: Any) -> Json:
    """A profile one of whose elements holds what may not stand there, beside one that is sound."""
    return profile(
        {"path": "Observation"},
        {"path": "Observation.code", **facts},
        {"path": "Observation.method", "min": 1},
    )


@pytest.mark.parametrize(
    ("facts", "path"),
    [
        ({"id": 1.5}, "id"),
        ({"sliceName": {"a": 1}}, "sliceName"),
        ({"min": "1"}, "min"),
        ({"min": True}, "min"),
        ({"min": -1}, "min"),
        ({"max": 1}, "max"),
        ({"max": "many"}, "max"),
        ({"type": ["Coding"]}, "type[0]"),
        ({"type": [{"profile": ["a"]}]}, "type[0]"),
        ({"type": [{"code": "CodeableConcept", "profile": "a"}]}, "type[0].profile"),
        ({"slicing": []}, "slicing"),
        ({"slicing": {"discriminator": ["a"]}}, "slicing.discriminator[0]"),
        ({"binding": "required"}, "binding"),
        ({"binding": {"strength": "required", "valueSet": {}}}, "binding.valueSet"),
        ({"constraint": {}}, "constraint"),
        ({"constraint": [{"key": "a", "severity": "error", "expression": 1}]}, "constraint[0].expression"),
        ({"extension": 1}, "extension"),
        ({"extension": ["a"]}, "extension[0]"),
        ({"mustSupport": "yes"}, "mustSupport"),
    ],
)
def test_a_malformed_fact_is_left_out_and_said_and_the_others_hold(facts: Json, path: str) -> None:
    definitions = Definitions([malformed(**facts)])
    (problem,) = definitions.problems
    assert problem.code == "definition-malformed"
    assert problem.path == f"StructureDefinition.differential.element[1].{path}"
    assert problem.source == PROFILE
    found = errors(Checker(definitions).check(observation(), [PROFILE]))
    assert ("element-missing", "Observation.method") in found or "Observation.method" in str(found)
    assert problem in check_definitions(definitions)
    assert element_tree(definitions, PROFILE)


@pytest.mark.parametrize("differential", ["a", [], {"element": "a"}, {"element": ["a", None, [{}]]}, 7])
def test_a_differential_that_is_none_is_said(differential: Any) -> None:
    definitions = Definitions([{**profile(), "differential": differential}])
    assert {one.code for one in definitions.problems} <= {"definition-malformed"}
    assert definitions.problems or differential == []
    Checker(definitions).check(observation(), [PROFILE])
    check_definitions(definitions)


@pytest.mark.parametrize(
    "resource",
    [
        {"resourceType": "ValueSet", "compose": {"include": [{"concept": ["a", {"code": 1}]}]}},
        {"resourceType": "ValueSet", "compose": ["a"]},
        {"resourceType": "ValueSet", "expansion": {"contains": [{"contains": "a"}]}},
        {"resourceType": "CodeSystem", "content": "complete", "concept": [{"code": ["a"]}, "b"]},
    ],
)
def test_malformed_codes_are_left_out_and_said(resource: Json) -> None:
    definitions = Definitions([{**resource, "url": "https://site.example/fhir/codes"}])
    assert {one.code for one in definitions.problems} == {"definition-malformed"}
    bound = profile(
        {
            "path": "Observation.code",
            "binding": {"strength": "required", "valueSet": "https://site.example/fhir/codes"},
        }
    )
    both = Definitions([{**resource, "url": "https://site.example/fhir/codes"}, bound])
    Checker(both).check(
        observation(code={"coding": [{"system": "https://site.example/fhir/codes", "code": "a"}]}), [PROFILE]
    )
    check_definitions(both)


def test_a_choice_that_names_one_type_twice_ends() -> None:
    twice = [{"code": "CodeableConcept"}, {"code": "CodeableConcept"}]
    definition = profile(
        {"path": "Observation.value[x]", "type": twice}, {"path": "Observation.value[x].coding", "min": 1}
    )
    assert "has no element coding" in " ".join(
        one.message for one in check_definitions(Definitions([definition]))
    )


@pytest.mark.parametrize("text", ["\ud800", "knee \udfff jerk"])
def test_half_a_character_is_no_string(text: str) -> None:
    """Unicode, 3.9: a surrogate by itself stands for no character; JSON can write one all the same."""
    assert base_errors(observation(valueString=text)) == [
        ("wrong-format", "Observation.value.ofType(string)")
    ]


def test_half_a_character_is_no_narrative() -> None:
    div = '<div xmlns="http://www.w3.org/1999/xhtml">\ud800</div>'
    found = base_errors(observation(text={"status": "generated", "div": div}))
    assert "Observation.text.div" in {path for _, path in found}


def test_a_whole_number_of_thousands_of_digits_is_no_integer64() -> None:
    checker = Checker(Definitions(()), "R5")
    found = errors(checker.check({"resourceType": "DocumentReference", "status": "current",
                                  "content": [{"attachment": {"size": "9" * 5000}}]}))  # fmt: skip
    assert "DocumentReference.content[0].attachment.size" in {path for _, path in found}


def test_what_the_xml_parser_says_stands_on_one_line(tmp_path: Path) -> None:
    file = tmp_path / "a.xml"
    file.write_bytes(b'<Observation xmlns="http://hl7.org/fhir"><status value="fi\x00nal"/></Observation>')
    (found,) = read_resources([file])
    assert isinstance(found, Diagnostic)
    assert found.code == "not-xml"
    assert "\n" not in found.message


def test_a_definition_that_is_nested_without_end_is_said(tmp_path: Path) -> None:
    (tmp_path / "deep.json").write_text("[" * 100_000, encoding="utf-8")
    (tmp_path / "good.json").write_text(json.dumps(profile()), encoding="utf-8")
    definitions = load_definitions([tmp_path])
    assert [one.message for one in definitions.problems] == [
        "deep.json: is nested too deeply to be a definition"
    ]
    assert PROFILE in definitions.local["StructureDefinition"]
