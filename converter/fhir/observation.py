"""A finding as an Observation (FHIR R4), in specification order.

The clinician's finding only: what a rule makes of it stands in an Observation of its own.
"""

from collections.abc import Iterable
from typing import Any

from converter.fhir.back import kept_parts
from converter.fhir.components import components_of
from converter.fhir.context import Context
from converter.fhir.narrative import narrative
from converter.fhir.place import body_site, reflex_concept
from converter.fhir.sentences import Said
from converter.fhir.source_words import source_words
from converter.fhir.terms import coding, concept, known_term, term, term_coding
from converter.fhir.text import fhir_string, plain_words
from converter.fhir.value import no_value
from converter.model import Finding

_BODY_POSITION = "http://hl7.org/fhir/StructureDefinition/observation-bodyPosition"
_CATEGORY = "http://terminology.hl7.org/CodeSystem/observation-category"


def finding_observation(finding: Finding, uuid: str, said: Said, context: Context) -> dict[str, Any]:
    """The Observation of one finding, and of what it says."""
    document = [context.document()]
    resource = observed(finding, finding.site, finding.side, uuid, said, context, derived_from=document)
    words: list[dict[str, Any]] = resource["extension"][0]["extension"]
    words.extend(kept_parts(resource, finding, context.options.quotes))
    return resource


def observed(
    finding: Finding,
    site: str,
    side: str,
    uuid: str,
    said: Said,
    context: Context,
    *,
    derived_from: list[dict[str, Any]],
    tag: dict[str, Any] | None = None,
) -> dict[str, Any]:
    """A finding seen at one reflex and side, which may be narrower than the finding itself."""
    base, vocabulary = context.base, context.vocabulary
    resource = context.head("Observation", uuid, "reflex-finding", narrative([said.sentence]), tag)
    resource["extension"] = [source_words(finding, context.options), *_position(finding, base)]
    resource["identifier"] = context.identifiers("Observation", uuid)
    resource["status"] = status_of([finding], context)
    resource["category"] = categories(base, finding.kind)
    resource["code"] = reflex_concept(base, site, side, vocabulary, finding.which)
    resource |= context.about()
    if context.performer is not None:
        resource["performer"] = [context.performer]
    resource |= _rest(finding, site, side, said.value, context, derived_from)
    return resource


def status_of(findings: Iterable[Finding], context: Context) -> str:
    """`final` where a person has judged every finding, else what the site decided."""
    return "final" if all(one.verdict is not None for one in findings) else context.options.status


def categories(base: str, kind: str) -> list[dict[str, Any]]:
    """The standard category `exam`, and what kind of reflex observation this is."""
    standard = {"coding": [coding(_CATEGORY, "exam", "Exam")]}
    ours = term(base, "observation-kind", kind)
    return [standard] if ours is None else [standard, ours]


def _rest(
    finding: Finding,
    site: str,
    side: str,
    value: dict[str, Any],
    context: Context,
    derived_from: list[dict[str, Any]],
) -> dict[str, Any]:
    """The value and everything that stands behind it."""
    base = context.base
    components = components_of(finding, base, context.vocabulary)
    if not value and not components:
        value = {"dataAbsentReason": no_value()}
    reason = fhir_string(finding.reason) if finding.status != "not_tested" else None
    elements = {
        **value,
        "note": None if reason is None else [{"text": plain_words(reason)}],
        "bodySite": body_site(base, site, side, context.vocabulary),
        "method": _method(finding, base),
        "derivedFrom": derived_from,
        "component": components or None,
    }
    return {name: element for name, element in elements.items() if element is not None}


def _method(finding: Finding, base: str) -> dict[str, Any] | None:
    """How the reflex was elicited. Several facets are not one code, so then only the text joins them."""
    facets = [
        (name, value)
        for name, value in (
            ("reinforcement", finding.reinforcement),
            ("manoeuvre", finding.manoeuvre),
            ("technique", finding.technique),
        )
        if value is not None
    ]
    codings = [term_coding(base, name, value) for name, value in facets]
    shown = [
        found["display"] if found else plain_words(value)
        for found, (_, value) in zip(codings, facets, strict=True)
    ]
    only = [found for found in codings if found is not None] if len(facets) == 1 else []
    return concept(*only, text="; ".join(shown))


def _position(finding: Finding, base: str) -> list[dict[str, Any]]:
    if finding.position is None:
        return []
    position = term(base, "position", finding.position)
    return [] if position is None else [{"url": _BODY_POSITION, "valueCodeableConcept": position}]


def panel_category(base: str) -> list[dict[str, Any]]:
    """The categories of a whole examination."""
    return [{"coding": [coding(_CATEGORY, "exam", "Exam")]}, known_term(base, "observation-kind", "exam")]
