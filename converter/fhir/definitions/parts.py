"""What every definition has in common: canonical URL, version, names, status."""

from typing import Any

from converter.fhir.narrative import narrative

VERSION = "0.1.0"
FHIR_VERSION = "4.0.1"
PUBLISHER = "plexor"


def definition(base: str, resource_type: str, name: str, title: str, description: str) -> dict[str, Any]:
    """The first elements of a definition, in specification order."""
    return {
        "resourceType": resource_type,
        "id": name,
        "text": narrative([f"{title}. {description}"]),
        "url": canonical(base, resource_type, name),
        "version": VERSION,
        "name": pascal(name) + _SUFFIX.get(resource_type, ""),
        "title": title,
        "status": "active",
        "experimental": False,
        "publisher": PUBLISHER,
        "description": description,
    }


_SUFFIX = {"ValueSet": "ValueSet", "CodeSystem": "Codes", "SearchParameter": "Search", "ConceptMap": "Map"}


def canonical(base: str, resource_type: str, name: str) -> str:
    """The canonical URL of a definition."""
    return f"{base}/{resource_type}/{name}"


def pascal(name: str) -> str:
    """A name for programs: `reflex-finding` becomes `ReflexFinding`."""
    return "".join(part[:1].upper() + part[1:] for part in name.split("-"))
