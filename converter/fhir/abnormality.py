"""A rule's verdict as an Observation of its own, derived from the findings it rests on.

It speaks of findings, never of a diagnosis, and stays preliminary: a person who confirms what the examiner
wrote has not confirmed what a rule makes of it.
"""

from collections.abc import Mapping
from typing import Any

from converter.fhir.components import component, concept_component
from converter.fhir.context import Context
from converter.fhir.grades import score
from converter.fhir.identity import literal
from converter.fhir.narrative import narrative
from converter.fhir.observation import categories
from converter.fhir.place import SIDES, body_site, laterality, reflex_concept
from converter.fhir.terms import HPO, code_system, coding, concept, term
from converter.fhir.text import fhir_string, plain_words, sentence_case
from converter.model import Abnormality


def abnormality_observation(
    abnormality: Abnormality,
    uuid: str,
    findings: Mapping[str, str],
    labels: Mapping[str, str],
    context: Context,
) -> dict[str, Any]:
    """The Observation of one abnormality.

    Args:
        abnormality: what a rule found.
        uuid: the Observation's UUID.
        findings: finding id -> UUID of its Observation.
        labels: code of an abnormality -> its label, for the codes that have one.
        context: the note.
    """
    base = context.base
    sentence = fhir_string(abnormality.sentence) or plain_words(abnormality.code)
    resource = context.head("Observation", uuid, "reflex-abnormality", narrative([sentence]))
    resource["identifier"] = context.identifiers("Observation", uuid)
    resource["status"] = "preliminary"
    resource["category"] = categories(base, "abnormality")
    resource["code"] = _code(abnormality, labels, base)
    resource |= context.about()
    resource["valueBoolean"] = True
    rests_on = [findings[name] for name in abnormality.rests_on if name in findings]
    elements = {
        "note": [{"text": sentence}],
        "bodySite": _site(abnormality, context),
        "method": concept(text=f"{abnormality.rule}: {abnormality.source}"),
        "device": context.device(),
        "derivedFrom": [literal("Observation", finding) for finding in rests_on] or None,
        "component": _components(abnormality, context) or None,
    }
    return resource | {name: element for name, element in elements.items() if element is not None}


def _code(abnormality: Abnormality, labels: Mapping[str, str], base: str) -> dict[str, Any]:
    label = labels.get(abnormality.code)
    codings = [] if label is None else [coding(code_system(base, "abnormality"), abnormality.code, label)]
    if abnormality.hpo is not None:
        codings.append(coding(HPO, abnormality.hpo, abnormality.hpo_label))
    text = label or sentence_case(plain_words(abnormality.code))
    return concept(*codings, text=text) or {"text": "Abnormality"}


def _site(abnormality: Abnormality, context: Context) -> dict[str, Any] | None:
    """The place, where there is one place; else the side alone. Every reflex concerned is a component."""
    base = context.base
    if len(abnormality.sites) == 1:
        return body_site(base, abnormality.sites[0], abnormality.side, context.vocabulary)
    if abnormality.side not in SIDES:
        return None
    side = {"both": "Both sides"}.get(abnormality.side, sentence_case(abnormality.side))
    return {"extension": [laterality(base, abnormality.side)], "text": side}


def _components(abnormality: Abnormality, context: Context) -> list[dict[str, Any]]:
    base = context.base
    reflexes = [
        concept_component(base, "reflex", reflex_concept(base, site, "unspecified", context.vocabulary))
        for site in abnormality.sites
    ]
    modifiers = [
        concept_component(base, "clinical-modifier", concept(coding(HPO, modifier)))
        for modifier in abnormality.modifiers
    ]
    level = None if abnormality.level is None else term(base, "level", abnormality.level)
    doubt = None if abnormality.certainty == "stated" else term(base, "certainty", abnormality.certainty)
    size = None if abnormality.size is None else {"valueQuantity": score(abnormality.size)}
    parts = [
        *reflexes,
        concept_component(base, "level", level),
        None if size is None else component(base, "difference", size),
        *modifiers,
        concept_component(base, "certainty", doubt),
    ]
    return [part for part in parts if part is not None]
