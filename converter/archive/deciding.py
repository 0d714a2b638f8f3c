"""What becomes of each note of a batch: new, duplicate, superseded or failed.

Takes items and the versions of their notes that the archive holds; gives the rows to insert, the versions to
end, and the totals. Touches no database. Later items see what earlier ones of the batch decided.
"""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from converter.archive import rows
from converter.archive.amended import amended
from converter.archive.guarding import Guard
from converter.archive.linking import Links
from converter.archive.rows import Row, Tables, Writer
from converter.archive.values import Assess, Failed, Item, NoteKey, Read, RunTotals
from converter.model import Amendment, Diagnostic, Note, Reading, Severity


@dataclass(slots=True)
class Version:
    """A version of a note that is current in the archive, with its current reading.

    Attributes:
        note, reading: their numbers.
        note_hash, details: what the version is told by.
        vocabulary, digest: what the reading is told by.
        seen: whether this run has met the version.
    """

    note: int
    reading: int
    note_hash: str
    details: str
    vocabulary: str
    digest: str
    seen: bool


@dataclass(slots=True)
class Batch:
    """What a batch comes to.

    Attributes:
        run_number: number of the run.
        vocabulary: fingerprint of the run's vocabulary.
        writer: how rows are made.
        known: the current versions of each note.
        next_note, next_reading, next_place: the next free numbers.
        amendments: those of the notes of the batch, which hold for a new reading too.
        assess: assesses readings that were amended.
        guard: knows which notes were forgotten.
        links: knows which patients were merged.
        tables: rows to insert.
        parts: rows of what was made of notes, still without the number of their reading, which stands beside.
        ended_notes, ended_readings: numbers of the versions and readings that are superseded.
        counted: what became of the notes, by the names of `RunTotals`.
    """

    run_number: int
    vocabulary: str
    writer: Writer
    known: dict[NoteKey, list[Version]]
    next_note: int
    next_reading: int
    next_place: int
    amendments: Mapping[NoteKey, Sequence[Amendment]] = field(default_factory=dict)
    assess: Assess | None = None
    guard: Guard = field(default_factory=Guard)
    links: Links = field(default_factory=Links)
    tables: Tables = field(default_factory=lambda: defaultdict(list))
    parts: list[tuple[int, Tables]] = field(default_factory=list)
    ended_notes: list[int] = field(default_factory=list)
    ended_readings: list[int] = field(default_factory=list)
    counted: Counter[str] = field(default_factory=Counter)

    @property
    def totals(self) -> RunTotals:
        """What became of the notes."""
        return RunTotals(**self.counted)


def key_of(item: Item) -> NoteKey | None:
    """The identity of the note an item is about, where it is known."""
    note = note_of(item)
    return NoteKey(note.system, note.id) if note else None


def note_of(item: Item) -> Note | None:
    """The note an item is about, where it is known."""
    if isinstance(item, Note):
        return item
    if isinstance(item, Failed):
        return item.note
    return None if isinstance(item, Diagnostic) else item[0]


def decide(batch: Batch, item: Item) -> None:
    """Decide on one item and add what follows to the batch."""
    if _kept_out(batch, item):
        return
    if isinstance(item, Diagnostic):
        if item.severity in (Severity.ERROR, Severity.FATAL):
            _fail(batch, None, item)
        else:
            _remark(batch, None, item)
            batch.next_place += 1
    elif isinstance(item, Failed):
        _fail(batch, item.note, item.diagnostic)
    elif isinstance(item, Note):
        _known_note(batch, item)
    else:
        _read_note(batch, item)


def reject(batch: Batch, item: Item) -> None:
    """Count an item as failed because the database does not take it."""
    if not _kept_out(batch, item):
        _fail(batch, note_of(item), _not_stored())


def _kept_out(batch: Batch, item: Item) -> bool:
    """Count a note that was forgotten, and let nothing of it in."""
    note = note_of(item)
    if note is None or not batch.guard.keeps_out(note):
        return False
    _log(batch, "kept_out", None, None)
    return True


def _known_note(batch: Batch, note: Note) -> None:
    version = _same_version(batch, note, rows.details_of(note))
    if version is None or version.vocabulary != batch.vocabulary:
        _fail(batch, note, _not_read())
        return
    _duplicate(batch, note, version)


def _read_note(batch: Batch, item: Read) -> None:
    note, reading, assessments = item
    if (reading.system, reading.id, reading.note_hash) != (note.system, note.id, note.hash):
        _fail(batch, note, _other_note())
        return
    try:
        tables = rows.reading_rows(reading, assessments, batch.writer)
        digest = rows.digest_of(reading, tables)
        shown = _amended(batch, note, reading)
    except (KeyError, TypeError, ValueError, AttributeError):
        _fail(batch, note, _not_stored())
        return
    details = rows.details_of(note)
    version = _same_version(batch, note, details)
    if version and (version.vocabulary, version.digest) == (reading.vocabulary, digest):
        _duplicate(batch, note, version)
        return
    ended = _end_earlier(batch, note, version)
    number = version.note if version else _new_note(batch, note, details)
    told_by = (note.hash, details, reading.vocabulary, digest)
    kept = Version(number, batch.next_reading, *told_by, seen=True)
    batch.known.setdefault(NoteKey(note.system, note.id), []).append(kept)
    _new_reading(batch, reading, kept, tables, shown)
    fate = "with_findings" if reading.findings else "without_findings"
    _log(batch, ended or fate, kept.note, kept.reading)


def _end_earlier(batch: Batch, note: Note, version: Version | None) -> str | None:
    """End what a new reading supersedes: the earlier reading of this version, else the earlier versions."""
    versions = batch.known.setdefault(NoteKey(note.system, note.id), [])
    ended = [version] if version else [other for other in versions if not other.seen]
    batch.ended_readings += [other.reading for other in ended]
    if not version:
        batch.ended_notes += [other.note for other in ended]
    versions[:] = [other for other in versions if other not in ended]
    _warn_of_shared_identity(batch, note, versions)
    return "superseded" if ended else None


def _new_reading(batch: Batch, reading: Reading, kept: Version, tables: Tables, shown: Tables | None) -> None:
    batch.next_reading += 1
    changed = batch.next_reading if shown else None
    row = (kept.reading, kept.note, reading.schema, reading.program, reading.vocabulary, kept.digest)
    batch.tables["readings"].append((*row, batch.run_number, None, changed))
    batch.parts.append((kept.reading, tables))
    if shown:
        batch.parts.append((batch.next_reading, shown))
        batch.next_reading += 1
    for name in ("findings", "abnormalities", "unread", "diagnostics"):
        batch.counted[name] += len(tables[name])


def _amended(batch: Batch, note: Note, reading: Reading) -> Tables | None:
    """The rows of the reading as persons amended it; None where nobody has."""
    own = batch.amendments.get(NoteKey(note.system, note.id))
    return amended_rows(note, reading, own, batch.assess, batch.writer) if own else None


def amended_rows(
    note: Note, reading: Reading, amendments: Sequence[Amendment], assess: Assess | None, writer: Writer
) -> Tables:
    """The rows of a reading with amendments applied, each without the number of the reading before it.

    Raises:
        KeyError: the vocabulary does not know a site.
        ValueError: nothing was given to assess the changed reading with.
    """
    if assess is None:
        raise ValueError("a reading that was amended has to be assessed")
    changed, applied, _ = amended(reading, amendments)
    links: list[Row] = [(one.number, one.made_on) for one in applied]
    return rows.reading_rows(changed, assess(note, changed), writer) | {"amendments_applied": links}


def _new_note(batch: Batch, note: Note, details: str) -> int:
    number = batch.next_note
    batch.next_note += 1
    merged_into = batch.links.merged_into(note)
    row = rows.note_row(note, number, details, batch.run_number, batch.writer, merged_into)
    batch.tables["notes"].append(row)
    return number


def _same_version(batch: Batch, note: Note, details: str) -> Version | None:
    told_by = (note.hash, details)
    versions = batch.known.get(NoteKey(note.system, note.id), ())
    return next((v for v in versions if (v.note_hash, v.details) == told_by), None)


def _duplicate(batch: Batch, note: Note, version: Version) -> None:
    others = [other for other in batch.known[NoteKey(note.system, note.id)] if other is not version]
    _warn_of_shared_identity(batch, note, others)
    version.seen = True
    _log(batch, "duplicate", version.note, version.reading)


def _fail(batch: Batch, note: Note | None, why: Diagnostic) -> None:
    _remark(batch, note, why, failed=True)
    _log(batch, "failed", None, None)


def _log(batch: Batch, fate: str, note: int | None, reading: int | None) -> None:
    batch.tables["note_log"].append((batch.run_number, batch.next_place, fate, note, reading))
    batch.next_place += 1
    batch.counted["notes_in"] += 1
    batch.counted[fate] += 1


def _remark(batch: Batch, note: Note | None, why: Diagnostic, failed: bool = False) -> None:
    if note:
        why = replace(why, source=why.source or note.source, line=why.line or note.line)
    row = (
        batch.run_number, batch.next_place, failed, None,
        note.system if note else None, note.id if note else None, note.hash if note else None,
        *rows.diagnostic_values(why, batch.writer),
    )  # fmt: skip
    batch.tables["run_diagnostics"].append(tuple(_storable(value) for value in row))
    batch.counted["diagnostics"] += 1


def _storable(value: object) -> object:
    """Half characters, which no file can hold, written as their number."""
    return value.encode("utf-8", "backslashreplace").decode() if isinstance(value, str) else value


def _warn_of_shared_identity(batch: Batch, note: Note, others: list[Version]) -> None:
    if any(other.seen for other in others):
        _remark(batch, note, _shared_identity())


def _shared_identity() -> Diagnostic:
    return Diagnostic(
        code="identity-used-twice",
        severity=Severity.ERROR,
        message="Two different notes of one input have the same identity; both are kept, apart.",
        hint="Ask the source for an identifier that is unique, or name a system for each source.",
    )


def _not_read() -> Diagnostic:
    return Diagnostic(
        code="note-not-read",
        severity=Severity.ERROR,
        message="The note came without a reading, and the archive holds none made with this vocabulary.",
    )


def _not_stored() -> Diagnostic:
    return Diagnostic(
        code="note-not-stored",
        severity=Severity.ERROR,
        message="The note or its reading holds something the archive cannot store.",
        hint="Look for characters that are not text, or for a site that the vocabulary does not know.",
    )


def _other_note() -> Diagnostic:
    return Diagnostic(
        code="reading-of-another-note",
        severity=Severity.ERROR,
        message="The reading that came with the note belongs to another note or another text.",
    )
