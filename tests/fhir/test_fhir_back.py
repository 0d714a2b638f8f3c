"""Our Observations read back to the findings they were made of, field by field."""

import json
from dataclasses import replace
from typing import Any

import pytest
from fhir_samples import built, finding, findings, graded, options
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from converter.api import convert, open_session, read
from converter.fhir.back import finding_of
from converter.fhir.json_text import json_text
from converter.model import Finding
from converter.sources import note_from_text


def back(resources: list[dict[str, Any]]) -> list[Finding]:
    """The findings of resources that were written as JSON and read again."""
    observations = [one for one in resources if one["resourceType"] == "Observation"]
    found = (finding_of(json.loads(json_text(one))) for one in observations)
    return [one for one in found if one is not None]


def sent() -> st.SearchStrategy[Finding]:
    """Any finding that is sent, also those that no reader would make."""
    status = st.sampled_from(("current", "not_tested"))
    return st.builds(lambda one, said: replace(one, exam=1, status=said), findings(), status)


@settings(max_examples=300, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(said=sent())
def test_any_finding_reads_back_the_same(said: Finding) -> None:
    assert back(built(said)) == [said]


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(said=sent())
def test_any_finding_reads_back_the_same_from_r5(said: Finding) -> None:
    assert back(built(said, options=options(release="R5"))) == [said]


def test_an_ordinary_finding_needs_no_further_field() -> None:
    for one in (
        graded(2),
        graded(3, side="right"),
        finding(descriptor="absent", grade_basis="word", as_written="0"),
    ):
        words = built(one)[2]["extension"][0]["extension"]
        assert "kept" not in {part["url"] for part in words}


def test_without_quotes_the_words_are_missing_and_nothing_else() -> None:
    said = graded(2)
    assert back(built(said, options=options(quotes=False))) == [replace(said, quote="")]


@pytest.mark.parametrize(
    "note",
    [
        "DTRs 2+ throughout except absent L AJ. Plantars mute bilaterally. No clonus.",
        "R KJ not tested due to cast; L KJ 3+ with reinforcement; no L Hoffmann; L ankle clonus x4-5",
        "NINDS scale: KJ 2/3, BJ 1-2+, jaw jerk brisk. Plantar not upgoing.",
        "Knee jerks: right greater than left. AJ ?1+ on the right, pendular left knee jerk.",
    ],
)
def test_what_notes_say_reads_back_the_same(note: str) -> None:
    session = open_session()
    written = note_from_text(note, "n1", "urn:example:notes")
    reading = read(written, session)
    assert reading.findings
    resources, _ = convert(written, reading, (), session)
    assert back(resources) == [one for one in reading.findings if one.status in ("current", "not_tested")]


def test_derived_retracted_and_other_observations_are_no_findings() -> None:
    (said,) = [one for one in built(graded(2)) if finding_of(one) is not None]
    assert finding_of(said | {"status": "entered-in-error"}) is None
    assert finding_of(said | {"meta": {"tag": [{"code": "derived"}]}}) is None
    assert finding_of({"resourceType": "Observation", "status": "final", "code": {"text": "Pulse"}}) is None


@pytest.mark.parametrize("gone", ["category", "code", "extension"])
def test_one_of_ours_that_is_not_complete_is_an_error(gone: str) -> None:
    (said,) = [one for one in built(graded(2)) if finding_of(one) is not None]
    if gone == "extension":
        words = {**said["extension"][0], "extension": said["extension"][0]["extension"][:1]}
        broken = said | {"extension": [words]}
    else:
        broken = {name: value for name, value in said.items() if name != gone}
    with pytest.raises(ValueError, match="is not complete"):
        finding_of(broken)
