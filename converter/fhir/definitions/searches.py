"""SearchParameters for side, grade and place, for servers that take custom ones.

A stock server needs none of them: `code` finds the reflex with its side, `component-code-value-quantity` the
grade.
"""

from typing import Any

from converter.fhir.definitions.parts import canonical, definition


def search_parameters(base: str) -> list[dict[str, Any]]:
    """Side, grade and site."""
    side = f"bodySite.extension.where(url = '{canonical(base, 'StructureDefinition', 'laterality')}').value"
    codes = canonical(base, "CodeSystem", "finding-component")
    grades = (
        f"component.where(code.coding.where(system = '{codes}' and "
        "(code = 'grade-ordinal' or code = 'grade-low' or code = 'grade-high')).exists()).value"
    )
    return [
        _parameter(
            base, "side", "token", "Side of a reflex finding", f"Observation.{side}.ofType(CodeableConcept)"
        ),
        _parameter(
            base, "grade", "quantity", "Grade of a reflex finding", f"Observation.{grades}.ofType(Quantity)"
        ),
        _parameter(base, "site", "token", "Place of a reflex finding", "Observation.bodySite"),
    ]


def _parameter(base: str, code: str, kind: str, title: str, expression: str) -> dict[str, Any]:
    name = f"reflex-{code}"
    found = definition(base, "SearchParameter", name, title, f"{title}, as plexor writes it.")
    del found["title"]  # a SearchParameter has none in R4
    return {**found, "code": name, "base": ["Observation"], "type": kind, "expression": expression}
