"""Takes back what was sent for a note that is to be forgotten: a transaction without anything of the patient.

Takes the resources of notes as they were built; gives a Bundle that says `entered-in-error` of each, or one
that asks the server to delete them. Nothing in it but our own identifiers and codes speaks of the note.
"""

from collections.abc import Iterable
from typing import Any, Literal

from converter.fhir.bundle import conditional_url, transaction
from converter.fhir.identity import own_identifier
from converter.fhir.narrative import narrative
from converter.fhir.options import FhirOptions

Way = Literal["entered-in-error", "delete"]

_SHARED = "Device"
"""The program: not about anyone, and shared by all notes."""
_KEPT = {
    "Observation": ("code",),
    "DiagnosticReport": ("code",),
    "Composition": ("type", "date", "_date", "author", "title"),
    "DocumentReference": (),
}
"""What a resource of each kind must have beside identifier and status; others cannot be retracted, only
deleted (a Provenance has no status)."""
_TEXT = "Entered in error: the record was withdrawn."


def retractions(resources: Iterable[dict[str, Any]], options: FhirOptions, way: Way) -> dict[str, Any]:
    """A Bundle of type transaction that takes resources back.

    Args:
        resources: as `resources_of` gives them, of any number of notes; one that comes twice counts once.
        options: says under which canonical base our identifiers stand.
        way: `entered-in-error` leaves a record without subject, value and words under the identifier that
            was sent; Provenance, which has no status, stays. `delete` asks the server to delete everything;
            not every server does.
    """
    mine = {(one["resourceType"], one["id"]): one for one in resources if one["resourceType"] != _SHARED}
    if way == "entered-in-error":
        return transaction(
            [_stub(one, options) for one in mine.values() if one["resourceType"] in _KEPT], options
        )
    entries = [
        {"request": {"method": "DELETE", "url": conditional_url(kind, uuid, options.base)}}
        for kind, uuid in mine
    ]
    bundle: dict[str, Any] = {"resourceType": "Bundle", "type": "transaction"}
    return bundle | ({"entry": entries} if entries else {})


def _stub(resource: dict[str, Any], options: FhirOptions) -> dict[str, Any]:
    kind, uuid = resource["resourceType"], resource["id"]
    identifier = own_identifier(options.base, kind, uuid)
    stub: dict[str, Any] = {
        "resourceType": kind,
        "id": uuid,
        "text": narrative([_TEXT]),
        "identifier": identifier if kind == "Composition" else [identifier],
        "status": "entered-in-error",
    }
    stub |= {name: resource[name] for name in _KEPT[kind] if name in resource}
    if kind == "DocumentReference":
        stub["content"] = [{"attachment": {"contentType": "text/plain"}}]
    return stub
