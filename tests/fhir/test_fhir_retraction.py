"""What is sent when a note is forgotten: every record taken back, and nothing of the patient in it."""

import json
from typing import Any

import pytest
from fhir_samples import RECORDED, VOCABULARY, graded, note

from converter.api import open_checker, open_session
from converter.fhir import FhirOptions, resources_of, retractions
from converter.model import Assessment, Exam, Reading, Severity

OPTIONS = FhirOptions(recorded=RECORDED, expand=True, diagnostic_report=True)
SECRET = ("visit-7", "pt-3", "enc-9", "examiner-2", "ward-4", "larkfield", "2031-03-01", "KJ 2+", note().hash)


def built() -> list[dict[str, Any]]:
    finding = graded(2, site="lower_limb_all", quote="KJ 2+ left")
    reading = Reading(
        id=note().id, system=note().system, note_hash=note().hash, schema="s", program="plexor 0.1.0",
        vocabulary="words", exams=(Exam(exam=1, status="current", start=0, end=60),), findings=(finding,),
    )  # fmt: skip
    summary = Assessment(exam=1, caution="For records work.")
    return resources_of(note(), reading, (summary,), VOCABULARY, OPTIONS)[0]


def test_everything_that_has_a_status_is_entered_in_error_under_its_identifier() -> None:
    resources = built()
    bundle = retractions([*resources, *resources], OPTIONS, "entered-in-error")
    kinds = ("Observation", "Composition", "DiagnosticReport", "DocumentReference")
    expected = {f"urn:uuid:{one['id']}" for one in resources if one["resourceType"] in kinds}
    assert [entry["fullUrl"] for entry in bundle["entry"]] == list(dict.fromkeys(
        f"urn:uuid:{one['id']}" for one in resources if one["resourceType"] in kinds
    ))  # fmt: skip
    assert len(expected) == len(bundle["entry"])
    assert {entry["resource"]["status"] for entry in bundle["entry"]} == {"entered-in-error"}
    assert {entry["request"]["method"] for entry in bundle["entry"]} == {"PUT"}


@pytest.mark.parametrize("way", ["entered-in-error", "delete"])
def test_nothing_of_the_patient_is_in_it(way: Any) -> None:
    resources = built()
    before = json.dumps(resources)
    after = json.dumps(retractions(resources, OPTIONS, way))
    assert [word for word in SECRET if word in before] == list(SECRET)
    assert [word for word in SECRET if word in after] == []


def test_a_retraction_is_valid_fhir() -> None:
    checker, _ = open_checker(open_session())
    faults = [
        fault
        for fault in checker.check(retractions(built(), OPTIONS, "entered-in-error"))
        if fault.severity in (Severity.ERROR, Severity.FATAL)
    ]
    assert faults == []


def test_deleting_names_every_record_but_the_program() -> None:
    resources = built()
    bundle = retractions(resources, OPTIONS, "delete")
    assert [sorted(entry["request"]) for entry in bundle["entry"]] == [["method", "url"]] * len(
        bundle["entry"]
    )
    assert {entry["request"]["method"] for entry in bundle["entry"]} == {"DELETE"}
    kinds = [entry["request"]["url"].partition("?")[0] for entry in bundle["entry"]]
    assert kinds == [one["resourceType"] for one in resources if one["resourceType"] != "Device"]
    assert "Provenance" in kinds
    assert retractions([], OPTIONS, "delete") == {"resourceType": "Bundle", "type": "transaction"}
