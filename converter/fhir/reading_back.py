"""Reads a folder of our own NDJSON back to the findings it was made of, note by note.

Takes `DocumentReference.ndjson` and `Observation.ndjson`, packed with gzip or not; gives each finding and the
identity of its note, in the order of the file. What cannot be read is told with file and line, and the rest
goes on.
"""

import gzip
import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from converter.fhir.back import finding_of
from converter.fhir.document import source_identifier
from converter.model import Diagnostic, Finding, Severity

_LONGEST_LINE = 64 * 1024 * 1024


@dataclass(frozen=True, slots=True)
class ReadBack:
    """A finding with the identity of its note.

    Attributes:
        system, id: of the note, as its document carries them; the system is a URI also where the source's own
            was none.
        finding: what the note says.
    """

    system: str | None
    id: str | None
    finding: Finding


def read_back(folder: Path) -> Iterator[ReadBack | Diagnostic]:
    """The findings of a folder of NDJSON.

    Raises:
        OSError: a file is missing or cannot be read.
    """
    notes: dict[str, tuple[str | None, str | None]] = {}
    for place, document in _resources(folder, "DocumentReference"):
        if isinstance(document, Diagnostic):
            yield document
            continue
        try:
            identity = source_identifier(document)
            notes[f"DocumentReference/{document['id']}"] = identity.get("system"), identity.get("value")
        except (KeyError, TypeError, IndexError, AttributeError):
            yield _trouble(place, "is no document of ours")
    for place, observation in _resources(folder, "Observation"):
        if isinstance(observation, Diagnostic):
            yield observation
            continue
        try:
            finding = finding_of(observation)
        except ValueError as error:
            yield _trouble(place, f"claims to be an Observation of ours but {error}")
            continue
        if finding is not None:
            yield ReadBack(*notes.get(_document(observation), (None, None)), finding)


def _document(observation: dict[str, Any]) -> str:
    references = [one.get("reference", "") for one in observation.get("derivedFrom", ())]
    return next((one for one in references if one.startswith("DocumentReference/")), "")


_Place = tuple[str, int]


def _resources(folder: Path, kind: str) -> Iterator[tuple[_Place, dict[str, Any] | Diagnostic]]:
    packed = folder / f"{kind}.ndjson.gz"
    plain = folder / f"{kind}.ndjson"
    path = plain if plain.exists() or not packed.exists() else packed
    with gzip.open(path, "rb") if path is packed else path.open("rb") as lines:
        number = 0
        while line := lines.readline(_LONGEST_LINE):
            number += 1
            place = (str(path), number)
            try:
                resource = json.loads(line)
            except (ValueError, RecursionError):
                yield place, _trouble(place, "is no JSON")
                continue
            if not isinstance(resource, dict) or resource.get("resourceType") != kind:
                yield place, _trouble(place, f"is no {kind}")
                continue
            yield place, resource


def _trouble(place: _Place, what: str) -> Diagnostic:
    return Diagnostic(
        code="not-read-back",
        severity=Severity.ERROR,
        message=f"The line {what}.",
        source=place[0],
        line=place[1],
    )
