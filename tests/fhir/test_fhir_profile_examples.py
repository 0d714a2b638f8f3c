"""Every example passes or fails as its folder says, each failing one by the rule in its name."""

import json
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from converter.check import Checker, load_definitions
from converter.model import Diagnostic, Severity
from converter.shipped_files import profiles_folder

LOCAL = {
    "adult-service": "https://adult-service.example/fhir/StructureDefinition/adult-reflex-bundle",
    "coded-record": "https://coded-record.example/fhir/StructureDefinition/coded-reflex-finding",
}


def examples(kind: str) -> list[Any]:
    root = profiles_folder()
    places = {"": root / "examples", **{name: root / "local-examples" / name for name in LOCAL}}
    return [
        pytest.param(path, name, id=f"{name or 'ours'}-{path.stem}")
        for name, place in places.items()
        for path in sorted((place / kind).glob("*.json"))
    ]


@cache
def checker(local: str) -> Checker:
    folders = [profiles_folder() / "local-examples" / local / "profiles"] if local else []
    definitions = load_definitions(folders)
    assert not definitions.problems
    return Checker(definitions)


def errors(path: Path, local: str) -> list[Diagnostic]:
    resource = json.loads(path.read_text(encoding="utf-8"))
    profiles = [LOCAL[local]] if local else []
    found = checker(local).check(resource, profiles)
    return [one for one in found if one.severity in (Severity.ERROR, Severity.FATAL)]


@pytest.mark.parametrize(("path", "local"), examples("pass"))
def test_passes(path: Path, local: str) -> None:
    assert [error.message for error in errors(path, local)] == []


@pytest.mark.parametrize(("path", "local"), examples("fail"))
def test_fails_by_the_rule_in_its_name_and_no_other(path: Path, local: str) -> None:
    code, detail = path.stem.split(".")
    found = errors(path, local)
    assert {error.code for error in found} == {code}
    if code == "invariant":
        assert {error.rule for error in found} == {detail}


def test_every_invariant_of_ours_has_a_failing_example() -> None:
    root = profiles_folder()
    keys = set()
    for path in root.rglob("StructureDefinition-*.json"):
        for element in json.loads(path.read_text(encoding="utf-8"))["differential"]["element"]:
            keys |= {constraint["key"] for constraint in element.get("constraint", ())}
    shown = {path.stem.split(".")[1] for path in root.rglob("fail/invariant.*.json")}
    assert keys
    assert keys <= shown
