"""The value of a finding: a grade on its scale, a response, a word, or the reason why there is none.

Takes a Finding; gives the elements `valueCodeableConcept`, `dataAbsentReason` and `interpretation`. Absent is
a value. What is off its scale, or denied in a way that has no code, is text alone: never a code that a
search could take for its opposite.
"""

from typing import Any

from converter.fhir.grades import descriptor_coding, grade_coding, has_code
from converter.fhir.terms import coding, concept, other_systems, term_coding
from converter.fhir.text import fhir_string
from converter.model import Finding
from converter.words import Scale, Vocabulary
from converter.words.denial import denies_only_duration, is_denied, plantar_response

_ABSENT_REASON = "http://terminology.hl7.org/CodeSystem/data-absent-reason"
_INTERPRETATION = "http://terminology.hl7.org/CodeSystem/v3-ObservationInterpretation"
_REASON_DISPLAYS = {
    "asked-declined": "Asked But Declined",
    "not-applicable": "Not Applicable",
    "not-performed": "Not Performed",
    "unknown": "Unknown",
}
_SAID_SO = {"normal": ("N", "Normal"), "abnormal": ("A", "Abnormal")}


def value_elements(finding: Finding, base: str, vocabulary: Vocabulary) -> dict[str, Any]:
    """The value of a finding, or why it has none, in specification order."""
    if finding.status == "not_tested":
        return {"dataAbsentReason": _absent_reason(finding)}
    value = concept(*_codings(finding, base, vocabulary), text=finding.as_written)
    elements: dict[str, Any] = {} if value is None else {"valueCodeableConcept": value}
    said = None if finding.negated else _SAID_SO.get(finding.descriptor or "")
    if said is not None:
        elements["interpretation"] = [concept(coding(_INTERPRETATION, *said))]
    return elements


def no_value() -> dict[str, Any]:
    """The reason of an observation that says nothing at all."""
    return _reason("unknown", None)


def scale_of(finding: Finding, vocabulary: Vocabulary) -> Scale | None:
    """The scale that reads the finding's grade, or None where the grade is not on one."""
    scale = vocabulary.scales.get(finding.scale or "")
    grades = [grade for grade in (finding.grade_low, finding.grade_high) if grade is not None]
    if scale is None or not grades or not all(has_code(scale, grade) for grade in grades):
        return None
    return scale


def _codings(finding: Finding, base: str, vocabulary: Vocabulary) -> list[dict[str, Any]]:
    found = (
        _grade(finding, base, vocabulary)
        or _response(finding, base)
        or _descriptor(finding, base, vocabulary)
        or _clonus(finding, base, vocabulary)
    )
    return [] if found is None else [found]


def _grade(finding: Finding, base: str, vocabulary: Vocabulary) -> dict[str, Any] | None:
    scale, grade = scale_of(finding, vocabulary), finding.grade_low
    if scale is None or grade is None or grade != finding.grade_high or is_denied(finding, vocabulary):
        return None
    return grade_coding(base, scale, grade)


def _response(finding: Finding, base: str) -> dict[str, Any] | None:
    response = plantar_response(finding)
    return None if response is None else term_coding(base, "plantar-response", response)


def _descriptor(finding: Finding, base: str, vocabulary: Vocabulary) -> dict[str, Any] | None:
    if finding.descriptor is None or finding.grade_low is not None or finding.grade_high is not None:
        return None
    if denies_only_duration(finding):
        return None
    return descriptor_coding(base, finding.descriptor, vocabulary, is_denied(finding, vocabulary))


def _clonus(finding: Finding, base: str, vocabulary: Vocabulary) -> dict[str, Any] | None:
    """Clonus that lasts, or whose beats were counted, is present."""
    counted = finding.beats is not None and finding.beats.strip("0 -") != ""
    if finding.kind != "clonus" or finding.negated or not (finding.sustained or counted):
        return None
    return descriptor_coding(base, "present", vocabulary)


def _absent_reason(finding: Finding) -> dict[str, Any]:
    said = (finding.reason or "").lower().replace("_", " ")
    table: dict[str, str] = other_systems()["absent-reason"]
    code = next((code for word, code in table.items() if word in said), "not-performed")
    return _reason(code, (finding.reason or finding.as_written or "").replace("_", " "))


def _reason(code: str, text: str | None) -> dict[str, Any]:
    reason: dict[str, Any] = {"coding": [coding(_ABSENT_REASON, code, _REASON_DISPLAYS[code])]}
    said = fhir_string(text)
    return reason if said is None else {**reason, "text": said}
