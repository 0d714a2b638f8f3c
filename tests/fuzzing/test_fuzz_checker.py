"""Mutated resources and definitions, in JSON and XML: the check ends and says where each fault is."""

import copy
import json
from pathlib import Path
from typing import Any

from fuzz_budget import tried
from fuzz_damage import Change, changes, damaged, parted
from fuzz_json import Edit, edited, edits
from hanging import ends_soon
from hypothesis import given
from hypothesis import strategies as st
from mutations import good_resources

from converter.check import (
    Checker,
    Definitions,
    check_definitions,
    element_tree,
    listed_profiles,
    read_resources,
)
from converter.fhir import xml_text
from converter.model import Diagnostic
from converter.shipped_files import profiles_folder

Json = dict[str, Any]
GOOD = [resource for _, resource in good_resources()]
DEFINITIONS = [
    json.loads(file.read_text(encoding="utf-8"))
    for file in sorted((profiles_folder() / "definitions").rglob("*.json"))
]
PROFILES = [one for one in DEFINITIONS if one["resourceType"] == "StructureDefinition"]
CODES = [one for one in DEFINITIONS if one["resourceType"] in ("ValueSet", "CodeSystem")]
BASE = Checker(Definitions(()))
PIECES = (
    *parted(rb"""
    < > </ & { } [ ] , : null 1e999999999 NaN &#0; -0 <contained> <div> 1.50 12345678901234567890123
    <![CDATA[x]]>
    """),
    *(b'\x00', b'\xff', b'"', b'\xef\xbb\xbf', b'\xff\xfe', b'"\\ud800"', b'{"resourceType":"Patient"}'),
    *(b'<!DOCTYPE a>', b'<extension url="x"/>', b' xmlns="x"', b' value=""', b'\n', b'9' * 5000),
    *(b'<?xml version="1.0" encoding="utf-7"?>', b'<!-- -->'),
)  # fmt: skip


def read_before_a_good_one(folder: Path, name: str, content: bytes) -> list[tuple[str, Json] | Diagnostic]:
    """What is read of a file; the one behind it is read whatever is in it."""
    file, other = folder / name, folder / "other.json"
    file.write_bytes(content)
    other.write_text(json.dumps(GOOD[0]), encoding="utf-8")
    *found, last = read_resources([file, other])
    assert last == (str(other), GOOD[0])
    return found


def checked(found: list[tuple[str, Json] | Diagnostic], file: str) -> None:
    """Each resource that was read can be checked, and each that was not is said with its place."""
    assert found
    for one in found:
        if isinstance(one, Diagnostic):
            assert one.source
            assert one.source.startswith(file)
            assert "\n" not in one.message
            assert "Traceback" not in one.message
        else:
            assert one[0].startswith(file)
            assert BASE.check(one[1]) == BASE.check(one[1])


@tried(250)
@given(st.sampled_from(GOOD + DEFINITIONS), st.sampled_from([".json", ".xml", ".ndjson"]), changes(PIECES))
def test_damaged_files_of_resources(
    tmp_path_factory: Any, resource: Json, suffix: str, done: list[Change]
) -> None:
    folder = tmp_path_factory.getbasetemp()
    text = xml_text(resource) if suffix == ".xml" else json.dumps(resource) + "\n"
    content = damaged(text.encode() * (2 if suffix == ".ndjson" else 1), done)
    with ends_soon():
        checked(read_before_a_good_one(folder, f"damaged{suffix}", content), str(folder / "damaged"))


@tried(250)
@given(st.sampled_from(GOOD), edits(6))
def test_edited_resources(resource: Json, done: list[Edit]) -> None:
    changed = edited(copy.deepcopy(resource), done)
    with ends_soon():
        for one in BASE.check(changed):
            assert one.message
            assert "Traceback" not in one.message


def use(definitions: Definitions, urls: list[str]) -> None:
    """Everything that is done with definitions."""
    check_definitions(definitions)
    listed_profiles(definitions)
    checker = Checker(definitions)
    for resource in GOOD[::12]:
        checker.check(copy.deepcopy(resource), urls)
    for url in urls:
        element_tree(definitions, url)


@tried(80)
@given(st.sampled_from(PROFILES), edits(4), st.sampled_from(CODES), edits(3))
def test_edited_definitions(profile: Json, done: list[Edit], codes: Json, done_to_codes: list[Edit]) -> None:
    one = edited(copy.deepcopy(profile), done)
    other = edited(copy.deepcopy(codes), done_to_codes)
    with ends_soon():
        definitions = Definitions([one, other])
        use(definitions, [*definitions.local["StructureDefinition"]])
    assert all(problem.source and problem.path for problem in definitions.problems)
