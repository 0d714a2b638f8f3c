"""A small target, notes and an export that can be stopped anywhere, for the tests of the frame."""

import csv
import io
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from converter.exports import Common, Manifest, Read, Reads, Writer, export
from converter.model import Finding, Reading
from converter.model.record import SCHEMA
from converter.sources import note_from_text

COMMON = Common(
    program="plexor 0.0.0", vocabulary="v1", caution="Take care.", made="2031-05-01T08:00:00Z", state="s1"
)


class StoppedError(Exception):
    """The power is gone."""


@dataclass(frozen=True)
class Tidy:
    """Writes a table, a compressed list, and a file for each part; stops when it meets the note `stop_at`."""

    stop_at: str | None = None
    choice: str = "a"
    name: str = "tidy"

    @property
    def options(self) -> Mapping[str, Any]:
        return {"choice": self.choice}

    def write(self, reads: Iterator[Read], writer: Writer) -> None:
        row = writer.csv("notes.csv", ("id", "patient", "findings"))
        packed = writer.open_text("ids.txt.gz")
        alone = writer.open_text(f"parts/{writer.part:04}.txt")
        for note, reading, _ in reads:
            if note.id == self.stop_at:
                raise StoppedError
            if note.patient is None:
                writer.leave_out(note, "no-patient")
                continue
            row((note.id, note.patient, len(reading.findings)))
            packed.row(note.id)
            alone.row(note.id)
            writer.add("seen")

    def finish(self, writer: Writer) -> Mapping[str, Any]:
        writer.open_text("end.txt").row(str(writer.counts["seen"]))
        return {"seen": writer.counts["seen"]}


def read(name: str, patient: str | None, findings: int = 1) -> Read:
    note = replace(note_from_text("KJ 2+", name, "urn:example:notes"), patient=patient)
    found = tuple(
        Finding(
            finding=f"patellar-left-{place}", exam=1, site="patellar", side="left", kind="stretch",
            start=0, end=5, quote="KJ 2+",
        )
        for place in range(findings)
    )  # fmt: skip
    reading = Reading(
        id=note.id, system=note.system, note_hash=note.hash, schema=SCHEMA, program="plexor 0.0.0",
        vocabulary="v1", findings=found,
    )  # fmt: skip
    return note, reading, ()


def many(number: int, of_a_patient: int = 3) -> list[Read]:
    """Notes of patients with so many notes each, then two that name no patient."""
    named = [read(f"n{at:03}", f"p{at // of_a_patient:03}", at % 3) for at in range(number)]
    return [*named, read("x1", None), read("x2", None)]


def from_list(reads: list[Read]) -> Reads:
    return lambda skip: iter(reads[skip:])


def exported(
    folder: Path, target: Tidy | None = None, notes: list[Read] | None = None, **how: Any
) -> Manifest:
    common = how.pop("common", COMMON)
    reads = from_list(many(20) if notes is None else notes)
    return export(target or Tidy(), reads, folder, common, how.pop("force", False), part_notes=4, **how)


def content(folder: Path) -> dict[str, bytes]:
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def rows(data: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(data.decode())))
