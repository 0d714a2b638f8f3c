"""How findings are shown: OperationOutcome, rows, counts by rule; the profile views; the second opinion."""

from pathlib import Path
from typing import Any

import pytest
from check_helpers import PROFILE, base_checker, base_errors, errors, observation, profile

from converter.check import (
    Checker,
    Definitions,
    check_definitions,
    element_tree,
    listed_profiles,
    load_definitions,
    operation_outcome,
    second_opinion,
    summary_by_rule,
    table_rows,
)
from converter.model import Diagnostic, Severity
from converter.shipped_files import profiles_folder

Json = dict[str, Any]


def faults() -> list[Diagnostic]:
    found = base_checker().check(observation(status="finished", colour="red", issued="2024"))
    return [one for one in found if one.severity is Severity.ERROR]


def test_operation_outcome_is_itself_valid() -> None:
    for diagnostics in (faults(), []):
        assert base_errors(operation_outcome(diagnostics)) == []


def test_operation_outcome_names_place_and_kind() -> None:
    issues = {issue["expression"][0]: issue["code"] for issue in operation_outcome(faults())["issue"]}
    assert issues == {
        "Observation.status": "code-invalid",
        "Observation.colour": "structure",
        "Observation.issued": "value",
    }


def test_every_code_that_the_checker_gives_has_a_valid_issue_type() -> None:
    """Source: https://hl7.org/fhir/R4/valueset-issue-type.html, through the base definitions themselves."""
    from converter.check.report import _ISSUE_TYPES

    for code in _ISSUE_TYPES:
        one = Diagnostic(code=code, severity=Severity.ERROR, message="a")
        assert base_errors(operation_outcome([one])) == [], code


def test_summary_counts_each_rule() -> None:
    rows = summary_by_rule([*faults(), *faults(), faults()[0]])
    assert [row["count"] for row in rows] == [3, 2, 2]
    assert rows[0]["message"]
    assert sum(row["count"] for row in rows) == 7


def test_rows_tell_what_to_do() -> None:
    found = base_checker().check(observation(compnent=[{"code": {"text": "a"}}]))
    row = next(row for row in table_rows(found) if row[0] == "error")
    assert row[1] == "Observation.compnent"
    assert "Did you mean `component`?" in row[3]


def test_fault_in_a_finding_leads_to_its_words() -> None:
    file = profiles_folder() / "examples" / "pass" / "finding-graded.json"
    import json

    resource = json.loads(file.read_text(encoding="utf-8"))
    resource["status"] = "finished"
    found = [one for one in base_checker().check(resource) if one.severity is Severity.ERROR]
    words = next(e for e in resource["extension"] if e["url"].endswith("source-words"))
    ends = {part["url"]: part.get("valueInteger") for part in words["extension"]}
    assert [(one.start, one.end) for one in found] == [(ends["start"], ends["end"])]
    full_url = "urn:uuid:c757873d-ec9a-4326-a141-556f43239520"
    whole = {
        "resourceType": "Bundle",
        "type": "collection",
        "entry": [{"fullUrl": full_url, "resource": resource}],
    }
    inside = [one for one in base_checker().check(whole) if one.severity is Severity.ERROR]
    assert [(one.start, one.end) for one in inside] == [(ends["start"], ends["end"])]


def test_shipped_definitions_are_free_of_faults() -> None:
    assert [one.message for one in check_definitions(load_definitions())] == []


def test_local_example_definitions_are_free_of_faults() -> None:
    for folder in sorted((profiles_folder() / "local-examples").glob("*/profiles")):
        assert [one.message for one in check_definitions(load_definitions([folder]))] == [], folder


def test_list_of_profiles() -> None:
    rows = {row.url.rpartition("/")[2]: row for row in listed_profiles(load_definitions())}
    assert rows["reflex-finding"].type == "Observation"
    assert all(row.title for row in rows.values())


def test_tree_of_a_profile() -> None:
    definitions = Definitions(
        [
            profile(
                {"path": "Observation.status", "fixedCode": "final", "mustSupport": True},
                {"path": "Observation.subject", "min": 1},
                {"path": "Observation.method", "max": "0"},
            )
        ]
    )
    tree = element_tree(definitions, "tested")
    assert tree is not None
    rows = {row.name: row for row in tree}
    assert rows["status"].rules.startswith('must support; fixed "final"')
    assert rows["subject"].cardinality == "1..1"
    assert "Patient" in rows["subject"].types
    assert rows["method"].cardinality == "0..0"
    assert rows["Observation"].depth == 0
    assert element_tree(definitions, "Observation") is not None
    assert element_tree(definitions, "absent") is None


@pytest.mark.parametrize(
    ("element", "code"),
    [
        ({"path": "Observation.status", "min": 0}, "profile-contradiction"),
        (
            {
                "path": "Observation.code",
                "binding": {"strength": "required", "valueSet": "https://s.example/vs"},
            },
            "definition-unknown",
        ),
        (
            {
                "path": "Observation.subject",
                "type": [{"code": "Reference", "targetProfile": ["https://s.example/p"]}],
            },
            "definition-unknown",
        ),
        (
            {
                "path": "Observation",
                "constraint": [{"key": "a-1", "severity": "error", "human": "h", "expression": "a..b("}],
            },
            "invariant-unreadable",
        ),
    ],
)
def test_faulty_profile(element: Json, code: str) -> None:
    found = check_definitions(Definitions([profile(element)]))
    assert code in {one.code for one in found if one.rule in (PROFILE, None) or one.code != "invariant"}


def test_slice_that_nothing_decides_is_a_fault() -> None:
    slicing = {"discriminator": [{"type": "value", "path": "method"}], "rules": "open"}
    definition = profile(
        {"path": "Observation.component", "slicing": slicing},
        {"path": "Observation.component", "sliceName": "a"},
    )
    assert "slice-undecided" in {one.code for one in check_definitions(Definitions([definition]))}


def test_profile_is_checked_as_a_resource_too() -> None:
    found = check_definitions(Definitions([profile()]))
    assert ("element-missing", "StructureDefinition.name") in errors(found)


def test_value_set_that_lists_a_code_its_system_lacks() -> None:
    system = {
        "resourceType": "CodeSystem",
        "url": "https://s.example/cs",
        "status": "draft",
        "content": "complete",
    }
    include = [{"system": "https://s.example/cs", "concept": [{"code": "a"}]}]
    codes = {
        "resourceType": "ValueSet",
        "url": "https://s.example/vs",
        "status": "draft",
        "compose": {"include": include},
    }
    found = check_definitions(Definitions([{**system, "concept": [{"code": "b"}]}, codes]))
    assert [one.code for one in found if one.severity is Severity.ERROR] == ["code-unknown"]


def test_second_opinion() -> None:
    assert second_opinion(observation()) == []
    refused = second_opinion({"resourceType": "Observation", "code": {"text": "a"}})
    assert refused
    assert {one.severity for one in refused} == {Severity.WARNING}
    assert second_opinion({"resourceType": "Nonsense"})[0].code == "second-opinion"


def test_checker_for_every_shipped_profile_is_made_once(tmp_path: Path) -> None:
    definitions = load_definitions([tmp_path])
    assert definitions.library("R4") is definitions.library("R4")
    first = Checker(definitions).check(observation())
    assert first == Checker(definitions).check(observation())
