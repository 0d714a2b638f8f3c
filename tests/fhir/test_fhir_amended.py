"""What a person judged goes out as final, with a Provenance that says who and when."""

from dataclasses import replace
from typing import Any

from fhir_samples import RECORDED, VOCABULARY, graded, note

from converter.fhir import FhirOptions, resources_of
from converter.fhir.settling import settle
from converter.model import Amendment, Exam, Finding, Reading

LATER = "2031-04-05T09:30:00+02:00"


def amendment(finding: Finding, verdict: str, **more: Any) -> Amendment:
    about = note()
    return Amendment(
        system=about.system, id=about.id, note_hash=about.hash, by="reviewer-7", at=LATER,
        spans=finding.spans, finding=finding, made_on=finding.finding, verdict=verdict, **more
    )  # fmt: skip


def resources(*findings: Finding, amendments: tuple[Amendment, ...] = ()) -> list[dict[str, Any]]:
    reading = Reading(
        id=note().id, system=note().system, note_hash=note().hash, schema="s", program="plexor 0.1.0",
        vocabulary="words", exams=(Exam(exam=1, status="current", start=0, end=60),), findings=findings,
        amendments=amendments,
    )  # fmt: skip
    made, _ = resources_of(note(), reading, (), VOCABULARY, FhirOptions(recorded=RECORDED, expand=True))
    return made


def of_kind(made: list[dict[str, Any]], kind: str) -> list[dict[str, Any]]:
    return [one for one in made if one["resourceType"] == kind]


def test_a_judged_finding_is_final_and_an_unjudged_one_is_not() -> None:
    judged, other = graded(2, verdict="confirmed"), graded(3, finding="patellar-right-50", side="right")
    made = resources(judged, other, amendments=(amendment(judged, "confirmed"),))
    assert [one["status"] for one in of_kind(made, "Observation")] == ["final", "preliminary", "preliminary"]


def test_an_exam_whose_every_finding_was_judged_is_final() -> None:
    judged = graded(2, verdict="corrected")
    made = resources(judged, amendments=(amendment(judged, "corrected"),))
    assert [one["status"] for one in of_kind(made, "Observation")] == ["final", "final"]


def test_what_is_derived_from_a_judged_finding_is_final_too() -> None:
    judged = graded(2, site="lower_limb_all", side="left", verdict="confirmed")
    made = resources(judged, amendments=(amendment(judged, "confirmed"),))
    derived = [one for one in of_kind(made, "Observation") if one["meta"].get("tag")]
    assert derived
    assert {one["status"] for one in derived} == {"final"}


def test_provenance_says_who_and_when_and_of_which_observation() -> None:
    judged, other = graded(2, verdict="corrected"), graded(3, finding="patellar-right-50", side="right")
    first = amendment(judged, "confirmed", number=1)
    second = amendment(judged, "corrected", number=2)
    made = resources(judged, other, amendments=(first, replace(second, by="reviewer-8")))
    read, said = of_kind(made, "Provenance")
    assert read["agent"][0]["who"]["reference"].startswith("Device/")
    observation = of_kind(made, "Observation")[0]
    assert said["target"] == [{"reference": f"Observation/{observation['id']}"}]
    assert said["recorded"] == LATER
    assert said["agent"][0]["who"]["identifier"]["value"] == "reviewer-8"
    assert said["agent"][0]["type"]["coding"][0]["code"] == "author"


def test_confirming_verifies_and_adding_creates() -> None:
    """Codes of the FHIR R4 value sets provenance-agent-type and v3-DataOperation."""
    parts = {}
    for verdict in ("confirmed", "corrected", "added"):
        judged = graded(2, verdict=verdict)
        said = of_kind(resources(judged, amendments=(amendment(judged, verdict),)), "Provenance")[-1]
        agent = said["agent"][0]["type"]["coding"][0]["code"]
        parts[verdict] = (agent, said["activity"]["coding"][0]["code"])
    assert parts == {
        "confirmed": ("verifier", "UPDATE"),
        "corrected": ("author", "UPDATE"),
        "added": ("author", "CREATE"),
    }


def test_a_rejected_finding_that_was_sent_is_taken_back() -> None:
    finding = graded(2)
    _, before = settle(resources(finding), None)
    made, _ = settle(resources(amendments=(amendment(finding, "rejected"),)), before)
    statuses = [one["status"] for one in made if one["resourceType"] == "Observation"]
    assert statuses == ["entered-in-error", "entered-in-error"]


def test_a_correction_of_a_final_observation_is_sent_as_corrected() -> None:
    first, second = graded(2, verdict="confirmed"), graded(3, verdict="corrected")
    _, before = settle(resources(first, amendments=(amendment(first, "confirmed"),)), None)
    made, _ = settle(resources(second, amendments=(amendment(second, "corrected"),)), before)
    assert of_kind(made, "Observation")[0]["status"] == "corrected"
