"""Our verdict beside two validators that run now: npm `@medplum/core` and the Java reference validator.

On our definitions themselves, our examples that pass and fail, the demo, and 500 seeded faults. Differences
stand here with their reason.
"""

import json
import re
import subprocess
import sys
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from check_helpers import base_checker, errors
from mutations import good_resources, mutated
from reference_validators import java_errors, medplum_errors

from converter.check import Checker, load_definitions
from converter.shipped_files import profiles_folder

Json = dict[str, Any]
COUNT, SEED = 500, 20260301
GOOD = ("definitions", "examples/pass", "demo")

THEY_ALONE = (
    (r"Error processing unit", "UCUM units are not parsed here: the list of units has a licence of its own"),
    (r"Unknown code '[^']*#null'", "a Coding without code is valid: a system alone says little but no wrong"),
    (
        r"Coding\.system must be an absolute reference",
        "the text of the standard asks it, no rule of an element definition; not held here",
    ),
)
"""Messages of theirs that we do not give, each with the reason."""

WE_ALONE = (
    (
        r"is ' ', which is not a valid",
        "they take a value of spaces for no value at all; the standard forbids both",
    ),
    (
        r"leads to an? \w+, but must lead to \w+",
        "they follow no reference out of the resource; its stated type is held to the profile here",
    ),
    (r"does not name the code", "their terminology in memory does not compare displays"),
)
"""Messages of ours that they do not give, each with the reason."""


@cache
def ours() -> Checker:
    return Checker(load_definitions())


def verdict(resource: Json) -> list[str]:
    return [one.message for one in ours().check(resource) if one.severity in ("error", "fatal")]


def files(folder: str) -> dict[str, Json]:
    found = sorted((profiles_folder() / folder).glob("*.json"))
    return {f"{folder} {file.stem}": json.loads(file.read_text(encoding="utf-8")) for file in found}


def explained(messages: list[str], reasons: tuple[tuple[str, str], ...]) -> bool:
    return all(any(re.search(pattern, message) for pattern, _ in reasons) for message in messages)


def demo(folder: Path) -> dict[str, Json]:
    """The bundles that `plexor demo` writes."""
    run = "from converter.cli.app import main; main()"
    subprocess.run([sys.executable, "-c", run, "demo", "--out", str(folder)], check=True, capture_output=True)
    files = sorted((folder / "fhir").glob("*.json"))
    written = {f"demo {file.stem}": json.loads(file.read_text(encoding="utf-8")) for file in files}
    found = {name: one for name, one in written.items() if one.get("resourceType") == "Bundle"}
    assert len(found) > 20
    return found


@pytest.fixture(scope="module")
def java(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[Json, list[str]]]:
    """Every resource with what the Java reference validator says."""
    resources = {**files("definitions"), **files("examples/pass"), **files("examples/fail")}
    resources.update(mutated(COUNT, SEED))
    resources.update(demo(tmp_path_factory.mktemp("demo") / "demo"))
    definitions = profiles_folder() / "definitions"
    said = java_errors(resources, [definitions], tmp_path_factory.mktemp("java"))
    return {name: (resource, said[name]) for name, resource in resources.items()}


def test_our_definitions_good_examples_and_demo_draw_no_error_from_java(
    java: dict[str, tuple[Json, list[str]]],
) -> None:
    good = {name: said for name, (_, said) in java.items() if name.startswith(GOOD)}
    assert len(good) > 50
    assert {name: said for name, said in good.items() if said} == {}


def test_we_and_java_find_fault_with_the_same_resources(java: dict[str, tuple[Json, list[str]]]) -> None:
    unexplained = []
    for name, (resource, said) in java.items():
        found = verdict(resource)
        if said and not found and not explained(said, THEY_ALONE):
            unexplained.append(f"they alone: {name}: {said}")
        if found and not said and not explained(found, WE_ALONE):
            unexplained.append(f"we alone: {name}: {found}")
    assert unexplained == []
    assert sum(bool(said) for _, said in java.values()) > COUNT / 2


def test_what_is_bad_for_medplum_is_bad_for_us() -> None:
    faulty = [*mutated(COUNT, SEED)]
    said = medplum_errors([(resource, None) for _, resource in faulty], {})
    missed = [
        (what, errors_there)
        for (what, resource), errors_there in zip(faulty, said, strict=True)
        if errors_there and not errors(base_checker().check(resource))
    ]
    assert missed == []
    assert sum(map(bool, said)) > COUNT / 3


def test_our_good_resources_are_good_for_medplum() -> None:
    resources = good_resources()
    said = medplum_errors([(resource, None) for _, resource in resources], {})
    assert {name: one for (name, _), one in zip(resources, said, strict=True) if one} == {}
