"""Profiles of the summary, the report, the note, the program and the provenance."""

from typing import Any

from converter.fhir.definitions.elements import bound, element, sliced, typed
from converter.fhir.definitions.structure import structure

_SECTIONS = ("findings", "abnormalities", "not-examined", "caution")


def document_profiles(base: str) -> list[dict[str, Any]]:
    """The profiles of everything that is no Observation."""
    return [_summary(base), _report(base), _note(base), _reader(base), _provenance(base), _amendment(base)]


def _summary(base: str) -> dict[str, Any]:
    elements = [
        element("Composition", short="Summary of what is abnormal in one reflex examination"),
        element("Composition.text", min=1),
        element("Composition.identifier", min=1, mustSupport=True),
        element("Composition.status", fixedCode="preliminary"),
        element("Composition.type", patternCodeableConcept=_exam_code(base, "abnormality-summary")),
        element("Composition.subject", type=typed("Reference", targets=("Patient",))),
        element("Composition.author", max="1", type=typed("Reference", targets=("Device",))),
        element("Composition.section", slicing=sliced("pattern", "code"), min=len(_SECTIONS)),
        *(one for name in _SECTIONS for one in _section(base, name)),
    ]
    description = (
        "Findings, abnormalities, what was not examined, and the caution that every summary carries. For "
        "records work, not a diagnosis: a licensed clinician confirms it under local policy."
    )
    return structure(base, "reflex-summary", "Reflex summary", description, "Composition", elements)


def _section(base: str, name: str) -> list[dict[str, Any]]:
    here = f"Composition.section:{name}"
    return [
        element(here, min=1, max="1"),
        element(f"{here}.title", min=1),
        element(f"{here}.code", min=1, patternCodeableConcept=_exam_code(base, name)),
        element(f"{here}.text", min=1),
    ]


def _report(base: str) -> dict[str, Any]:
    elements = [
        element("DiagnosticReport", short="One reflex examination as a report"),
        element("DiagnosticReport.identifier", min=1),
        element("DiagnosticReport.status", fixedCode="preliminary"),
        element("DiagnosticReport.code", patternCodeableConcept=_exam_code(base, "abnormality-summary")),
        element("DiagnosticReport.resultsInterpreter", max="0"),
        element("DiagnosticReport.result", min=1),
        element("DiagnosticReport.conclusion", min=1),
    ]
    description = "The panel and the abnormalities of one examination. Nobody has interpreted it."
    return structure(base, "reflex-report", "Reflex report", description, "DiagnosticReport", elements)


def _note(base: str) -> dict[str, Any]:
    elements = [
        element("DocumentReference", short="The note that findings were read from"),
        element("DocumentReference.identifier", slicing=sliced("value", "system"), min=2),
        element("DocumentReference.identifier:sha256", min=1, max="1"),
        element(
            "DocumentReference.identifier:sha256.system", min=1, fixedUri=f"{base}/identifier/note-sha-256"
        ),
        element("DocumentReference.identifier:sha256.value", min=1),
        element("DocumentReference.content", max="1"),
        element("DocumentReference.content.attachment.contentType", min=1),
    ]
    description = "The note, named by its source's identifier and the SHA-256 of its text."
    return structure(base, "reflex-note", "Reflex note", description, "DocumentReference", elements)


def _reader(base: str) -> dict[str, Any]:
    elements = [
        element("Device", short="The program that read the note"),
        element("Device.identifier", min=1),
        element("Device.deviceName", min=1),
        element("Device.version", min=1),
        element("Device.version.type", min=1, binding=bound(f"{base}/ValueSet/device-part")),
    ]
    description = "The program with its version and the fingerprint of its vocabulary."
    return structure(base, "reflex-reader", "Reflex reader", description, "Device", elements)


def _provenance(base: str) -> dict[str, Any]:
    elements = [
        element("Provenance", short="Who made the records of one examination, from what, and when"),
        element("Provenance.agent", min=1, max="1"),
        element("Provenance.agent.who", type=typed("Reference", targets=("Device",))),
        element("Provenance.entity", min=1, max="1"),
        element("Provenance.entity.role", fixedCode="source"),
        element("Provenance.entity.what", type=typed("Reference", targets=("DocumentReference",))),
    ]
    description = "One per examination and vocabulary; recorded at the first reading."
    return structure(base, "reflex-provenance", "Reflex provenance", description, "Provenance", elements)


def _amendment(base: str) -> dict[str, Any]:
    elements = [
        element("Provenance", short="The person who judged a finding, and when"),
        element("Provenance.target", max="1", type=typed("Reference", targets=("Observation",))),
        element("Provenance.agent", min=1, max="1"),
        element("Provenance.agent.type", min=1),
        element("Provenance.agent.who", type=typed("Reference", targets=("Practitioner",))),
        element("Provenance.entity", min=1, max="1"),
        element("Provenance.entity.role", fixedCode="source"),
        element("Provenance.entity.what", type=typed("Reference", targets=("DocumentReference",))),
    ]
    description = "One for each finding that a person confirmed, corrected or added; its status is final."
    return structure(base, "reflex-amendment", "Reflex amendment", description, "Provenance", elements)


def _exam_code(base: str, code: str) -> dict[str, Any]:
    return {"coding": [{"system": f"{base}/CodeSystem/exam", "code": code}]}
