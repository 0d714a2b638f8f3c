"""The table of findings as a ViewDefinition of SQL on FHIR v2, over the Observations of the FHIR export.

Takes the canonical base of our profiles; gives the ViewDefinition as a plain dict. Source: SQL on FHIR
2.0.0 (sql-on-fhir.org), StructureDefinition ViewDefinition; the paths keep to its required part of FHIRPath.
What stands on the note alone is not in an Observation; `document` joins it. Codes are written with hyphens,
and what the note does not say (a side, a plus) is null.
"""

from typing import Any

_COMPONENT = "component.where(code.coding.where(system = %component and code = '{code}').exists())"
_CODED = f"{_COMPONENT}.value.ofType(CodeableConcept).coding.first().code"
_QUANTITY = f"{_COMPONENT}.value.ofType(Quantity).value"
_RANGE = f"{_COMPONENT}.value.ofType(Range).{{end}}.value"
_WORDS = "extension(%words).extension('{part}').value.ofType({kind})"
_DENIED = "component.where(code.coding.where(system = %component and code = 'denied').exists())"
_WORD = ".value.ofType(CodeableConcept).coding.where(system = %descriptor).first().code"

_LATERALITY = "bodySite.extension(%laterality).value.ofType(CodeableConcept)"

_COLUMNS = (
    # column, type, path
    ("observation", "string", "id"),
    ("document", "string", "derivedFrom.first().reference"),
    ("patient", "string", "subject.identifier.value"),
    ("encounter", "string", "encounter.identifier.value"),
    ("author", "string", "performer.first().identifier.value"),
    ("authored", "dateTime", "effective.ofType(dateTime)"),
    ("exam", "integer", _WORDS.format(part="exam", kind="integer")),
    ("finding", "string", _WORDS.format(part="finding", kind="string")),
    ("site", "code", "code.coding.where(system = %reflex).first().code"),
    ("which", "code", _CODED.format(code="variant")),
    ("root", "string", _CODED.format(code="nerve-root")),
    (
        "side",
        "code",
        f"{_LATERALITY}.coding.where(system = %side).first().code",
    ),
    ("kind", "code", "category.coding.where(system = %kind).first().code"),
    ("grade", "decimal", _QUANTITY.format(code="grade-ordinal")),
    ("grade_low", "decimal", _QUANTITY.format(code="grade-low")),
    ("grade_high", "decimal", _QUANTITY.format(code="grade-high")),
    ("plus", "code", _CODED.format(code="plus-sign")),
    ("scale", "code", _CODED.format(code="scale")),
    ("scale_basis", "code", _CODED.format(code="scale-basis")),
    ("level", "code", _CODED.format(code="level")),
    ("descriptor", "code", f"where({_DENIED}.empty()){_WORD}"),
    ("descriptor_beside", "code", _CODED.format(code="descriptor")),
    ("response", "code", _CODED.format(code="plantar-response")),
    ("beats", "decimal", _QUANTITY.format(code="clonus-beats")),
    ("beats_low", "decimal", _RANGE.format(code="clonus-beats", end="low")),
    ("beats_high", "decimal", _RANGE.format(code="clonus-beats", end="high")),
    ("duration", "code", _CODED.format(code="clonus-duration")),
    ("reinforcement", "code", _CODED.format(code="reinforcement")),
    ("manoeuvre", "code", _CODED.format(code="manoeuvre")),
    ("position", "code", "extension(%position).value.ofType(CodeableConcept).coding.first().code"),
    ("technique", "code", _CODED.format(code="technique")),
    ("quality", "code", _CODED.format(code="quality")),
    ("comparison", "code", _CODED.format(code="comparison")),
    ("denied", "boolean", f"{_DENIED}.exists()"),
    ("not_tested", "boolean", "dataAbsentReason.coding.where(code != 'unknown').exists()"),
    ("certainty", "code", _CODED.format(code="certainty")),
    ("reason", "string", "dataAbsentReason.text"),
    ("as_written", "string", "value.ofType(CodeableConcept).text"),
    ("start_offset", "integer", _WORDS.format(part="start", kind="integer")),
    ("end_offset", "integer", _WORDS.format(part="end", kind="integer")),
    ("quote", "string", _WORDS.format(part="quote", kind="string")),
)

_POSITION = "http://hl7.org/fhir/StructureDefinition/observation-bodyPosition"


def view_definition(base: str, caution: str) -> dict[str, Any]:
    """The ViewDefinition of the findings, one row an Observation as said.

    Args:
        base: canonical base of our profiles and code systems.
        caution: stands in its description.
    """
    constants = {
        "reflex": f"{base}/CodeSystem/reflex",
        "component": f"{base}/CodeSystem/finding-component",
        "descriptor": f"{base}/CodeSystem/descriptor",
        "kind": f"{base}/CodeSystem/observation-kind",
        "side": f"{base}/CodeSystem/side",
        "tag": f"{base}/CodeSystem/record-tag",
        "words": f"{base}/StructureDefinition/source-words",
        "laterality": f"{base}/StructureDefinition/laterality",
        "position": _POSITION,
        "profile": f"{base}/StructureDefinition/reflex-finding",
    }
    return {
        "resourceType": "ViewDefinition",
        "url": f"{base}/ViewDefinition/reflex-findings",
        "name": "reflex_findings",
        "title": "Reflex findings, one a row, as said",
        "status": "active",
        "description": f"{caution} Codes are written with hyphens; what the note does not say is null.",
        "fhirVersion": ["4.0.1"],
        "resource": "Observation",
        "constant": [{"name": name, "valueString": value} for name, value in constants.items()],
        "select": [{"column": [_column(*column) for column in _COLUMNS]}],
        "where": [
            {"path": "meta.profile.where($this = %profile).exists()", "description": "findings only"},
            {
                "path": "meta.tag.where(system = %tag and code = 'derived').empty()",
                "description": "as said, without what was derived from regions",
            },
        ],
    }


def _column(name: str, kind: str, path: str) -> dict[str, str]:
    return {"name": name, "path": path, "type": kind}
