"""ValueSets: one for each CodeSystem, and the unions that the profiles bind to."""

from collections.abc import Iterable
from typing import Any

from converter.fhir.definitions.parts import canonical, definition
from converter.fhir.text import kebab
from converter.words import Vocabulary


def value_sets(base: str, systems: Iterable[dict[str, Any]], vocabulary: Vocabulary) -> list[dict[str, Any]]:
    """All codes of each CodeSystem, every grade, and every value of a finding."""
    each = [
        _value_set(base, system["id"], system["title"], system["description"], [system["url"]])
        for system in systems
    ]
    scales = [canonical(base, "CodeSystem", f"scale-{kebab(scale)}") for scale in vocabulary.scales]
    grades = _value_set(base, "grade", "Grades on every scale", "The grades of all grading scales.", scales)
    words = [canonical(base, "CodeSystem", name) for name in ("descriptor", "plantar-response")]
    values = _value_set(
        base,
        "finding-value",
        "Values of a reflex finding",
        "A grade on its scale, a word for strength, or a plantar response.",
        [*scales, *words],
    )
    reasons = _not_tested(base)
    return [*each, grades, values, reasons]


def _value_set(base: str, name: str, title: str, description: str, systems: list[str]) -> dict[str, Any]:
    found = definition(base, "ValueSet", name, title, description)
    found["compose"] = {"include": [{"system": system} for system in systems]}
    return found


def _not_tested(base: str) -> dict[str, Any]:
    description = "Why a reflex has no value. Absent is a value, never a reason."
    found = definition(base, "ValueSet", "no-value-reason", "Reasons for no value", description)
    codes = ("asked-declined", "not-applicable", "not-performed", "unknown")
    found["compose"] = {
        "include": [
            {
                "system": "http://terminology.hl7.org/CodeSystem/data-absent-reason",
                "concept": [{"code": code} for code in codes],
            }
        ]
    }
    return found
