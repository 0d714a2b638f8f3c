"""The target `omop`: rows for the OMOP Common Data Model 5.4, as CSV, and into PostgreSQL.

Takes the notes, the site's maps and a file of keys; gives a CSV file for each table, `trace.csv` that ties
each row to its finding, `unmapped.csv` in the form of the map, and lists of what was left out.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from converter.exports.notes import day_of, exams_of
from converter.exports.omop.codes import code_of, value_code
from converter.exports.omop.columns import TABLES
from converter.exports.omop.concepts import ConceptMap, write_codes
from converter.exports.omop.keys import Keys, giving
from converter.exports.omop.rows import Place, clinical_row, nlp_row, note_row, stays
from converter.exports.omop.site_files import IdMap
from converter.exports.said import said_by
from converter.exports.values import Read
from converter.exports.writer import Writer
from converter.model import Exam, Finding, Note, Reading
from converter.words import Vocabulary

TRACE = ("note_nlp_id", "note_id", "system", "id", "finding", "table", "row_id", "stays_because")
_UNMAPPED = "unmapped "
_STAYS = "stays "
_LEFT = "left out "
_BETWEEN = "\t"

Load = Callable[[Mapping[str, Path], Mapping[str, int]], Mapping[str, Any]]
"""Puts finished CSV files, by table, into a database; gives what it did, for the manifest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SiteMaps:
    """The site's own maps; a map that was not given is empty."""

    concepts: ConceptMap = field(default_factory=ConceptMap)
    persons: IdMap
    visits: IdMap = field(default_factory=lambda: IdMap({}))
    providers: IdMap = field(default_factory=lambda: IdMap({}))


@dataclass(frozen=True, slots=True, kw_only=True)
class OmopTarget:
    """Exports rows of the OMOP CDM 5.4.

    Attributes:
        vocabulary: says which values are denied or off their scale.
        maps: the site's maps.
        keys: the file of keys.
        read_on: when a note was read, an ISO 8601 instant.
        twice: identities that two notes of the archive share; such notes are left out.
        words: whether words of the notes may be given.
        choices: what decides about the bytes: digests of the maps, the name of the key file.
        held: identities of all notes that the archive holds, where rows of others are to leave the database.
        load: puts the finished files into a database, or None.
    """

    vocabulary: Vocabulary
    maps: SiteMaps
    keys: Path
    read_on: Callable[[Note, Reading], str]
    twice: frozenset[tuple[str | None, str]] = frozenset()
    words: bool = True
    choices: Mapping[str, Any] = field(default_factory=dict)
    held: Callable[[], Iterable[tuple[str | None, str]]] | None = None
    load: Load | None = None
    name: str = "omop"

    @property
    def options(self) -> Mapping[str, Any]:
        """The choices that decide about the bytes."""
        return {"cdm_version": "5.4", "words": self.words, **self.choices}

    def write(self, reads: Iterator[Read], writer: Writer) -> None:
        """Write the rows of some notes; their keys are kept before anything counts as written."""
        unknown: set[tuple[str | None, str]] = set()
        with giving(self.keys) as keys:
            for note, reading, _ in reads:
                reason = self._reason(note)
                if reason is None:
                    _Rows(self, keys, writer).write(note, reading)
                    continue
                writer.leave_out(note, reason)
                writer.add(f"{_LEFT}{reason}", len(reading.findings))
                self._withdraw(note, keys, writer)
                if reason == "no-person":
                    unknown.add((note.system, note.patient or ""))
        for system, patient in sorted(unknown, key=lambda one: (one[0] or "", one[1])):
            writer.csv("patients-left-out.csv", ("system", "patient"))((system, patient))

    def finish(self, writer: Writer) -> Mapping[str, Any]:
        """Write what stands at the end, and put the rows into the database where that is wished."""
        for table, columns in TABLES.items():
            writer.csv(f"{table}.csv", columns)
        writer.csv("trace.csv", TRACE)
        withdraw = writer.csv("withdrawn.csv", ("note_id",))
        if self.held is not None:
            with giving(self.keys) as keys:
                for number in keys.gone(self.held()):
                    withdraw((number,))
        writer.end_part()  # so that the files are whole on the disk, also those without a row
        unmapped = self._counted(writer, _UNMAPPED)
        codes = {(code, value): number for (code, value), number in _pairs(unmapped)}
        write_codes(writer.path("unmapped.csv", rows=len(codes)), codes)
        rows = {table: writer.rows(f"{table}.csv") for table in TABLES}
        files = {name: writer.path(f"{name}.csv") for name in (*TABLES, "trace", "withdrawn")}
        loaded = {} if self.load is None else {"database": self.load(files, rows)}
        return {
            "rows": rows,
            "stays_in_note_nlp": self._counted(writer, _STAYS),
            "findings_left_out": self._counted(writer, _LEFT),
            "rows_without_concept": sum(unmapped.values()),
            "visits_not_in_map": writer.counts.get("no visit", 0),
            "providers_not_in_map": writer.counts.get("no provider", 0),
            "patients_left_out": writer.rows("patients-left-out.csv"),
            **loaded,
        }

    def _reason(self, note: Note) -> str | None:
        """Why a note cannot be written, or None."""
        if note.patient is None:
            return "no-patient"
        if (note.system, note.id) in self.twice:
            return "identity-used-twice"
        if self.maps.persons.find(note.system, note.patient) is None:
            return "no-person"
        return "no-date" if day_of(note) is None else None

    @staticmethod
    def _withdraw(note: Note, keys: Keys, writer: Writer) -> None:
        """List a note that an earlier export wrote, so that its rows leave the database."""
        number = keys.known("note", note.system, note.id)
        if number is not None:
            writer.csv("withdrawn.csv", ("note_id",))((number,))

    @staticmethod
    def _counted(writer: Writer, prefix: str) -> dict[str, int]:
        mine = {name: count for name, count in writer.counts.items() if name.startswith(prefix)}
        return {name.removeprefix(prefix): count for name, count in sorted(mine.items())}


@dataclass(frozen=True, slots=True)
class _Rows:
    """Writes the rows of one note."""

    target: OmopTarget
    keys: Keys
    writer: Writer

    def write(self, note: Note, reading: Reading) -> None:
        place, exams = self._place(note, reading), exams_of(reading)
        self._put("note", note_row(note, place, self.target.maps.concepts))
        for finding in reading.findings:
            self._finding(note, reading, finding, exams.get(finding.exam), place)

    def _place(self, note: Note, reading: Reading) -> Place:
        maps, day = self.target.maps, day_of(note)
        person = maps.persons.find(note.system, note.patient)
        assert day is not None
        assert person is not None
        visit = maps.visits.find(note.system, note.encounter)
        provider = maps.providers.find(note.system, note.author)
        self.writer.add(
            "no visit", int(bool(maps.visits.keys) and note.encounter is not None and visit is None)
        )
        self.writer.add(
            "no provider", int(bool(maps.providers.keys) and note.author is not None and provider is None)
        )
        return Place(
            note_id=self.keys.key("note", note.system, note.id),
            person_id=person,
            visit=visit,
            provider=provider,
            day=day,
            read_on=self.target.read_on(note, reading),
            words=self.target.words,
        )

    def _finding(
        self, note: Note, reading: Reading, finding: Finding, exam: Exam | None, place: Place
    ) -> None:
        said = said_by(finding, self.target.vocabulary)
        concept = self.target.maps.concepts.find(finding, value_code(said))
        number = self.keys.key("note_nlp", note.system, note.id, finding.finding)
        nlp = nlp_row(note, reading, finding, said, exam, place, concept)
        self._put("note_nlp", {"note_nlp_id": number, **nlp})
        reason, table, row_id = stays(finding, said, exam), None, None
        if reason is None:
            table = "measurement" if concept.concept and concept.domain == "Measurement" else "observation"
            row_id = self.keys.key(table, note.system, note.id, finding.finding)
            concepts = self.target.maps.concepts
            row = clinical_row(table, note, finding, said, place, concepts, concept)
            self._put(table, {f"{table}_id": row_id, **row, **self._link(table, number)})
            if not concept.concept:
                self.writer.add(f"{_UNMAPPED}{code_of(finding)}{_BETWEEN}{value_code(said) or ''}")
        else:
            self.writer.add(f"{_STAYS}{reason}")
        traced = (number, place.note_id, note.system, note.id, finding.finding, table, row_id, reason)
        self.writer.csv("trace.csv", TRACE)(traced)

    def _link(self, table: str, number: int) -> dict[str, int]:
        """The row of NOTE_NLP that a row rests on, where the site names the concept of that field."""
        field_concept = self.target.maps.concepts.single("field-note-nlp")
        if not field_concept:
            return {}
        short = "obs" if table == "observation" else "meas"
        return {f"{table}_event_id": number, f"{short}_event_field_concept_id": field_concept}

    def _put(self, table: str, row: Mapping[str, Any]) -> None:
        columns = TABLES[table]
        self.writer.csv(f"{table}.csv", columns)([row.get(name) for name in columns])


def _pairs(counted: Mapping[str, int]) -> Iterator[tuple[tuple[str, str], int]]:
    for name, number in counted.items():
        code, _, value = name.partition(_BETWEEN)
        yield (code, value), number
