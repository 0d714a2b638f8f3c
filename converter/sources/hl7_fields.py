"""What the segments of HL7 version 2 say about a note besides its text: identity, patient, times.

Takes the segments of one note; gives our fields as text. References are to HL7 version 2.5.1.
"""

import re
from collections.abc import Iterable

from converter.sources.hl7_messages import Group
from converter.sources.hl7_segments import Segment, component_of, iso_time, plain

_OID = re.compile(r"[0-2](?:\.(?:0|[1-9]\d*))+")
_ZONE = re.compile(r"[+-]\d{4}$")


def fields_of(group: Group, of: int) -> dict[str, str]:
    """Our fields of a note, without its text; a field without a value is left out.

    Args:
        group: its segments.
        of: how many notes its message holds.
    """
    zone = _ZONE.search(group.message.header.value(7))
    identifier, system = _identity(group, of)
    found = {
        "id": identifier,
        "system": system,
        "patient": _patient(group.patient),
        "encounter": _first((group.visit, 19, 1)),
        "author": _author(group),
        "facility": _first((group.visit, 3, 4), (group.message.header, 4, 1)),
        "authored": iso_time(_authored(group), zone[0] if zone else ""),
        "kind": _first(
            *((s, n, part) for s, n in ((group.document, 2), (group.order, 4)) for part in (2, 1))
        ),
        "birth_date": iso_time(_first((group.patient, 7, 1))),
        "sex": _first((group.patient, 8, 1)),
    }
    return {name: value for name, value in found.items() if value}


def _first(*places: tuple[Segment | None, int, int]) -> str:
    """The first value that is there among (segment, field, component)."""
    return next(
        (value for segment, field, part in places if segment and (value := segment.value(field, part))), ""
    )


def _identity(group: Group, of: int) -> tuple[str, str]:
    """The document's number (TXA-12), the filler's or placer's order number (OBR-3, OBR-2), the message's."""
    for segment, field in ((group.document, 12), (group.order, 3), (group.order, 2)):
        if segment is not None and (number := segment.value(field)):
            return number, _system(segment.value(field, 3), segment.value(field, 4))
    control = group.message.header.value(10)
    return (f"{control}-{group.number}" if control and of > 1 else control), ""


def _system(identifier: str, kind: str) -> str:
    """A universal identifier (HD.2 and HD.3, section 2.A.36) as a URI; empty where it is none."""
    if kind in ("ISO", "") and _OID.fullmatch(identifier):
        return f"urn:oid:{identifier}"
    if kind in ("UUID", "GUID"):
        return f"urn:uuid:{identifier.lower()}"
    return identifier if kind in ("URI", "URL") or identifier.startswith(("urn:", "http")) else ""


def _patient(segment: Segment | None) -> str:
    """The medical record number of the list of identifiers (PID-3), else the first; else PID-2."""
    if segment is None:
        return ""
    numbers = [
        (plain(component_of(part, segment.marks, 5).text, segment.marks), plain(first.text, segment.marks))
        for part in segment.repetitions(3)
        if (first := component_of(part, segment.marks, 1)).text
    ]
    record = [number for kind, number in numbers if kind == "MR"]
    return next(iter([*record, *(number for _, number in numbers)]), "") or segment.value(2)


def _author(group: Group) -> str:
    """The document's originator or provider (TXA-9, TXA-5), interpreter (OBR-32) or observer (OBX-16)."""
    named = _first((group.document, 9, 1), (group.document, 5, 1), (group.order, 32, 1))
    return named or _first(*((segment, 16, 1) for segment in _observations(group)))


def _authored(group: Group) -> str:
    """When the document was written (TXA-6, TXA-4) or the observation made (OBR-7, OBX-14)."""
    named = _first((group.document, 6, 1), (group.document, 4, 1), (group.order, 7, 1))
    return named or _first(*((segment, 14, 1) for segment in _observations(group)))


def _observations(group: Group) -> Iterable[Segment]:
    return (segment for segment in group.texts if segment.name == "OBX")
