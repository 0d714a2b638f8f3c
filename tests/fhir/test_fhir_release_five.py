"""R5 output: everything that R4 output says, where R5 has it.

Expected shapes: https://hl7.org/fhir/R5/documentreference.html, composition.html and device.html, each with
its section "Differences from R4".
"""

import json
from pathlib import Path
from typing import Any

import pytest
from fhir_samples import abnormality, assessment, built, graded, note, options, rendered_notes
from hypothesis import HealthCheck, given, settings

from converter.check import Checker, load_definitions
from converter.fhir import FolderWriter, json_text, xml_text
from converter.fhir.release_five import as_r5

Json = dict[str, Any]
R5 = Checker(load_definitions(), "R5")


def of(release: str, kind: str) -> Json:
    chosen = options(release=release, diagnostic_report=True)
    made = built(graded(2), options=chosen, assessments=(assessment(abnormality()),))
    return next(one for one in made if one["resourceType"] == kind)


def faults(resource: Json) -> list[str]:
    return [one.message for one in R5.check(json.loads(json_text(resource))) if one.severity == "error"]


def test_the_note_keeps_its_identifier_context_period_and_place() -> None:
    r4, r5 = of("R4", "DocumentReference"), of("R5", "DocumentReference")
    assert r5["identifier"] == [*r4["identifier"], {"use": "official", **r4["masterIdentifier"]}]
    assert r5["context"] == r4["context"]["encounter"]
    assert r5["period"] == r4["context"]["period"]
    place = {"url": "http://hl7.org/fhir/StructureDefinition/event-location"}
    assert r5["extension"] == [place | {"valueReference": r4["context"]["related"][0]}]
    assert r5["content"][0]["attachment"]["size"] == str(r4["content"][0]["attachment"]["size"])
    assert {"masterIdentifier", "related"}.isdisjoint(r5)


def test_a_summary_lists_its_identifier_and_its_subject() -> None:
    r4, r5 = of("R4", "Composition"), of("R5", "Composition")
    assert (r5["identifier"], r5["subject"]) == ([r4["identifier"]], [r4["subject"]])


def test_a_device_has_names_and_types() -> None:
    r4, r5 = of("R4", "Device"), of("R5", "Device")
    assert r5["name"] == [{"value": one["name"], "type": one["type"]} for one in r4["deviceName"]]
    assert r5["type"] == [r4["type"]]
    assert r5["version"] == r4["version"]


def test_a_grade_keeps_its_weight_under_the_new_address() -> None:
    r4, r5 = of("R4", "Observation"), of("R5", "Observation")
    (old,) = r4["valueCodeableConcept"]["coding"][0]["extension"]
    (new,) = r5["valueCodeableConcept"]["coding"][0]["extension"]
    assert old["url"].endswith("/ordinalValue")
    assert new == old | {"url": "http://hl7.org/fhir/StructureDefinition/itemWeight"}


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(resources=rendered_notes())
def test_whatever_a_note_says_r5_takes_it(resources: list[Json]) -> None:
    for resource in map(as_r5, resources):
        assert faults(resource) == []
        assert "profile" not in resource.get("meta", {})
        assert as_r5(resource) == resource
        assert xml_text(resource)


def test_our_profiles_of_findings_hold_for_r5_too() -> None:
    base = "https://plexor.example/fhir/StructureDefinition"
    found = R5.check(json.loads(json_text(of("R5", "Observation"))), [f"{base}/reflex-finding"])
    assert [one.message for one in found if one.severity == "error"] == []


@pytest.mark.parametrize(("first", "second"), [("R4", "R5"), ("R5", "R4"), ("R5", "R5")])
def test_a_folder_can_change_its_release_and_still_take_back(tmp_path: Path, first: str, second: str) -> None:
    for release, told in ((first, [graded(2)]), (second, [])):
        chosen = options(diagnostic_report=True, release=release)
        with FolderWriter(tmp_path, chosen) as writer:
            made = built(*told, options=chosen, assessments=(assessment(abnormality()),))
            assert writer.write(made) == ()
    (file,) = tmp_path.glob("*.json")
    bundle = json.loads(file.read_text(encoding="utf-8"))
    statuses = [entry["resource"].get("status") for entry in bundle["entry"]]
    assert statuses.count("entered-in-error") == 5
    judge = Checker(load_definitions(), second)
    assert [one.message for one in judge.check(bundle) if one.severity == "error"] == []


def test_two_notes_of_one_identity_are_still_told_apart(tmp_path: Path) -> None:
    chosen = options(release="R5")
    with FolderWriter(tmp_path, chosen) as writer:
        assert writer.write(built(graded(2), options=chosen)) == ()
        (said,) = writer.write(built(graded(2), note=note(text="KJ 2+ left, changed"), options=chosen))
    assert "visit-7" in said.message
