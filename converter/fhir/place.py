"""What a finding is about: the reflex with its side as a code, and the place on the body.

A stock server searches `code` for the reflex with its side, since it cannot search an extension.
"""

from typing import Any

from converter.fhir.terms import SNOMED, code_system, coding, concept, other_systems, term_coding, term_lists
from converter.fhir.text import kebab, plain_words, sentence_case
from converter.words import Vocabulary

SIDES = ("left", "right", "both")
_SIDE_WORDS = {"left": "left", "right": "right", "both": "both sides"}


def sided_code(site: str, side: str) -> str:
    """The code of a reflex with its side, e.g. `crossed-adductor-left`."""
    return f"{kebab(site)}-{side}"


def sided_display(label: str, side: str) -> str:
    """What a reflex with its side is called."""
    return f"{label}, {_SIDE_WORDS[side]}"


def reflex_concept(
    base: str, site: str, side: str, vocabulary: Vocabulary, which: str | None = None
) -> dict[str, Any]:
    """The reflex, and the reflex with its side where the side is known and the reflex has sides."""
    reflex = vocabulary.reflexes.get(site)
    if reflex is None:
        return {"text": reflex_words(site, side, vocabulary, which)}
    system, label = code_system(base, "reflex"), reflex.label
    codings = [coding(system, kebab(site), label)]
    if reflex.paired and side in SIDES:
        codings.append(coding(system, sided_code(site, side), sided_display(label, side)))
    return {"coding": codings, "text": reflex_words(site, side, vocabulary, which)}


def reflex_words(site: str, side: str, vocabulary: Vocabulary, which: str | None = None) -> str:
    """The reflex with its side, in words."""
    reflex = vocabulary.reflexes.get(site)
    if reflex is None:
        return plain_words(site) or "reflex"
    named = reflex.label if which is None else f"{reflex.label} ({plain_words(which)})"
    return sided_display(named, side) if side in SIDES else named


def body_site(base: str, site: str, side: str, vocabulary: Vocabulary) -> dict[str, Any] | None:
    """The place on the body with its side, or None where neither is known."""
    place = term_coding(base, "body-site", site)
    reflex = vocabulary.reflexes.get(site)
    named = place["display"] if place else (reflex.label if reflex and site != "unspecified" else None)
    if side not in SIDES:
        return concept(*([place] if place else []), text=named)
    words = sided_display(named, side) if named else sentence_case(_SIDE_WORDS[side])
    at = concept(*([place] if place else []), text=words) or {}
    return {"extension": [laterality(base, side)], **at}


def laterality(base: str, side: str) -> dict[str, Any]:
    """The side as an extension, under our code and SNOMED CT's."""
    code, display = other_systems()["snomed-side"][side]
    own = coding(code_system(base, "side"), side, term_lists()["side"].codes[side])
    return {
        "url": f"{base}/StructureDefinition/laterality",
        "valueCodeableConcept": {"coding": [own, coding(SNOMED, code, display)]},
    }
