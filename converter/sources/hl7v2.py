"""HL7 version 2 (ORU, MDM and any other message with text): a note for each report or document.

Takes a file of messages, in batches or not; gives a note for each document (TXA) and each group of
observations (OBR), its text put together from OBX and NTE segments in their order. References are to HL7
version 2.5.1: chapters 2 (control), 3 (patients), 7 (observations) and 9 (documents).
"""

import re
from collections import Counter
from dataclasses import replace

from converter.model import Diagnostic
from converter.sources.fields import Place, note_from_fields
from converter.sources.format import NoteStream, Opened
from converter.sources.hl7_fields import fields_of
from converter.sources.hl7_messages import Group, groups_of, messages
from converter.sources.hl7_text import holds_text, text_of
from converter.sources.options import SourceOptions
from converter.sources.troubles import information, warning

_FIRST = re.compile(
    r"[\s\x0b\ufeff]*(?:(?:MSH|FHS|BHS)[^\w\s].{3,5}|(?:PID|EVN|PD1|PV1|ORC|OBR|OBX|TXA|NTE)\|)"
)
_CHARSETS = {"UNICODE UTF-8": "utf-8", "UTF-8": "utf-8", "8859/1": "cp1252", "ASCII": "utf-8"}
_KIND = re.compile(r"[A-Z0-9]{3}(?:[^A-Za-z0-9\s][A-Z0-9_]{1,9}){0,2}")
"""A message's type, event and structure, as far as they are shown."""
_WITHDRAWN = frozenset(("CA", "OB"))  # table 0273: deleted, obsolete


def read_hl7(opened: Opened, options: SourceOptions) -> NoteStream:
    """The notes of a file of messages."""
    lines = opened.lines(options, _charset(opened.head))
    without: Counter[str] = Counter()
    limit = 2 * options.largest_note + 65536
    for item in messages(lines, opened.name, limit):
        if isinstance(item, Diagnostic):
            yield item
            continue
        groups = groups_of(item)
        kept = [group for group in groups if holds_text(group.texts)]
        for group in kept:
            group.number = kept.index(group) + 1
            yield from _note(group, len(kept), opened, options)
        silent = sum(bool(group.texts or group.document) for group in groups) - len(kept)
        if silent or not kept:
            kind = item.header.value(9)
            without[kind if _KIND.fullmatch(kind) else "unknown"] += max(silent, 1)
    yield from lines.last_troubles()
    if without:
        counted = ", ".join(f"{count} {kind}" for kind, count in sorted(without.items()))
        yield information(
            "no-text-in-message",
            f"Some reports hold no text, so they are no notes ({counted}).",
            opened.name,
        )


def _note(group: Group, of: int, opened: Opened, options: SourceOptions) -> NoteStream:
    document = group.document
    if document is not None and document.value(19) in _WITHDRAWN:
        yield warning(
            "withdrawn-document",
            "The document is marked as deleted or obsolete (TXA-19), so it was left out.",
            opened.name,
            group.line,
        )
        return
    place = Place(opened.name, group.line, f"{opened.stem}:{group.line}")
    taken = text_of(group.texts, place)
    yield from taken.troubles
    if taken.text is None:
        return
    named = fields_of(group, of)
    note, troubles = note_from_fields({**named, "text": taken.text}, place, options)
    yield from troubles
    yield replace(note, origin=taken.origin)


def _charset(head: bytes) -> str | None:
    """The character set that the first message names (MSH-18)."""
    start = head.find(b"MSH")
    if start < 0 or len(head) < start + 4:
        return None
    fields = re.split(rb"[\r\n]", head[start : start + 2000])[0].split(head[start + 3 : start + 4])
    name = fields[17].decode("ascii", "replace").strip().upper() if len(fields) > 17 else ""
    return _CHARSETS.get(name) or (f"iso-{name.replace('/', '-')}" if name.startswith("8859/") else None)


def recognise_hl7(opened: Opened, options: SourceOptions) -> bool:
    """Whether the file starts with a header of HL7, or with a segment that lost its header."""
    lines = opened.first_lines(options)
    return bool(lines) and _FIRST.match(lines[0]) is not None
