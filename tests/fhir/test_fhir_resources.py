"""Which resources a note becomes, how they hold together, and what is left out."""

import json
from typing import Any
from uuid import uuid5

import pytest
from fhir_samples import (
    CAUTION,
    RECORDED,
    abnormality,
    assessment,
    built,
    finding,
    graded,
    note,
    options,
    rendered,
    rendered_notes,
)
from hypothesis import HealthCheck, given, settings

from converter.fhir import json_text
from converter.fhir.identity import NAMESPACE, uuid_of
from converter.model import Exam

HPO = "http://human-phenotype-ontology.org"  # HL7 Terminology, NamingSystem HPO


def of_kind(resources: list[dict[str, Any]], kind: str) -> list[dict[str, Any]]:
    return [resource for resource in resources if resource["resourceType"] == kind]


def with_profile(resources: list[dict[str, Any]], name: str) -> list[dict[str, Any]]:
    url = f"https://plexor.example/fhir/StructureDefinition/{name}"
    return [resource for resource in resources if resource["meta"]["profile"] == [url]]


def references(value: Any) -> set[str]:
    if isinstance(value, list):
        return set().union(*map(references, value))
    if not isinstance(value, dict):
        return set()
    own = {value["reference"]} if isinstance(value.get("reference"), str) else set()
    return own.union(*map(references, value.values()))


def test_one_note_with_one_exam() -> None:
    kinds = [one["resourceType"] for one in built(graded(2), assessments=(assessment(abnormality()),))]
    assert kinds == [
        "Device",
        "DocumentReference",
        "Observation",
        "Observation",
        "Observation",
        "Composition",
        "Provenance",
    ]


def test_note_without_findings_is_still_accounted_for() -> None:
    assert [one["resourceType"] for one in built()] == ["DocumentReference"]


def test_panel_has_the_findings_as_members_and_no_value() -> None:
    resources = built(graded(2), graded(1, finding="other", side="right"))
    (panel,) = with_profile(resources, "reflex-exam")
    members = [f"Observation/{one['id']}" for one in with_profile(resources, "reflex-finding")]
    assert [one["reference"] for one in panel["hasMember"]] == members
    assert not [name for name in panel if name.startswith("value")]


def test_each_exam_has_its_own_panel() -> None:
    exams = tuple(Exam(exam=n, status="current", start=0, end=9) for n in (1, 2))
    resources = built(graded(2), graded(1, finding="b", exam=2), exams=exams)
    assert len(with_profile(resources, "reflex-exam")) == 2
    assert len(of_kind(resources, "Provenance")) == 2


def test_historical_hypothetical_and_family_findings_are_counted_and_left_out() -> None:
    told = [
        graded(2, finding=f"{n}", status=status)
        for n, status in enumerate(["historical", "historical", "family", "hypothetical"])
    ]
    resources, doubts = rendered(*told)
    assert [one["resourceType"] for one in resources] == ["DocumentReference"]
    (left_out,) = [doubt for doubt in doubts if doubt.code == "left-out-of-fhir"]
    assert "1 family, 2 historical, 1 hypothetical"[:8] in left_out.message
    assert "2 historical" in left_out.message


def test_quoted_earlier_exam_is_left_out_whole() -> None:
    exams = (Exam(exam=1, status="historical", start=0, end=9),)
    assert [one["resourceType"] for one in built(graded(2), exams=exams)] == ["DocumentReference"]


def test_abnormality_rests_on_findings_and_names_its_rule() -> None:
    resources = built(graded(0, level="absent"), assessments=(assessment(abnormality(size=1.5)),))
    (verdict,) = with_profile(resources, "reflex-abnormality")
    (said,) = with_profile(resources, "reflex-finding")
    assert [coding["code"] for coding in verdict["code"]["coding"]] == ["absent-reflex", "HP:0006844"]
    assert verdict["code"]["coding"][1]["system"] == HPO
    assert verdict["derivedFrom"] == [{"reference": f"Observation/{said['id']}"}]
    assert verdict["method"]["text"].startswith("level: ")
    assert verdict["note"] == [{"text": "The right patellar reflex is absent."}]
    assert verdict["status"] == "preliminary"


def test_confirmed_findings_do_not_confirm_the_rules() -> None:
    chosen = options(status="final")
    resources = built(graded(2), options=chosen, assessments=(assessment(abnormality()),))
    assert with_profile(resources, "reflex-finding")[0]["status"] == "final"
    assert with_profile(resources, "reflex-abnormality")[0]["status"] == "preliminary"
    assert of_kind(resources, "Composition")[0]["status"] == "preliminary"


def test_summary_has_its_sections_and_the_caution() -> None:
    told = [graded(2), finding(finding="aj", site="achilles", status="not_tested", reason="refused")]
    resources = built(*told, assessments=(assessment(abnormality()),))
    (summary,) = of_kind(resources, "Composition")
    assert [section["title"] for section in summary["section"]] == [
        "Findings",
        "Abnormalities",
        "Not examined",
        "Caution",
    ]
    assert CAUTION in summary["text"]["div"]
    assert CAUTION in summary["section"][3]["text"]["div"]
    assert "entry" not in summary["section"][3]
    assert summary["author"] == [{"reference": f"Device/{of_kind(resources, 'Device')[0]['id']}"}]
    assert summary["date"] == RECORDED


def test_narrative_escapes_what_the_note_says() -> None:
    resources = built(graded(2, as_written='<script>"&'))
    (summary,) = of_kind(resources, "Composition")
    assert "<script>" not in summary["text"]["div"]
    assert "&lt;script&gt;&quot;&amp;" in summary["text"]["div"]


def test_report_only_on_request_and_without_interpreter() -> None:
    assert not of_kind(built(graded(2)), "DiagnosticReport")
    (report,) = of_kind(built(graded(2), options=options(diagnostic_report=True)), "DiagnosticReport")
    assert "resultsInterpreter" not in report
    assert CAUTION in report["conclusion"]


def test_note_text_only_on_request() -> None:
    quiet = built(graded(2), options=options(quotes=False))
    assert "Larkfield" not in json_text({"all": quiet})
    (document,) = of_kind(built(options=options(note_text=True)), "DocumentReference")
    assert document["content"][0]["attachment"]["data"]


def test_document_names_the_note_and_its_hash() -> None:
    about = note()
    (document,) = of_kind(built(), "DocumentReference")
    assert document["masterIdentifier"] == {"system": about.system, "value": about.id}
    assert document["identifier"][1]["value"] == about.hash
    assert document["type"]["coding"][0]["code"] == "11506-3"  # LOINC, FHIR R4 ValueSet c80-doc-typecodes
    assert document["context"]["period"] == {"start": "2031-03-01", "end": "2031-03-01"}


def test_missing_time_of_reading_leaves_provenance_out_and_says_so() -> None:
    resources, doubts = rendered(graded(2), options=options(recorded=None))
    assert not of_kind(resources, "Provenance")
    assert "no-recorded-time" in [doubt.code for doubt in doubts]


def test_subject_by_identifier_by_search_or_by_id() -> None:
    def subject(**changes: Any) -> Any:
        return built(options=options(**changes))[0]["subject"]

    identifier = {"system": "https://larkfield.example/notes/patient", "value": "pt-3"}
    assert subject() == {"type": "Patient", "identifier": identifier}
    assert subject(patient_system="urn:oid:1.2")["identifier"]["system"] == "urn:oid:1.2"
    assert subject(subject="literal", patient_ids={"pt-3": "77"}) == {"reference": "Patient/77"}
    searched = subject(subject="conditional", patient_system="urn:oid:1.2")
    assert searched == {"reference": "Patient?identifier=urn%3Aoid%3A1.2%7Cpt-3"}


def test_system_that_is_no_uri_stands_under_our_base_and_is_said() -> None:
    resources, doubts = rendered(note=note(system="Larkfield EHR"))
    expected = "https://plexor.example/fhir/identifier/note/Larkfield%20EHR"
    assert resources[0]["masterIdentifier"]["system"] == expected
    assert [doubt.code for doubt in doubts] == ["note-system-no-uri"]


def test_identifier_spaces_of_a_source_named_by_a_urn_are_no_broken_urns() -> None:
    (document,) = built(note=note(system="urn:oid:1.2.3"))
    system = document["subject"]["identifier"]["system"]
    assert system == "https://plexor.example/fhir/identifier/patient/urn:oid:1.2.3"


def test_identifiers_that_no_string_can_hold_stay_apart() -> None:
    told = [
        built(note=note(patient=f"pt{mark}3"))[0]["subject"]["identifier"]["value"]
        for mark in "\x00\x01\u00a0 "
    ]
    assert told == ["pt%003", "pt%013", "pt%C2%A03", "pt 3"]


def test_patient_that_is_not_listed_is_said() -> None:
    chosen = options(subject="literal", patient_ids={})
    resources, doubts = rendered(options=chosen)
    assert "identifier" in resources[0]["subject"]
    assert [doubt.code for doubt in doubts] == ["patient-not-listed"]


def test_note_without_system_gets_the_sites_default_and_a_warning() -> None:
    resources, doubts = rendered(note=note(system=None))
    assert resources[0]["masterIdentifier"]["system"] == options().default_system
    assert [doubt.code for doubt in doubts] == ["no-note-system"]


def test_expanding_adds_each_reflex_and_side_and_heeds_exceptions() -> None:
    told = [
        graded(2, finding="all", site="all_limbs", side="both"),
        graded(0, finding="aj", site="achilles", side="left", level="absent"),
    ]
    resources = built(*told, options=options(expand=True))
    derived = [one for one in with_profile(resources, "reflex-finding") if "tag" in one["meta"]]
    sided = {one["code"]["coding"][1]["code"] for one in derived}
    five = {"biceps", "brachioradialis", "triceps", "patellar", "achilles"}
    assert sided == {f"{site}-{side}" for site in five for side in ("left", "right")} - {"achilles-left"}
    whole = with_profile(resources, "reflex-finding")[0]
    assert {one["derivedFrom"][0]["reference"] for one in derived} == {f"Observation/{whole['id']}"}
    assert len(built(*told)) + 9 == len(resources)


def test_expanding_never_mixes_what_was_said_with_what_follows() -> None:
    told = [graded(2, finding="all", site="all_limbs", side="both")]
    (panel,) = with_profile(built(*told, options=options(expand=True)), "reflex-exam")
    assert len(panel["hasMember"]) == 1


def test_other_canonical_base_reaches_every_url() -> None:
    text = json_text({"all": built(graded(2), options=options(base="https://fhir.larkfield.example/r4"))})
    assert "plexor.example" not in text
    assert "https://fhir.larkfield.example/r4/StructureDefinition/reflex-finding" in text


def test_findings_with_one_name_are_kept_apart() -> None:
    resources, doubts = rendered(graded(2), graded(3))
    assert len({one["id"] for one in with_profile(resources, "reflex-finding")}) == 2
    assert "finding-named-twice" in [doubt.code for doubt in doubts]


def test_identifiers_do_not_change() -> None:
    # computed apart from our code: uuid5 of the namespace and the JSON list
    # ["https://larkfield.example/notes","visit-7","finding","patellar-left-32"]
    (said,) = with_profile(built(graded(2)), "reflex-finding")
    assert said["id"] == "5ed915c1-7629-51c5-b126-ce3535de9bb5"
    assert said["identifier"] == [
        {"system": "https://plexor.example/fhir/identifier/observation", "value": said["id"]}
    ]


@pytest.mark.parametrize(
    "parts", [("a", 1), (None, "\u00e9\ud800"), ("urn:x", "n", "finding", "patellar-left-0")]
)
def test_identifiers_are_those_of_the_standard_library(parts: tuple[str | int | None, ...]) -> None:
    # version 5 of RFC 9562, as Python's `uuid.uuid5` makes it
    name = json.dumps(parts, separators=(",", ":"))
    assert uuid_of(*parts) == str(uuid5(NAMESPACE, name))


@pytest.mark.parametrize("changed", [{"id": "visit-8"}, {"system": "https://other.example"}])
def test_identifiers_differ_between_notes(changed: dict[str, str]) -> None:
    mine = {one["id"] for one in built(graded(2)) if one["resourceType"] != "Device"}
    other = {one["id"] for one in built(graded(2), note=note(**changed)) if one["resourceType"] != "Device"}
    assert not mine & other


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(resources=rendered_notes())
def test_ids_are_unique_and_references_lead_somewhere(resources: list[dict[str, Any]]) -> None:
    names = [f"{one['resourceType']}/{one['id']}" for one in resources]
    assert len(set(names)) == len(names)
    ours = {one for one in references(resources) if not one.startswith("Patient")}
    assert ours <= set(names)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(resources=rendered_notes())
def test_nothing_is_empty_or_null(resources: list[dict[str, Any]]) -> None:
    def leaves(value: Any) -> Any:
        children = value.values() if isinstance(value, dict) else value if isinstance(value, list) else None
        return (
            [value]
            if children is None
            else [leaf for child in children for leaf in (leaves(child) or [None])]
        )

    for resource in resources:
        assert all(leaf not in (None, "") for leaf in leaves(resource))


def test_same_input_gives_same_bytes() -> None:
    told = [graded(2), graded(2.5, finding="b")]
    first = "\n".join(map(json_text, built(*told)))
    assert "\n".join(map(json_text, built(*told))) == first
    assert json.loads(json_text(built(*told)[2])) is not None
