"""The note itself as a DocumentReference; its text travels only where the site asks for it."""

from base64 import b64encode
from typing import Any

from converter.fhir.context import Context
from converter.fhir.identity import derived_system, logical
from converter.fhir.narrative import narrative
from converter.fhir.terms import LOINC, coding, concept, other_systems
from converter.fhir.text import fhir_identifier


def document_reference(context: Context) -> dict[str, Any]:
    """The DocumentReference of the note, with the SHA-256 of its text as an identifier."""
    note, uuid = context.note, context.uuid("document")
    value = fhir_identifier(note.id)
    text = narrative([f"Note {value or ''} of {context.effective or 'unknown date'}."])
    resource = context.head("DocumentReference", uuid, "reflex-note", text)
    if value is not None:
        resource["masterIdentifier"] = {"system": context.space, "value": value}
    digest = {"system": f"{context.base}/identifier/note-sha-256", "value": note.hash}
    resource["identifier"] = [*context.identifiers("DocumentReference", uuid), digest]
    resource["status"] = "current"
    elements = {
        "type": _type(note.kind),
        "subject": context.subject,
        "author": None if context.performer is None else [context.performer],
        "content": [{"attachment": _attachment(context)}],
        "context": _context(context) or None,
    }
    return resource | {name: element for name, element in elements.items() if element is not None}


def source_identifier(document: dict[str, Any]) -> dict[str, Any]:
    """The identifier that the note's source gave it, in either release; empty where it gave none."""
    found: dict[str, Any] = document.get("masterIdentifier") or {}
    return found or next((one for one in document["identifier"] if one.get("use") == "official"), {})


def text_hash(document: dict[str, Any]) -> str:
    """The SHA-256 of the note's text."""
    found: str = document["identifier"][1]["value"]
    return found


def _type(kind: str | None) -> dict[str, Any] | None:
    """The kind as the source names it, with its LOINC code where the name is one we know."""
    if kind is None:
        return None
    known: list[str] | None = other_systems()["loinc-document"].get(kind.strip().lower())
    return concept(*([coding(LOINC, *known)] if known else []), text=kind)


def _attachment(context: Context) -> dict[str, Any]:
    written = context.note.text.encode("utf-8", errors="replace")
    attachment: dict[str, Any] = {"contentType": "text/plain; charset=utf-8"}
    if context.options.note_text and written:
        attachment["data"] = b64encode(written).decode("ascii")
    attachment["size"] = len(written)
    if context.effective is not None:
        attachment["creation"] = context.effective
    return attachment


def _context(context: Context) -> dict[str, Any]:
    result: dict[str, Any] = {}
    if context.encounter is not None:
        result["encounter"] = [context.encounter]
    if context.effective is not None:
        result["period"] = {"start": context.effective, "end": context.effective}
    facility = _facility(context)
    if facility is not None:
        result["related"] = [facility]
    return result


def _facility(context: Context) -> dict[str, Any] | None:
    if context.note.facility is None:
        return None
    system = context.options.facility_system or derived_system(context.base, context.space, "location")
    return logical("Location", system, context.note.facility)
