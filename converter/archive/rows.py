"""A note, its reading and its assessments as rows of the tables.

Takes values, gives rows with their columns in the order of the tables. In an archive without quotes every
field that can hold words of the note is left empty here, so that no text reaches the database.
"""

import calendar
import hashlib
import json
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, fields
from datetime import date
from functools import lru_cache
from operator import attrgetter
from typing import Any, TypeAlias

from converter.archive.values import NoteKey
from converter.model import Assessment, Diagnostic, Finding, Note, Reading, Span
from converter.words import Vocabulary, expand

Row: TypeAlias = tuple[Any, ...]
Tables: TypeAlias = dict[str, list[Row]]

_FINDING_FIELDS = tuple(field.name for field in fields(Finding))
_FINDING_VALUES = attrgetter(*_FINDING_FIELDS)
_SPANS, _LOW, _HIGH = (_FINDING_FIELDS.index(name) for name in ("spans", "grade_low", "grade_high"))
_quoted = json.encoder.encode_basestring_ascii
_QUOTING = frozenset({"as_written", "quote"})
_FREE = frozenset({"reason", "manoeuvre", "position", "technique", "quality", "beats", "root", "which"})
_CANONICAL = re.compile(r"[\w.:-]+")
_DATE = re.compile(r"(\d{4})(?:-(\d{2})(?:-(\d{2})(?:[T ].*)?)?)?")
_REMEMBERED = 4096
"""Answers that are remembered: a load asks several times for each note of a batch."""
_OWN_REASONS = frozenset({"not documented", "side not stated"})


@dataclass(frozen=True, slots=True)
class Writer:
    """How rows are made.

    Attributes:
        vocabulary: says which reflexes a region covers.
        quotes: whether words of the note go in.
    """

    vocabulary: Vocabulary
    quotes: bool

    def words(self, text: str | None) -> str | None:
        """Words of the note, where they may go in."""
        return text if self.quotes else None

    def canonical(self, text: str | None) -> str | None:
        """A value that is canonical unless the note's own words stand in it."""
        return text if text is None or self.quotes or _CANONICAL.fullmatch(text) else None


@lru_cache(_REMEMBERED)
def identity_number(key: NoteKey) -> int:
    """A number for fast look-up of a note; different notes may share it, though hardly ever do."""
    system, name = ("null" if part is None else _quoted(part) for part in key)
    digest = hashlib.sha256(f"[{system}, {name}]".encode()).digest()
    return int.from_bytes(digest[:8], "big", signed=True)


def details_of(note: Note) -> str:
    """A digest of what the source says about a note besides its text and its place in a file."""
    said = (
        note.patient, note.encounter, note.author, note.facility, note.authored, note.authored_precision,
        note.kind, note.birth_date, note.age, note.sex, *((note.origin,) if note.origin else ()),
    )  # fmt: skip
    # `ascii` writes plain values the same way on every machine
    return hashlib.sha256(ascii(said).encode()).hexdigest()[:32]


def reading_rows(reading: Reading, assessments: Sequence[Assessment], writer: Writer) -> Tables:
    """The rows of everything that was made of a note, each without the number of the reading before it.

    Raises:
        KeyError: the vocabulary does not know a site.
        ValueError: two exams have one number, so that their findings could not be told apart.
    """
    return {
        "exams": list(_exams(reading, writer)),
        "findings": list(_findings(reading, writer)),
        "reflexes": list(_reflexes(reading, writer)),
        "unread": list(_unread(reading, writer)),
        "assessments": [(place, one.exam, one.caution) for place, one in enumerate(assessments)],
        "abnormalities": list(_abnormalities(assessments, writer)),
        "not_examined": list(_not_examined(assessments, writer)),
        "diagnostics": list(_diagnostics(reading, assessments, writer)),
    }


def digest_of(reading: Reading, tables: Tables) -> str:
    """A digest of everything that was read from a note: the reading's own line, and its rows.

    Verdicts, the last column of a finding, are no part of what was read.

    Raises:
        TypeError: a value cannot be stored, such as half a character.
    """
    import orjson

    read = tables | {"findings": [row[:-1] for row in tables["findings"]]}
    written = orjson.dumps((reading.schema, reading.program, reading.vocabulary, read))
    return hashlib.sha256(written).hexdigest()[:32]


def note_row(
    note: Note, number: int, details: str, run_number: int, writer: Writer, merged_into: str | None = None
) -> Row:
    """The row of `notes`; its `details_of` are those of the source, also where the patient was merged."""
    patient, source_patient = (merged_into, note.patient) if merged_into else (note.patient, None)
    first, last = days_of(note.authored)
    return (
        number, identity_number(NoteKey(note.system, note.id)), note.system, note.id, note.hash, details,
        patient, note.encounter, note.author, note.facility, note.authored, note.authored_precision,
        first, last, note.kind, note.birth_date, note.age, note.sex, note.source, note.line,
        [list(piece) for piece in note.origin], writer.words(note.text), run_number, None, source_patient,
    )  # fmt: skip


def _exams(reading: Reading, writer: Writer) -> Iterator[Row]:
    if len({exam.exam for exam in reading.exams}) < len(reading.exams):
        raise ValueError("two exams of the note have one number")
    for place, exam in enumerate(reading.exams):
        yield (place, exam.exam, exam.status, writer.words(exam.stated_time), exam.start, exam.end)


def _findings(reading: Reading, writer: Writer) -> Iterator[Row]:
    status = {exam.exam: exam.status for exam in reading.exams}
    for place, finding in enumerate(reading.findings):
        values = list(_FINDING_VALUES(finding))
        values[_SPANS] = spans_values(finding.spans)
        values[_LOW], values[_HIGH] = _float(finding.grade_low), _float(finding.grade_high)
        if not writer.quotes:
            named = zip(_FINDING_FIELDS, values, strict=True)
            values = [without_words(name, value, writer) for name, value in named]
        yield (place, finding.finding, finding.exam, status.get(finding.exam), *values[2:])


def _reflexes(reading: Reading, writer: Writer) -> Iterator[Row]:
    places = {id(finding): place for place, finding in enumerate(reading.findings)}
    for place, (finding, site, side, basis) in enumerate(expand(reading.findings, writer.vocabulary)):
        yield (places[id(finding)], place, site, side, basis)


def _unread(reading: Reading, writer: Writer) -> Iterator[Row]:
    for place, unread in enumerate(reading.unread):
        yield (place, unread.start, unread.end, writer.words(unread.text), unread.why)


def _abnormalities(assessments: Iterable[Assessment], writer: Writer) -> Iterator[Row]:
    for outer, assessment in enumerate(assessments):
        for place, a in enumerate(assessment.abnormalities):
            yield (
                outer, place, a.abnormality, a.exam, a.rule, a.code, list(a.sites), a.side,
                a.level, _float(a.size), a.certainty, writer.words(a.sentence), list(a.rests_on),
                a.source, a.hpo, a.hpo_label, list(a.modifiers),
            )  # fmt: skip


def _not_examined(assessments: Iterable[Assessment], writer: Writer) -> Iterator[Row]:
    for outer, assessment in enumerate(assessments):
        for place, gap in enumerate(assessment.not_examined):
            reason = gap.reason if gap.reason in _OWN_REASONS else writer.canonical(gap.reason)
            yield (outer, place, assessment.exam, gap.site, gap.side, reason, gap.finding)


def _diagnostics(reading: Reading, assessments: Iterable[Assessment], writer: Writer) -> Iterator[Row]:
    for place, diagnostic in enumerate(reading.diagnostics):
        yield (None, place, *diagnostic_values(diagnostic, writer))
    for outer, assessment in enumerate(assessments):
        for place, diagnostic in enumerate(assessment.diagnostics):
            yield (outer, place, *diagnostic_values(diagnostic, writer))


def diagnostic_values(diagnostic: Diagnostic, writer: Writer) -> Row:
    """A diagnostic's own columns, `code` to `rule`."""
    return (
        diagnostic.code, str(diagnostic.severity),
        writer.words(diagnostic.message), writer.words(diagnostic.hint),
        diagnostic.start, diagnostic.end, diagnostic.source, diagnostic.line, diagnostic.path,
        writer.words(diagnostic.expected), diagnostic.rule,
    )  # fmt: skip


@lru_cache(_REMEMBERED)
def days_of(stated: str | None) -> tuple[date | None, date | None]:
    """The first and the last day that an ISO 8601 (partial) date can mean; None, None where it is no date."""
    parts = _DATE.fullmatch(stated or "")
    if not parts:
        return None, None
    year, month, day = (int(part) if part else None for part in parts.groups())
    try:
        first = date(year or 0, month or 1, day or 1)
        last_month = month or 12
        return first, date(first.year, last_month, day or calendar.monthrange(first.year, last_month)[1])
    except ValueError:
        return None, None


def without_words(name: str, value: Any, writer: Writer) -> Any:
    """A field of a finding as it may stand in an archive without quotes."""
    if name in _QUOTING:
        return None
    return writer.canonical(value) if name in _FREE else value


def spans_values(spans: Iterable[Span]) -> list[dict[str, int | str]]:
    """Spans as the values of a column."""
    return [{"start": span.start, "end": span.end, "role": span.role} for span in spans]


def _float(number: float | None) -> float | None:
    return None if number is None else float(number)
