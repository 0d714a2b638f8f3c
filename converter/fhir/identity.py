"""Stable identifiers: the same note and finding give the same UUID on every run and every machine.

Takes the identity of a note and of a thing in it; gives UUIDs, Identifiers and references. The UUID is a
version 5 UUID (RFC 9562) under a namespace of ours, over a JSON list, so that no two lists look alike.
"""

from hashlib import sha1
from json.encoder import encode_basestring_ascii
from typing import Any
from uuid import UUID

from converter.fhir.terms import code_system, coding
from converter.fhir.text import fhir_identifier, fhir_uri

NAMESPACE = UUID("6f1c1f0e-4b0b-5e0a-9a55-7d8a0b5c2e11")
"""The namespace of every identifier made here. It must never change."""
_SPACE = NAMESPACE.bytes

IDENTIFIER_SYSTEMS = {
    "Composition": "composition",
    "Device": "device",
    "DiagnosticReport": "report",
    "DocumentReference": "document",
    "Observation": "observation",
    "Provenance": "provenance",
}
"""Last part of the identifier system of each kind of resource."""


TAGS = {"Composition": "composition-id", "Provenance": "provenance-id"}
"""Code systems of the tags of resources that not every server can search by identifier.

A Provenance has no identifier in R4, and some servers do not search the identifier of a Composition; every
server searches `_tag`.
"""


def uuid_of(*parts: str | int | None) -> str:
    """The UUID of a thing named by a list of parts, such as system, note id, `finding`, finding id."""
    named = [
        encode_basestring_ascii(part) if isinstance(part, str) else "null" if part is None else str(part)
        for part in parts
    ]  # JSON by hand: an encoder for any value would take most of the time of a UUID
    text = f"[{','.join(named)}]"
    digest = bytearray(sha1(_SPACE + text.encode(), usedforsecurity=False).digest()[:16])
    digest[6] = digest[6] & 0x0F | 0x50  # the version and the variant, as `uuid.uuid5` sets them, more slowly
    digest[8] = digest[8] & 0x3F | 0x80
    text = digest.hex()
    return f"{text[:8]}-{text[8:12]}-{text[12:16]}-{text[16:20]}-{text[20:]}"


def identifier_system(base: str, resource_type: str) -> str:
    """URI of the space in which our identifiers of one kind of resource are unique."""
    return f"{base}/identifier/{IDENTIFIER_SYSTEMS[resource_type]}"


def own_identifier(base: str, resource_type: str, uuid: str) -> dict[str, Any]:
    """Our Identifier of a resource."""
    return {"system": identifier_system(base, resource_type), "value": uuid}


def own_tag(base: str, resource_type: str, uuid: str) -> dict[str, Any]:
    """The tag that identifies a resource of a kind in `TAGS`."""
    return coding(code_system(base, TAGS[resource_type]), uuid)


def literal(resource_type: str, uuid: str) -> dict[str, Any]:
    """A reference to a resource of ours by its id; a transaction rewrites it."""
    return {"reference": f"{resource_type}/{uuid}"}


def logical(resource_type: str, system: str, value: str) -> dict[str, Any] | None:
    """A reference by identifier alone, or None where the identifier is blank."""
    text = fhir_identifier(value)
    if text is None:
        return None
    return {"type": resource_type, "identifier": {"system": fhir_uri(system), "value": text}}


def derived_system(base: str, note_system: str, what: str) -> str:
    """The space of another kind of identifier from the source that names notes by `note_system`.

    Patient 17 of one source is not patient 17 of another, so the space carries the note's own. A `urn:` has
    a form of its own (an OID is digits alone), so it is not made longer but stands under our base.
    """
    if note_system.startswith(("http://", "https://")):
        return f"{note_system}/{what}"
    return f"{base}/identifier/{what}/{note_system}"
