"""What the tests of the checker share: small definitions, small resources, and errors in short."""

import os
from collections.abc import Sequence
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from converter.check import Checker, Definitions
from converter.check.read import read_resources
from converter.model import Diagnostic, Severity

Json = dict[str, Any]
PROFILE = "https://site.example/fhir/StructureDefinition/tested"


@cache
def base_checker(release: str = "R4") -> Checker:
    """A checker that knows the base definitions alone."""
    return Checker(Definitions(()), release)


def errors(found: Sequence[Diagnostic]) -> list[tuple[str, str | None]]:
    """Code and path of each error."""
    return [(one.code, one.path) for one in found if one.severity in (Severity.ERROR, Severity.FATAL)]


def base_errors(resource: Json) -> list[tuple[str, str | None]]:
    """Errors against the base definitions."""
    return errors(base_checker().check(resource))


def profile(
    *elements: Json, type_name: str = "Observation", base: str | None = None, url: str = PROFILE
) -> Json:
    """A profile with a differential."""
    return {
        "resourceType": "StructureDefinition",
        "url": url,
        "kind": "resource",
        "type": type_name,
        "baseDefinition": base or f"http://hl7.org/fhir/StructureDefinition/{type_name}",
        "derivation": "constraint",
        "differential": {"element": list(elements)},
    }


def profile_errors(resource: Json, *definitions: Json, url: str = PROFILE) -> list[tuple[str, str | None]]:
    """Errors of a resource against a profile and whatever it needs."""
    return errors(Checker(Definitions(definitions)).check(resource, [url]))


def observation(**more: Any) -> Json:
    """The smallest valid Observation and more."""
    return {"resourceType": "Observation", "status": "final", "code": {"text": "knee jerk"}, **more}


def read_one(path: Path) -> tuple[Json, list[Diagnostic]]:
    """The resource of a file and what reading it found."""
    found = list(read_resources([path]))
    resources = [one[1] for one in found if isinstance(one, tuple)]
    assert len(resources) == 1, found
    return resources[0], [one for one in found if isinstance(one, Diagnostic)]


def part(name: str) -> Path:
    """A real part in the folder that `PLEXOR_PARTS` names, or a skip."""
    folder = os.environ.get("PLEXOR_PARTS")
    if not folder:
        pytest.skip("PLEXOR_PARTS is not set: no real parts to compare with")
    found = Path(folder) / name
    if not found.exists():
        pytest.skip(f"PLEXOR_PARTS holds no {name}")
    return found
