"""The profiles and extensions, each a StructureDefinition with a differential."""

from typing import Any

from converter.fhir.definitions.documents import document_profiles
from converter.fhir.definitions.elements import bound, element, typed
from converter.fhir.definitions.observations import observation_profiles
from converter.fhir.definitions.structure import structure


def structures(base: str) -> list[dict[str, Any]]:
    """Every StructureDefinition of ours."""
    return [_laterality(base), _source_words(base), *observation_profiles(base), *document_profiles(base)]


def _laterality(base: str) -> dict[str, Any]:
    url = f"{base}/StructureDefinition/laterality"
    side = f"{base}/CodeSystem/side"
    elements = [
        element("Extension", short="Side of the body", max="1"),
        element("Extension.extension", max="0"),
        element("Extension.url", fixedUri=url),
        element("Extension.value[x]", min=1, type=typed("CodeableConcept")),
        element(
            "Extension.value[x].coding",
            slicing={"discriminator": [{"type": "value", "path": "system"}], "rules": "open"},
            min=1,
        ),
        element("Extension.value[x].coding:own", min=1, max="1", binding=bound(f"{base}/ValueSet/side")),
        element("Extension.value[x].coding:own.system", min=1, fixedUri=side),
        element("Extension.value[x].coding:own.code", min=1),
    ]
    description = "The side of the body at which a reflex was examined."
    return structure(
        base, "laterality", "Laterality", description, "Extension", elements, context="CodeableConcept"
    )


def _source_words(base: str) -> dict[str, Any]:
    url = f"{base}/StructureDefinition/source-words"
    parts = (
        ("finding", 0, "1", "string"),
        ("exam", 1, "1", "integer"),
        ("start", 1, "1", "integer"),
        ("end", 1, "1", "integer"),
        ("quote", 0, "1", "string"),
        ("denominator", 0, "1", "integer"),
        ("negated", 0, "1", "boolean"),
    )
    inner = (("start", 1, "1", "integer"), ("end", 1, "1", "integer"), ("role", 1, "1", "code"))
    kept = (("field", 1, "1", "code"), ("value", 1, "1", "string"))
    by_url = {"discriminator": [{"type": "value", "path": "url"}], "rules": "closed"}
    elements = [
        element("Extension", short="The characters of the note that a finding rests on", max="1"),
        element("Extension.extension", slicing=by_url),
        *(one for part in parts for one in _part("Extension.extension", *part)),
        element("Extension.extension:span", min=0, max="*"),
        element("Extension.extension:span.extension", slicing=by_url),
        *(one for part in inner for one in _part("Extension.extension:span.extension", *part)),
        element("Extension.extension:span.url", fixedUri="span"),
        element("Extension.extension:span.value[x]", max="0"),
        element("Extension.extension:kept", min=0, max="*"),
        element("Extension.extension:kept.extension", slicing=by_url),
        *(one for part in kept for one in _part("Extension.extension:kept.extension", *part)),
        element("Extension.extension:kept.url", fixedUri="kept"),
        element("Extension.extension:kept.value[x]", max="0"),
        element("Extension.url", fixedUri=url),
        element("Extension.value[x]", max="0"),
    ]
    description = (
        "Where a finding stands in its note. Offsets count Unicode code points of the decoded text; the end "
        "is the character after the last one. Under `kept` stand, as JSON, the fields of the finding that "
        "no element of the Observation holds exactly."
    )
    return structure(
        base, "source-words", "Source words", description, "Extension", elements, context="Observation"
    )


def _part(above: str, name: str, least: int, most: str, kind: str) -> list[dict[str, Any]]:
    """A sub-extension that holds one value."""
    here = f"{above}:{name}"
    return [
        element(here, min=least, max=most),
        element(f"{here}.extension", max="0"),
        element(f"{here}.url", fixedUri=name),
        element(f"{here}.value[x]", min=1, type=typed(kind)),
    ]
