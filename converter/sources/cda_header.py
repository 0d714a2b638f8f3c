"""What the header of a CDA document says about its note: identity, patient, visit, author, place, time.

Takes the root of a ClinicalDocument; gives our fields as text. References are to HL7 CDA Release 2
(ANSI/HL7 CDA R2-2005), clause 4.2.
"""

import re
from typing import TYPE_CHECKING

from converter.sources.hl7_segments import iso_time
from converter.sources.xml_text import text_inside

if TYPE_CHECKING:
    from lxml.etree import _Element

HL7 = "{urn:hl7-org:v3}"
LOINC = "2.16.840.1.113883.6.1"
_OID = re.compile(r"[0-2](?:\.(?:0|[1-9]\d*))+")
_URIS = "urn:ietf:rfc:3986"  # the system of identifiers that are URIs themselves, as FHIR names it

_SECTIONS = {
    "29545-1": "Physical examination",
    "8705-6": "Physical examination of the nervous system",
    "11384-5": "Physical examination by organ systems",
    "61149-1": "Objective",
    "51848-0": "Assessment",
    "34117-2": "History and physical",
    "11506-3": "Progress note",
    "11488-4": "Consultation",
    "18842-5": "Discharge summary",
    "34109-9": "Note",
}
"""LOINC codes of sections and documents -> a heading for a section without a title. Names as in C-CDA's value
sets of section and document types."""


def fields_of(root: "_Element") -> dict[str, str]:
    """Our fields of a document, without its text; a field without a value is left out."""
    patient = _at(root, "recordTarget", "patientRole")
    identifier, system = _identity(root.find(f"{HL7}id"))
    found = {
        "id": identifier,
        "system": system,
        "patient": _number(patient),
        "encounter": _number(_at(root, "componentOf", "encompassingEncounter")),
        "author": _author(root),
        "facility": _facility(root),
        "authored": _time(root, "effectiveTime") or _time(_at(root, "author"), "time"),
        "kind": _kind(root),
        "birth_date": _time(_at(patient, "patient"), "birthTime"),
        "sex": _attribute(_at(patient, "patient", "administrativeGenderCode"), "code"),
    }
    return {name: value for name, value in found.items() if value}


def sections_named(section: "_Element") -> str:
    """The heading of a section without a title: what its code is called."""
    return _SECTIONS.get(loinc_code(section)) or _attribute(_at(section, "code"), "displayName")


def loinc_code(section: "_Element") -> str:
    """The LOINC code of a section; empty where it has none."""
    code = _at(section, "code")
    return _attribute(code, "code") if _attribute(code, "codeSystem") == LOINC else ""


def _at(element: "_Element | None", *path: str) -> "_Element | None":
    """The first element at a path."""
    for name in path:
        element = element.find(f"{HL7}{name}") if element is not None else None
    return element


def _attribute(element: "_Element | None", name: str) -> str:
    return (element.get(name) or "").strip() if element is not None else ""


def _identity(element: "_Element | None") -> tuple[str, str]:
    """An instance identifier (II) as a value and the URI of its space.

    Without an extension the root alone is the identifier: an OID or a UUID, which is a URI itself.
    """
    root, extension = _attribute(element, "root"), _attribute(element, "extension")
    space = _uri(root)
    if extension:
        return extension, space
    return (space, _URIS) if space else (root, "")


def _uri(root: str) -> str:
    if _OID.fullmatch(root):
        return f"urn:oid:{root}"
    return (
        f"urn:uuid:{root.lower()}"
        if re.fullmatch(r"[0-9A-Fa-f]{8}(-[0-9A-Fa-f]{4}){3}-[0-9A-Fa-f]{12}", root)
        else ""
    )


def _number(element: "_Element | None") -> str:
    """The first identifier of a role that has an extension, else the root of the first."""
    if element is None:
        return ""
    numbers = element.findall(f"{HL7}id")
    extensions = (_attribute(number, "extension") for number in numbers)
    roots = (_attribute(number, "root") for number in numbers)
    return next((value for value in (*extensions, *roots) if value), "")


def _author(root: "_Element") -> str:
    """The first author who is a person; a device only where there is none."""
    roles = root.findall(f"{HL7}author/{HL7}assignedAuthor")
    people = [role for role in roles if role.find(f"{HL7}assignedAuthoringDevice") is None]
    return next((number for role in (*people, *roles) if (number := _number(role))), "")


def _facility(root: "_Element") -> str:
    """Where the visit took place; else who keeps the document."""
    place = _at(root, "componentOf", "encompassingEncounter", "location", "healthCareFacility")
    keeper = _at(root, "custodian", "assignedCustodian", "representedCustodianOrganization")
    return _number(place) or _number(keeper)


def _kind(root: "_Element") -> str:
    code = _at(root, "code")
    title = _at(root, "title")
    named = text_inside(title) if title is not None else ""
    return _attribute(code, "displayName") or " ".join(named.split()) or _attribute(code, "code")


def _time(element: "_Element | None", name: str) -> str:
    return iso_time(_attribute(_at(element, name), "value"))
