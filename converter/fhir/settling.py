"""Compares what is to be sent for a note with what was sent before.

Takes the resources as built and the note's last ledger entry; gives the resources to send and the new entry.

- Unchanged: sent again in the same words, with the status and the time it had.
- Changed after it had been final: `corrected`. A preliminary one stays preliminary, since `corrected` would
  say that it had been final (FHIR R4 ObservationStatus).
- Gone: its identifier again, `entered-in-error`, without a value, in every later run.
"""

import hashlib
from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from converter.fhir.document import source_identifier, text_hash
from converter.fhir.identity import TAGS
from converter.fhir.json_text import json_text
from converter.fhir.ledger import NoteEntry, Sent
from converter.fhir.narrative import narrative
from converter.fhir.release_five import as_r4_identity, as_r5

_TIMES = {"Composition": "date", "Provenance": "recorded"}
_STUBS = {
    "Observation": ("identifier", "code", "subject"),
    "Composition": ("identifier", "type", "subject", "date", "_date", "author", "title"),
    "DiagnosticReport": ("identifier", "code", "subject"),
}
_GONE = "entered-in-error"
_WAS_FINAL = ("final", "corrected", "amended")


def settle(
    resources: Iterable[dict[str, Any]], before: NoteEntry | None, release: str = "R4"
) -> tuple[list[dict[str, Any]], NoteEntry]:
    """The resources to send for one note, and its new ledger entry.

    Args:
        resources: as `resources_of` gives them.
        before: the note's last entry, or None.
        release: FHIR release of the resources; what was sent before may be of another.
    """
    resources = list(resources)
    earlier = {} if before is None else {(sent.type, sent.id): sent for sent in before.sent}
    settled, sent = [], []
    for resource in resources:
        old = earlier.pop((resource["resourceType"], resource["id"]), None)
        final, record = _settled(resource, old)
        settled.append(final)
        sent.append(record)
    for old in earlier.values():
        if old.stub:
            settled.append(_retraction(old, release))
            sent.append(_retracted(old))
    return settled, _entry(resources, tuple(sent))


def withdraw(before: NoteEntry, release: str = "R4") -> tuple[list[dict[str, Any]], NoteEntry]:
    """What takes back all that was sent for a note that is no more, and its new ledger entry.

    The document itself, and who read it when, stay.
    """
    gone = [old for old in before.sent if old.stub]
    sent = tuple(_retracted(old) if old.stub else old for old in before.sent)
    return [_retraction(old, release) for old in gone], replace(before, sent=sent)


def _settled(resource: dict[str, Any], old: Sent | None) -> tuple[dict[str, Any], Sent]:
    time_name = _TIMES.get(resource["resourceType"], "")
    digest = _hash(resource, time_name)
    if old is not None and old.hash == digest:
        kept = {"status": old.status, time_name: old.time}
        same = {name: value for name, value in kept.items() if name in resource and value is not None}
        resource = resource | same
    elif old is not None and old.status in _WAS_FINAL and resource.get("status") == "final":
        resource = resource | {"status": "corrected"}
    return resource, _sent(resource, digest, resource.get(time_name))


def _sent(resource: dict[str, Any], digest: str, time: str | None) -> Sent:
    names = _STUBS.get(resource["resourceType"], ())
    return Sent(
        type=resource["resourceType"],
        id=resource["id"],
        finding=_finding(resource),
        hash=digest,
        status=resource.get("status"),
        time=time,
        stub=_tag(resource) | {name: resource[name] for name in names if name in resource},
    )


def _tag(resource: dict[str, Any]) -> dict[str, Any]:
    """The tag by which a server finds the resource, where it has one and can be taken back."""
    kind = resource["resourceType"]
    return {"meta": {"tag": resource["meta"]["tag"]}} if kind in _STUBS and kind in TAGS else {}


def _retraction(old: Sent, release: str) -> dict[str, Any]:
    """A resource that says of its predecessor that it should not have been sent."""
    stub = as_r4_identity(old.stub) if old.type == "Composition" else old.stub
    tag = {"meta": stub["meta"]} if "meta" in stub else {}
    head = {
        "resourceType": old.type,
        "id": old.id,
        **tag,
        "text": narrative(["Entered in error: the note does not hold this."]),
        "identifier": stub["identifier"],
        "status": _GONE,
    }
    retraction = head | {name: value for name, value in stub.items() if name not in ("identifier", "meta")}
    return as_r5(retraction) if release == "R5" else retraction


def _retracted(old: Sent) -> Sent:
    return Sent(
        type=old.type, id=old.id, finding=old.finding, hash="", status=_GONE, time=old.time, stub=old.stub
    )


def _hash(resource: dict[str, Any], time_name: str) -> str:
    content = {name: value for name, value in resource.items() if name != time_name}
    return hashlib.sha256(json_text(content).encode("utf-8", errors="replace")).hexdigest()


def _finding(resource: dict[str, Any]) -> str | None:
    for extension in resource.get("extension", ()):
        for part in extension.get("extension", ()):
            if part["url"] == "finding":
                name: str = part["valueString"]
                return name
    return None


def _entry(resources: list[dict[str, Any]], sent: tuple[Sent, ...]) -> NoteEntry:
    note = next(resource for resource in resources if resource["resourceType"] == "DocumentReference")
    master = source_identifier(note)
    return NoteEntry(
        note=note["id"],
        system=master.get("system"),
        id=master.get("value"),
        note_hash=text_hash(note),
        sent=sent,
    )
