"""Notes to send, the archive they stand in, and what a server must hold of them in the end.

The expectation comes from the same archive by another way: the resources that `export` writes.
"""

import csv
import json
from pathlib import Path
from typing import Any

from archive_copies import copied
from commands import Ran, plexor
from fhir_servers import FhirServer

Json = dict[str, Any]
BASE = "https://plexor.example/fhir"
DEMO = Path(__file__).parents[2] / "fixtures/demo/notes.csv"
FOUR = ("P-001-V2", "P-001-V3", "P-002-V1", "P-002-V2")


def demo_csv(folder: Path, *names: str) -> Path:
    """These notes of the demo, as a file."""
    with DEMO.open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    chosen = [row for row in rows if row["id"] in names] if names else rows
    file = folder / "notes.csv"
    with file.open("w", encoding="utf-8", newline="") as lines:
        writer = csv.DictWriter(lines, list(rows[0]))
        writer.writeheader()
        writer.writerows(chosen)
    return file


def loaded(folder: Path, *names: str) -> Path:
    """An archive with these notes of the demo."""
    return copied(folder / "a.duckdb", ("demo", names), lambda _: load(folder, demo_csv(folder, *names)))


def load(folder: Path, file: Path, *more: str) -> None:
    ran = plexor("load", file, "--archive", folder / "a.duckdb", *more)
    assert ran.status == 0, ran.err


def send(server: FhirServer, archive: Path, *more: str) -> Ran:
    """Send all of an archive."""
    return plexor("send", server.url, "--archive", archive, *more)


def expected(folder: Path) -> dict[str, set[str]]:
    """Our UUIDs of all that the archive makes, by type."""
    out = folder / "expected"
    ran = plexor("export", folder / "a.duckdb", "--to", "fhir", "--out", out, "--force")
    assert ran.status == 0, ran.err
    found = {}
    for file in out.glob("*.ndjson"):
        lines = file.read_text(encoding="utf-8").splitlines()
        found[file.stem] = {json.loads(line)["id"] for line in lines}
    return found


def held(server: FhirServer, *kinds: str) -> dict[str, list[str]]:
    """Our UUIDs of all that a server holds, by type; the same one twice stands there twice."""
    return {kind: [uuid_of(one) for one in server.all(kind)] for kind in kinds}


def uuid_of(resource: Json) -> str:
    """Our UUID of a resource that a server holds under an id of its own."""
    if resource["resourceType"] == "Provenance":
        return str(resource["meta"]["tag"][0]["code"])
    identifier = resource["identifier"]
    own = identifier if isinstance(identifier, dict) else identifier[0]
    return str(own["value"])


def nothing_twice_nothing_missing(server: FhirServer, folder: Path) -> None:
    wanted = expected(folder)
    there = held(server, *wanted)
    assert {kind: sorted(names) for kind, names in there.items()} == {
        kind: sorted(names) for kind, names in wanted.items()
    }
