"""Codes of our own that no word list defines, read from `terms.toml`, and the concepts made of them.

Gives CodeableConcepts and Codings under a canonical base. A value that is not listed becomes text alone.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

from converter.fhir.text import fhir_string, kebab, plain_words

_FILE = Path(__file__).with_name("terms.toml")
_OTHER_SYSTEMS = Path(__file__).with_name("codings.toml")

SNOMED = "http://snomed.info/sct"
LOINC = "http://loinc.org"
UCUM = "http://unitsofmeasure.org"
HPO = "http://human-phenotype-ontology.org"
"""The URI under which HL7 Terminology registers the Human Phenotype Ontology (NamingSystem HPO 1.0.0)."""


@dataclass(frozen=True, slots=True)
class TermList:
    """One code system of ours.

    Attributes:
        name: last part of its canonical URL.
        title: what a person calls it.
        description: one sentence.
        codes: code -> display.
    """

    name: str
    title: str
    description: str
    codes: Mapping[str, str]


@cache
def term_lists() -> Mapping[str, TermList]:
    """Every code system that `terms.toml` defines, by name."""
    with _FILE.open("rb") as handle:
        table = tomllib.load(handle)
    return MappingProxyType(
        {
            name: TermList(name, entry["title"], entry["description"], MappingProxyType(entry["codes"]))
            for name, entry in table.items()
        }
    )


@cache
def other_systems() -> Mapping[str, Any]:
    """The few codes of other systems that we send, as `codings.toml` has them."""
    with _OTHER_SYSTEMS.open("rb") as handle:
        return MappingProxyType(tomllib.load(handle))


def code_system(base: str, name: str) -> str:
    """Canonical URL of a code system of ours."""
    return f"{base}/CodeSystem/{name}"


def coding(system: str, code: str, display: str | None = None) -> dict[str, Any]:
    """A Coding in specification order."""
    result: dict[str, Any] = {"system": system, "code": code}
    if display is not None:
        result["display"] = display
    return result


def concept(*codings: dict[str, Any], text: str | None = None) -> dict[str, Any] | None:
    """A CodeableConcept, or None where there is neither code nor text."""
    result: dict[str, Any] = {}
    if codings:
        result["coding"] = list(codings)
    said = fhir_string(text)
    if said is not None:
        result["text"] = said
    return result or None


def term_coding(base: str, name: str, value: str) -> dict[str, Any] | None:
    """The Coding of a value of the finding record in one of our lists, or None where the list lacks it."""
    code = kebab(value)
    system, display = _listed(base, name, code)
    return None if display is None else coding(system, code, display)


@lru_cache(maxsize=4096)
def _listed(base: str, name: str, code: str) -> tuple[str, str | None]:
    """The canonical URL of one of our lists, and the display of a code there."""
    return code_system(base, name), term_lists()[name].codes.get(code)


def term(base: str, name: str, value: str) -> dict[str, Any] | None:
    """The CodeableConcept of a value: coded where our list has it, else as text."""
    found = term_coding(base, name, value)
    return concept(found) if found is not None else concept(text=plain_words(value))


def known_term(base: str, name: str, code: str) -> dict[str, Any]:
    """The CodeableConcept of a code that our list must have.

    Raises:
        KeyError: it does not; a mistake in the program, never in a note.
    """
    system, display = _listed(base, name, code)
    if display is None:
        raise KeyError(code)
    return {"coding": [coding(system, code, display)]}
