"""A StructureDefinition around a differential."""

from typing import Any

from converter.fhir.definitions.parts import FHIR_VERSION, definition


def structure(
    base: str,
    name: str,
    title: str,
    description: str,
    kind: str,
    elements: list[dict[str, Any]],
    *,
    context: str | None = None,
    above: str | None = None,
) -> dict[str, Any]:
    """A constraint on a FHIR type.

    Args:
        base: canonical base.
        name: id of the definition.
        title: what a person calls it.
        description: one or two sentences.
        kind: the type it constrains, e.g. `Observation`.
        elements: the differential, without the root unless it says something.
        context: for an extension, the element on which it may stand.
        above: canonical of the profile it constrains further; None for the type itself.
    """
    found = definition(base, "StructureDefinition", name, title, description)
    found["fhirVersion"] = FHIR_VERSION
    found["kind"] = "complex-type" if kind == "Extension" else "resource"
    found["abstract"] = False
    if context is not None:
        found["context"] = [{"type": "element", "expression": context}]
    found["type"] = kind
    found["baseDefinition"] = above or f"http://hl7.org/fhir/StructureDefinition/{kind}"
    found["derivation"] = "constraint"
    root = [] if elements[0]["id"] == kind else [{"id": kind, "path": kind}]
    found["differential"] = {"element": [*root, *elements]}
    return found
