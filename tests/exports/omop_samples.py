"""The demo notes in an archive, and a site's invented maps for them."""

import csv
import json
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from typer.testing import CliRunner

from converter.cli.app import app

DEMO = Path(__file__).parents[2] / "fixtures" / "demo"

MAP = """code,value,concept_id,domain,value_concept_id,unit_concept_id,source_concept_id
patellar,,2000000001,Measurement,,2000000020,
achilles-left,,2000000002,Measurement,,,2000000021
achilles-left,absent,2000000003,Observation,,,
plantar,,2000000004,Observation,,,
primitive-moro,,2000000005,Observation,,,
all-limbs,,2000000006,Measurement,,,
*,extensor,,,2000000010,,
*,absent,,,2000000011,,
note-kind:admission,,2000000030,,,,
unit:bedside,,2000000022,,,,
"""


@dataclass(frozen=True)
class Ran:
    """How a command ended."""

    status: int
    out: str
    err: str


def plexor(*arguments: str | Path) -> Ran:
    """Run a command inside this process."""
    result = CliRunner().invoke(app, [str(argument) for argument in arguments])
    return Ran(result.exit_code, result.stdout, result.stderr)


@dataclass(frozen=True)
class Site:
    """A site: its archive and maps. Of the demo's twelve patients it knows all but P-012."""

    folder: Path
    archive: Path
    persons: Mapping[str, int]
    visits: Mapping[int, int]

    def export(self, out: str, *more: str | Path, persons: str = "persons.csv") -> Ran:
        return plexor(
            "export", self.archive, "--to", "omop", "--out", self.folder / out,
            "--persons", self.folder / persons, "--visits", self.folder / "visits.csv",
            "--concepts", self.folder / "map.csv", "--keys", self.folder / "keys.sqlite", *more,
        )  # fmt: skip

    def copied(self, folder: Path) -> "Site":
        """The same site in a folder of its own."""
        shutil.copytree(self.folder, folder, dirs_exist_ok=True)
        return replace(self, folder=folder, archive=folder / self.archive.name)

    def rows(self, out: str, table: str) -> list[dict[str, str]]:
        with (self.folder / out / f"{table}.csv").open(encoding="utf-8", newline="") as stream:
            return list(csv.DictReader(stream))

    def manifest(self, out: str) -> dict[str, Any]:
        text = (self.folder / out / "manifest.json").read_text(encoding="utf-8")
        made: dict[str, Any] = json.loads(text)
        return made


def make_site(folder: Path) -> Site:
    """Load the demo and write the maps."""
    archive = folder / "demo.duckdb"
    ran = plexor("load", DEMO / "notes.csv", DEMO / "texts", "--archive", archive)
    assert ran.status < 2, ran.err
    with (DEMO / "notes.csv").open(encoding="utf-8", newline="") as stream:
        notes = list(csv.DictReader(stream))
    patients = sorted({note["patient"] for note in notes} - {"P-012"})
    persons = {patient: 1001 + at for at, patient in enumerate(patients)}
    visits = {
        5001 + at: (note["encounter"], persons[note["patient"]])
        for at, note in enumerate(notes)
        if note["patient"] in persons
    }
    _write(folder / "persons.csv", "patient,person_id", persons.items())
    _write(
        folder / "visits.csv",
        "encounter,visit_occurrence_id",
        ((encounter, visit) for visit, (encounter, _) in visits.items()),
    )
    (folder / "map.csv").write_text(MAP, encoding="utf-8")
    return Site(folder, archive, persons, {visit: person for visit, (_, person) in visits.items()})


def small_site(folder: Path, notes: Sequence[Mapping[str, str]], concepts: str = MAP) -> Site:
    """A site with the given notes; it knows patient `p1` as 1001 and encounter `e1` as 5001."""
    lines = [json.dumps({"system": "urn:example:notes", **note}) for note in notes]
    (folder / "notes.jsonl").write_text("\n".join(lines) + "\n", encoding="utf-8")
    archive = folder / "small.duckdb"
    archive.unlink(missing_ok=True)
    ran = plexor("load", folder / "notes.jsonl", "--archive", archive)
    assert ran.status < 2, ran.err
    _write(folder / "persons.csv", "patient,person_id", [("p1", 1001)])
    _write(folder / "visits.csv", "encounter,visit_occurrence_id", [("e1", 5001)])
    (folder / "map.csv").write_text(concepts, encoding="utf-8")
    return Site(folder, archive, {"p1": 1001}, {5001: 1001})


def _write(file: Path, header: str, rows: Any) -> None:
    lines = [header, *(",".join(str(cell) for cell in row) for row in rows)]
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
