"""Checks coded values against the ValueSets that definitions bind them to.

Required bindings give errors, extensible ones warnings, preferred ones information. Where the codes cannot be
told from the definitions at hand, that is said as information, never as an error.
"""

from typing import Any

from converter.check.findings import Findings
from converter.check.terminology import Terminology
from converter.model import Severity

Json = dict[str, Any]

_SEVERITY = {
    "required": Severity.ERROR,
    "extensible": Severity.WARNING,
    "preferred": Severity.INFORMATION,
}
_MAX_VALUE_SET = "http://hl7.org/fhir/StructureDefinition/elementdefinition-maxValueSet"
_ADDITIONAL = (
    "http://hl7.org/fhir/tools/StructureDefinition/additional-binding",
    "http://hl7.org/fhir/5.0/StructureDefinition/extension-ElementDefinition.binding.additional",
)
_PURPOSE = {
    "required": "required",
    "maximum": "required",
    "extensible": "extensible",
    "preferred": "preferred",
}

_QUANTITIES = frozenset({"Quantity", "Age", "Duration", "Count", "Distance", "Money"})

Codes = list[tuple[str | None, str]]
"""Pairs of system and code; the system is None for a bare code."""


def check_binding(
    terminology: Terminology, binding: Json, kind: str, value: Any, path: str, found: Findings, rule: str
) -> None:
    """Check one value against one binding, its maximum ValueSet and its additional ones.

    Args:
        terminology: answers for the ValueSets.
        binding: the ElementDefinition's binding.
        kind: the value's type.
        value: the value.
        path: its place.
        found: where faults go.
        rule: the definition that binds.
    """
    codes = codes_of(kind, value)
    if codes is None:
        return
    for strength, value_set in _demands(binding):
        severity = _SEVERITY.get(strength)
        if severity is not None and value_set:
            _check_one(terminology, value_set, severity, kind, codes, path, found, rule)


def _demands(binding: Json) -> list[tuple[str, str]]:
    demands = [(binding.get("strength", "example"), binding.get("valueSet") or "")]
    for extension in binding.get("extension", ()):
        if extension.get("url") == _MAX_VALUE_SET:
            demands.append(("required", extension.get("valueCanonical") or extension.get("valueUri") or ""))
        elif extension.get("url") in _ADDITIONAL:
            parts = {part.get("url"): part for part in extension.get("extension", ())}
            purpose = parts.get("purpose", {}).get("valueCode", "")
            if "usage" not in parts:
                demands.append(
                    (_PURPOSE.get(purpose, ""), parts.get("valueSet", {}).get("valueCanonical", ""))
                )
    demands.extend(
        (_PURPOSE.get(entry.get("purpose", ""), ""), entry.get("valueSet", ""))
        for entry in binding.get("additional", ())
        if "usage" not in entry
    )
    return demands


def _check_one(
    terminology: Terminology,
    value_set: str,
    severity: Severity,
    kind: str,
    codes: Codes,
    path: str,
    found: Findings,
    rule: str,
) -> None:
    answers = [terminology.holds(value_set, system, code) for system, code in codes]
    if True in answers:
        return
    if not codes:
        if severity is not Severity.INFORMATION:
            if kind in _QUANTITIES:
                severity = Severity.WARNING  # a number without a coded unit says less, but nothing wrong
            message = f"{path} has no code, but one of the value set {value_set} is expected."
            found.add("code-missing", path, message, severity=severity, expected=value_set, rule=rule)
        return
    shown = ", ".join(f"{system}#{code}" if system else code for system, code in codes)
    if None in answers:
        message = f"{path}: whether {shown} is in {value_set} cannot be told from the definitions at hand."
        information = Severity.INFORMATION
        found.add("code-not-checked", path, message, severity=information, expected=value_set, rule=rule)
        return
    if severity is Severity.ERROR:
        found.drop("code-unknown", path)
    listed = terminology.value_set(value_set).listed()
    found.add(
        "code-not-in-value-set",
        path,
        f"{path}: {shown} is not in the value set {value_set}.",
        severity=severity,
        expected=value_set,
        hint=f"Use one of: {', '.join(listed)}." if listed else None,
        rule=rule,
    )


def codes_of(kind: str, value: Any) -> Codes | None:
    """The codes of a value; None where the type carries no code."""
    if isinstance(value, str):
        return (
            [(None, value)]
            if kind in ("code", "string", "uri", "url", "canonical", "id", "markdown")
            else None
        )
    if not isinstance(value, dict):
        return None
    if kind == "CodeableConcept":
        codings = value.get("coding")
        return [pair for one in codings if (pair := _pair(one))] if isinstance(codings, list) else []
    if kind == "CodeableReference":
        return (
            codes_of("CodeableConcept", value["concept"]) if isinstance(value.get("concept"), dict) else None
        )
    if kind == "Coding" or "code" in value or kind in _QUANTITIES:
        pair = _pair(value)
        return [pair] if pair else []
    return None


def _pair(value: Any) -> tuple[str | None, str] | None:
    if not isinstance(value, dict) or not isinstance(value.get("code"), str):
        return None
    system = value.get("system")
    return (system if isinstance(system, str) else "", value["code"])
