"""The official R4 example Observations pass, apart from two genuine faults.

Source: HL7 FHIR R4 4.0.1 examples, CC0; found through PLEXOR_OUTSIDE.
"""

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from check_helpers import base_checker, errors, read_one

_FAULTS = {
    "Observation-clinical-gender": [("reference-target", "Observation.performer[0]")],
    "Observation-f202": [("element-missing", "Observation.effective[x]")],
}
"""An Encounter stands as performer, which no version of the specification permits; a body temperature has
no time, which the profile of vital signs asks for (https://hl7.org/fhir/R4/observation-vitalsigns.html).
"""


def examples() -> Iterator[Any]:
    folder = Path(os.environ.get("PLEXOR_OUTSIDE", "/nowhere")) / "fhir-examples" / "r4obs"
    found = [pytest.param(file, id=file.stem) for file in sorted(folder.glob("*.json"))]
    yield from found or [pytest.param(None, id="none")]


@pytest.mark.parametrize("file", [*examples()])
def test_example_passes(file: Path | None) -> None:
    if file is None:
        pytest.skip("PLEXOR_OUTSIDE holds no official examples")
    resource, faults = read_one(file)
    found = [*faults, *base_checker().check(resource)]
    assert errors(found) == _FAULTS.get(file.stem, []), [one.message for one in found]


def test_all_examples_are_there(outside: Path) -> None:
    assert len(list((outside / "fhir-examples" / "r4obs").glob("*.json"))) == 64
