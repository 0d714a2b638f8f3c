"""One plain sentence per finding, for people who read the records rather than compute with them."""

from typing import Any, NamedTuple

from converter.fhir.context import Context
from converter.fhir.place import reflex_words
from converter.fhir.text import fhir_string, plain_words
from converter.fhir.value import value_elements
from converter.model import Finding
from converter.words.denial import clonus_duration, is_denied


class Said(NamedTuple):
    """What a finding says of a reflex and side.

    Attributes:
        value: the elements of its value, or why it has none, in specification order.
        sentence: the same in words.
    """

    value: dict[str, Any]
    sentence: str


def said_of(finding: Finding, site: str, side: str, context: Context) -> Said:
    """What a finding says of a reflex and side, which may be narrower than its own."""
    value = value_elements(finding, context.base, context.vocabulary)
    return Said(value, _sentence(finding, site, side, value, context))


def _sentence(finding: Finding, site: str, side: str, value: dict[str, Any], context: Context) -> str:
    """The reflex, the value as written and what it is coded as, with denial and doubt said."""
    reflex = reflex_words(site, side, context.vocabulary, finding.which)
    if finding.status == "not_tested":
        reason = fhir_string(finding.reason) or fhir_string(finding.as_written)
        return f"{reflex}: not tested" + (f" ({plain_words(reason)})" if reason else "")
    said = _value_words(finding, value.get("valueCodeableConcept", {}), context)
    return f"{reflex}: {said}" + (", uncertain" if finding.certainty == "uncertain" else "")


def _value_words(finding: Finding, value: dict[str, Any], context: Context) -> str:
    words = value.get("text")
    coded = value["coding"][0]["display"].lower() if "coding" in value else None
    if coded is None and is_denied(finding, context.vocabulary):
        return f"{words or 'the value'} (denied by the note)"
    if words is None:
        return coded or _other_words(finding)
    return words if coded in (None, words.lower()) else f"{words} ({coded})"


def _other_words(finding: Finding) -> str:
    """What a finding without a value says."""
    said = (clonus_duration(finding), finding.quality, finding.comparison)
    return ", ".join(plain_words(word) for word in said if word is not None) or "no value stated"
