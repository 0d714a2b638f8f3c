"""The ConceptMap from our abnormalities to the Human Phenotype Ontology."""

from collections.abc import Mapping
from typing import Any

from converter.fhir.abnormality_codes import abnormality_table
from converter.fhir.definitions.parts import canonical, definition
from converter.fhir.terms import HPO
from converter.fhir.text import kebab, plain_words


def concept_map(base: str) -> dict[str, Any]:
    """Each abnormality with its HPO terms; a term that holds for one reflex or level alone says so."""
    description = (
        "Abnormalities of reflex findings and their terms in the Human Phenotype Ontology, release "
        "2025-01-16. A term that holds for one reflex, limb or level alone depends on it."
    )
    found = definition(base, "ConceptMap", "abnormality-to-hpo", "Abnormalities to HPO", description)
    found["sourceUri"] = canonical(base, "ValueSet", "abnormality")
    elements = [
        _element(base, code, entry) for code, entry in abnormality_table().items() if entry.get("hpo")
    ]
    source = canonical(base, "CodeSystem", "abnormality")
    found["group"] = [{"source": source, "target": HPO, "element": elements}]
    return found


def _element(base: str, code: str, entry: Mapping[str, Any]) -> dict[str, Any]:
    targets = [_target(base, term) for term in entry["hpo"]]
    return {"code": code, "display": entry["label"], "target": targets}


def _target(base: str, term: dict[str, Any]) -> dict[str, Any]:
    """A term for any reflex is related to ours; one that needs a reflex or level is narrower."""
    needs = {
        name: term[name] for name in ("site", "which", "level", "descriptor") if term.get(name, "*") != "*"
    }
    target: dict[str, Any] = {"code": term["term"], "display": term["label"]}
    if not needs:
        return {**target, "equivalence": "relatedto"}
    said = " and ".join(f"{name} {plain_words(value.replace(':', ' '))}" for name, value in needs.items())
    depends = [
        {"property": f"{base}/StructureDefinition/reflex-abnormality#{name}", "value": kebab(value)}
        for name, value in needs.items()
    ]
    return {**target, "equivalence": "narrower", "comment": f"Holds only for {said}.", "dependsOn": depends}
