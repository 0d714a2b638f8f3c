"""Our verdict against the recorded outcomes of two reference validators on HL7's own test cases.

Source: github FHIR/fhir-test-cases, commit named in its manifest, Apache-2.0; found through PLEXOR_OUTSIDE.
Where both validators recorded an outcome and agree on error or no error, so must we; where one alone was
recorded, so must we too, unless a reason stands here.
"""

import json
import os
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from check_helpers import errors, read_one

from converter.check import Checker, Definitions

_REASONS = {
    ("fixed-quantity-binding-observation", "base"): (
        "recorded with the case's profile loaded: its binding to age-units is what they report"
    ),
    ("obs-max-decimal", "profile"): (
        "recorded by one validator only; the profile states a maximum of 100 and the instance holds 150.25"
    ),
    ("aggregation-apart-good4", "base"): (
        "recorded with the R5 definitions, where Encounter.class is optional; R4 requires it"
    ),
    ("aggregation-apart-good4", "profile"): (
        "recorded with the R5 definitions, where Encounter.class is optional; R4 requires it"
    ),
}


@cache
def manifest() -> tuple[Path, list[dict[str, Any]]]:
    folder = Path(os.environ.get("PLEXOR_OUTSIDE", "/nowhere")) / "hl7cases"
    file = folder / "manifest.json"
    return folder, json.loads(file.read_text(encoding="utf-8"))["cases"] if file.is_file() else []


def runs() -> Iterator[Any]:
    for case in manifest()[1]:
        for kind in ("base", "profile"):
            outcomes = {k: v["errors"] for k, v in case["outcomes"].items() if k.startswith(f"{kind}.")}
            if outcomes:
                yield pytest.param(case, kind, outcomes, id=f"{case['name']}-{kind}")


@pytest.mark.parametrize(("case", "kind", "outcomes"), [*runs()] or [pytest.param(None, "", {}, id="none")])
def test_verdict_agrees(case: dict[str, Any] | None, kind: str, outcomes: dict[str, int]) -> None:
    if case is None:
        pytest.skip("PLEXOR_OUTSIDE holds no recorded outcomes")
    verdicts = {count > 0 for count in outcomes.values()}
    if len(verdicts) > 1:
        pytest.skip(f"the validators disagree: {outcomes}")
    if (case["name"], kind) in _REASONS:
        pytest.skip(_REASONS[case["name"], kind])
    folder = manifest()[0] / case["name"]
    resource, faults = read_one(folder / case["file"])
    definitions = [read_one(folder / name)[0] for name in case["supporting"]]
    profiles = []
    if kind == "profile":
        definitions.append(read_one(folder / case["profile"])[0])
        profiles.append(definitions[-1]["url"])
    found = [*faults, *Checker(Definitions(definitions)).check(resource, profiles)]
    assert bool(errors(found)) == verdicts.pop(), (outcomes, [one.message for one in found])


def test_cases_with_reasons_exist() -> None:
    names = {case["name"] for case in manifest()[1]}
    if not names:
        pytest.skip("PLEXOR_OUTSIDE holds no recorded outcomes")
    assert {name for name, _ in _REASONS} <= names
