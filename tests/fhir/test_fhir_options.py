"""Options that would make every resource wrong are refused at once, in one sentence."""

from typing import Any

import pytest

from converter.fhir import FhirOptions


@pytest.mark.parametrize(
    ("changed", "says"),
    [
        ({"base": "https://x.example/fhir/"}, "base: .* final slash"),
        ({"base": "fhir"}, "base: .* no web address"),
        ({"recorded": "2031-03-02"}, "recorded: .* no instant"),
        ({"recorded": "2031-03-02T08:00:00"}, "recorded: .* no instant"),
        ({"zone": "Larkfield/Nowhere"}, "zone: .* no time zone"),
        ({"zone": "../etc"}, "zone: .* no time zone"),
        ({"patient_ids": {"pt-3": "a/b"}}, "patient_ids: .* no FHIR id"),
    ],
)
def test_wrong_options_are_refused(changed: dict[str, Any], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        FhirOptions(**changed)


def test_right_options_are_taken() -> None:
    options = FhirOptions(
        zone="Europe/Vienna", recorded="2031-03-02T08:00:00.5+01:00", patient_ids={"a": "B-1.2"}
    )
    assert options.zone == "Europe/Vienna"
