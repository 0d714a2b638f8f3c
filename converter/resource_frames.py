"""FHIR resources as DataFrames of Spark; beside `api`.

Takes a DataFrame of notes and a Session; gives one with a row for each resource and one for each note, and
from it the resources, or what became of the notes. How notes travel is known to `frames`; files are left to
`resource_datasets`.
"""

from collections import Counter
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING, Any

from converter.api import Session
from converter.engines import Done
from converter.fhir import json_text
from converter.frames import ABOUT, Put, Row, about_note, about_row, schema_of, troubles_text, worked
from converter.model import Diagnostic, Severity
from converter.sources import SourceOptions
from converter.works import Converted, ToResources

if TYPE_CHECKING:
    from pyspark.sql import DataFrame

    from converter.check import Definitions
    from converter.engines.cluster_tally import Tally

CONVERTED, REFUSED, FAILED, LEFT_OUT = "converted", "refused", "failed", "left_out"

_ACCOUNT = {
    **dict.fromkeys(ABOUT, "string"),
    "source": "string",
    "line": "int",
    "outcome": "string",
    **dict.fromkeys(("resources", "errors"), "int"),
    "troubles": "string",
}
_RESOURCE = {
    **dict.fromkeys(ABOUT, "string"),
    "place": "int",
    **dict.fromkeys(("type", "resource_id", "resource"), "string"),
}
_CONVERSION = _ACCOUNT | _RESOURCE
ACCOUNT_SCHEMA = schema_of(_ACCOUNT)
"""One row a note, in any order:

- `system` ... `note_kind`: the note's own, as text; `note_hash` is the SHA-256 of its text;
- `source`, `line`: where it stood;
- `outcome`: `converted`; `refused`, where a resource made from it is faulty, so that none was written;
  `failed`, where the program failed on it; `left_out`, where the row has no text or too much for a note;
- `resources`: how many of its own were written, the program's Device not counted;
- `errors`: how many of its troubles are errors;
- `troubles`: what `plexor convert` tells of it, in that order, as a JSON array of diagnostics; null for none.
"""
RESOURCE_SCHEMA = schema_of(_RESOURCE)
"""One row a resource, in any order:

- `system` ... `note_kind`: the note that it was made from; null for the program's Device, which belongs to
  every note and has one row for each version of program and vocabulary;
- `place`: where it stands among the resources of its note, from 0;
- `type`, `resource_id`: kind and id, under which the other resources refer to it;
- `resource`: the line that `plexor convert --as ndjson` writes for it, byte for byte.
"""
CONVERSION_SCHEMA = schema_of(_CONVERSION)
"""Rows of both kinds: those of resources have no `outcome`, those of notes no `type`."""
_NO_ACCOUNT: Row = (None,) * (len(_ACCOUNT) - len(ABOUT))
_NO_RESOURCE: Row = (None,) * (len(_RESOURCE) - len(ABOUT))
_NO_NOTE: Row = (None,) * len(ABOUT)


def conversions_of(
    notes: "DataFrame",
    session: Session,
    definitions: "Definitions | None" = None,
    tally: "Tally | None" = None,
    options: SourceOptions | None = None,
) -> "DataFrame":
    """Convert a frame of notes, by `CONVERSION_SCHEMA`; the Device may come once for each partition.

    Args:
        notes: see `frames.readings_of`.
        session: how notes are read and converted.
        definitions: what the resources are checked against; None for no check.
        tally: counts `rows`, each outcome, `resources` (Devices not among them), `devices`, `errors` and
            `ended` (processes that a note ended); whole after one action over the whole frame.
        options: see `frames.readings_of`.

    Raises:
        ValueError: there is no column `text`.
    """
    work = ToResources(session, definitions)
    return worked(notes, session, work, _conversion_rows, _CONVERSION, tally, options)


def account_in(conversions: "DataFrame") -> "DataFrame":
    """What became of each note of a frame that was converted, by `ACCOUNT_SCHEMA`."""
    return conversions.where("type IS NULL").select(*_ACCOUNT)


def resources_in(conversions: "DataFrame") -> "DataFrame":
    """The resources of a frame that was converted, by `RESOURCE_SCHEMA`, each once."""
    found = conversions.where("type IS NOT NULL").select(*_RESOURCE)
    devices = found.where("type = 'Device'").dropDuplicates(["resource_id"])
    return found.where("type <> 'Device'").unionByName(devices)


def resources_of(
    notes: "DataFrame", session: Session, definitions: "Definitions | None" = None
) -> "DataFrame":
    """Convert a frame of notes: one row a resource, by `RESOURCE_SCHEMA`; see `conversions_of`.

    A note that was refused has no row here; `account_in` tells of each.
    """
    return resources_in(conversions_of(notes, session, definitions))


def _conversion_rows(items: Iterable[Done[Converted] | Put], counts: Counter[str]) -> Iterator[Row]:
    """The rows of a partition: those of a note's resources, then its own."""
    put: Put | None = None
    devices: set[str] = set()
    for item in items:
        if isinstance(item, Put):
            put = item
            counts["rows"] += 1
            if item.note is None:
                yield _account_row(about_row(item), _place_of(item), LEFT_OUT, 0, item.troubles, counts)
            continue
        assert put is not None
        note, converted = item.note, item.result
        about, own = about_note(note), 0
        for resource in () if converted.refused else converted.resources:
            kind, name = resource["resourceType"], resource["id"]
            if kind != "Device":
                yield (*about, *_NO_ACCOUNT, own, kind, name, _text(resource))
                own += 1
            elif name not in devices:
                devices.add(name)
                yield (*_NO_NOTE, *_NO_ACCOUNT, None, kind, name, _text(resource))
        outcome = FAILED if converted.failed else REFUSED if converted.refused else CONVERTED
        told = (*put.troubles, *converted.told(note))
        yield _account_row(about, (note.source, note.line), outcome, own, told, counts)
    counts["devices"] += len(devices)


def _account_row(
    about: Row, where: Row, outcome: str, resources: int, told: tuple[Diagnostic, ...], counts: Counter[str]
) -> Row:
    """The row that says what became of a note, which is counted."""
    errors = sum(one.severity in (Severity.ERROR, Severity.FATAL) for one in told)
    counts.update(resources=resources, errors=errors)
    if outcome != FAILED:  # those the engine counts
        counts[outcome] += 1
    return (*about, *where, outcome, resources, errors, troubles_text(told), *_NO_RESOURCE)


def _place_of(put: Put) -> Row:
    line = put.row.get("line", "")
    return (put.row.get("source"), int(line) if line.isdecimal() else None)


def _text(resource: dict[str, Any]) -> str:
    """A resource as the files of one machine hold it."""
    return json_text(resource).encode("utf-8", errors="replace").decode()
