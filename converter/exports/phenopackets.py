"""The target `phenopackets`: GA4GH Phenopackets v2 in JSON, one for each exam of a patient, or each patient.

Takes the notes with their assessments; gives `phenopackets.ndjson`, or one file for each packet. What becomes
a feature belongs to `phenotypes`, how a packet looks to `packets`, what a packet must have to
`phenopacket_check`. A note that names no patient is left out, since a packet without a subject belongs to
nobody; so is a note without any feature.
"""

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import groupby
from typing import Any, Literal

from converter.exports.hpo import RELEASE
from converter.exports.packets import ECO_RELEASE, Exam, PacketError, packet_of
from converter.exports.phenopacket_check import SCHEMA_VERSION
from converter.exports.phenotypes import phenotype_of
from converter.exports.values import ExportError, Read
from converter.exports.writer import Writer
from converter.model import Assessment, Diagnostic, Note, Reading, Severity
from converter.words import Vocabulary

LINES = "phenopackets.ndjson"
_NOT_WRITTEN = ("implied", "uncertain", "no-term", "past-exam")
RULES = (
    "A feature is present where the rules find an abnormality without doubt and HPO has a term for it.",
    "Of two terms of one exam of which one includes the other, only the more specific is written.",
    (
        "A term is excluded only where it is a leaf of HPO, its reflex was tested and normal on both sides, "
        "and nothing abnormal or doubtful is said that may be about that reflex."
    ),
    "Onset is never written: no note is read for it. Exams that a note quotes from earlier make no packet.",
)
RULE_OF_MERGING = (
    "Features of one term and the same modifiers are one feature with the evidence of each note. A term is "
    "excluded only where an exam excludes it and no exam of the patient finds it present or in doubt."
)
_ESCAPED = {code: f"\\u{code:04x}" for code in (0x85, 0x2028, 0x2029)}


@dataclass(frozen=True, slots=True, kw_only=True)
class PhenopacketsTarget:
    """Exports phenopackets.

    Attributes:
        vocabulary: says which reflexes a region covers.
        created_by: what made the packets, e.g. name and version of the program.
        one_per: `exam` or `patient`.
        form: `ndjson`, one packet a line, or `files`.
        covered: whether a reflex that only a region names ("2+ throughout") counts as tested.
    """

    vocabulary: Vocabulary
    created_by: str
    one_per: Literal["exam", "patient"] = "exam"
    form: Literal["ndjson", "files"] = "ndjson"
    covered: bool = False
    name: str = "phenopackets"

    @property
    def options(self) -> Mapping[str, Any]:
        """The choices that decide about the bytes."""
        return {"one_per": self.one_per, "form": self.form, "covered": self.covered}

    def write(self, reads: Iterator[Read], writer: Writer) -> None:
        """Write the packets of some notes."""
        if writer.made is None:
            raise ExportError("phenopackets: a packet must say when it was made, and no time was given.")
        for patient, notes in groupby(reads, key=lambda read: read[0].patient):
            exams = [exam for read in notes for exam in self._exams(read, writer)]
            groups = [exams] if self.one_per == "patient" and exams else [[exam] for exam in exams]
            if patient is not None:
                self._packets(groups, writer, writer.made)

    def finish(self, writer: Writer) -> Mapping[str, Any]:
        """Say what the packets hold and by which rules."""
        if self.form == "ndjson":
            writer.open_text(LINES)
        counts = writer.counts
        return {
            "phenopackets": {
                "schema_version": SCHEMA_VERSION,
                "hpo_release": RELEASE,
                "eco_release": ECO_RELEASE,
                "packets": counts.get("packets", 0),
                "features_present": counts.get("present", 0),
                "features_excluded": counts.get("excluded", 0),
                "features_on_an_assumed_scale": counts.get("assumed-scale", 0),
                "not_written": {name: counts.get(name, 0) for name in _NOT_WRITTEN},
                "rules": [*RULES, *([RULE_OF_MERGING] if self.one_per == "patient" else [])],
            }
        }

    def _exams(self, read: Read, writer: Writer) -> Iterator[Exam]:
        """The exams of a note that have features; a note without any is left out."""
        note, reading, assessments = read
        if not (note.patient or "").strip():
            writer.leave_out(note, "no-patient")
            return
        found = False
        for assessment in _current(reading, assessments, writer):
            phenotype = phenotype_of(reading, assessment, self.vocabulary, covered=self.covered)
            for name, number in phenotype.counts.items():
                writer.add(name, number)
            if phenotype.features:
                found = True
                yield Exam(note, assessment.exam, phenotype)
        if not found:
            writer.leave_out(note, "no-feature" if reading.findings else "no-findings")

    def _packets(self, groups: Iterable[list[Exam]], writer: Writer, made: str) -> None:
        """Write one packet for each group of exams; a note none of whose exams is written is left out."""
        left_out: dict[Note, str] = {}
        written: set[Note] = set()
        for exams in groups:
            notes = dict.fromkeys(exam.note for exam in exams)
            try:
                packet = packet_of(exams, made, self.created_by, whole_patient=self.one_per == "patient")
            except PacketError as error:
                for note in notes:
                    writer.tell(_fault(str(error), note), note)
                left_out |= dict.fromkeys(notes, "faulty-packet")
                continue
            if not packet.get("phenotypicFeatures"):
                left_out |= dict.fromkeys(notes, "no-feature")
                continue
            written |= notes.keys()
            self._write_packet(packet, writer)
        for note in [note for note in left_out if note not in written]:
            writer.leave_out(note, left_out[note])

    def _write_packet(self, packet: dict[str, Any], writer: Writer) -> None:
        _count(packet["phenotypicFeatures"], writer)
        if self.form == "ndjson":
            text = json.dumps(packet, ensure_ascii=False, separators=(",", ":"))
            writer.open_text(LINES).row(text.translate(_ESCAPED))
            return
        text = json.dumps(packet, ensure_ascii=False, indent=2) + "\n"
        path = writer.path(f"packets/{packet['id'][:2]}/{packet['id']}.json", rows=1)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8", newline="\n")


def _current(reading: Reading, assessments: Iterable[Assessment], writer: Writer) -> Iterator[Assessment]:
    """Assessments of the note's own exams; of those that it quotes from earlier there is no packet."""
    past = {exam.exam for exam in reading.exams if exam.status != "current"}
    for assessment in assessments:
        if assessment.exam in past:
            writer.add("past-exam")
        else:
            yield assessment


def _count(features: Iterable[Mapping[str, Any]], writer: Writer) -> None:
    writer.add("packets")
    for feature in features:
        writer.add("excluded" if feature.get("excluded") else "present")
        if feature.get("description"):
            writer.add("assumed-scale")


def _fault(why: str, note: Note) -> Diagnostic:
    return Diagnostic(
        code="faulty-packet",
        severity=Severity.ERROR,
        message=f"No sound phenopacket can be made of the note: {why}.",
        source=note.source,
        line=note.line,
    )
