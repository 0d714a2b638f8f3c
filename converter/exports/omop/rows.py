"""A note and its findings as rows of NOTE, NOTE_NLP, OBSERVATION and MEASUREMENT.

Takes a note with its place in the database and the site's map; gives rows as plain dicts. Leaves keys and
files to `target`. Only current, tested, undoubted findings of the patient become clinical rows; every finding
has a row in NOTE_NLP, where `term_exists` is empty if the note leaves that open.
"""

import re
from dataclasses import dataclass
from datetime import date
from typing import Any

from converter.exports.omop.codes import code_of, value_code
from converter.exports.omop.columns import LONG, MIDDLE, SHORT, STRING
from converter.exports.omop.concepts import Concept, ConceptMap
from converter.exports.said import Said
from converter.model import Exam, Finding, Note, Reading
from converter.model.record import plain_number

Row = dict[str, Any]
WITHHELD = "[words withheld]"
"""Stands where the model wants text and words are withheld or there are none."""

_AROUND = 60  # characters of a snippet before the finding
_TIME = re.compile(r"\d{4}-\d\d-\d\d[T ](\d\d:\d\d(?::\d\d)?)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where a note stands in the database.

    Attributes:
        note_id, person_id: keys.
        visit, provider: keys, or None where the site's map has none.
        day: of the note.
        read_on: when the note was read, an ISO 8601 instant.
        words: whether words may be given.
    """

    note_id: int
    person_id: int
    visit: int | None
    provider: int | None
    day: date
    read_on: str
    words: bool


def note_row(note: Note, place: Place, concepts: ConceptMap) -> Row:
    """The row of NOTE."""
    kind = note.kind or ""
    return {
        "note_id": place.note_id,
        "person_id": place.person_id,
        "note_date": place.day,
        "note_datetime": moment(note, place.day),
        "note_type_concept_id": concepts.single("type-note"),
        "note_class_concept_id": concepts.single(f"note-kind:{kind}") if kind else 0,
        "note_text": storable(note.text) if place.words and note.text else WITHHELD,
        "encoding_concept_id": concepts.single("encoding"),
        "language_concept_id": concepts.single("language"),
        "provider_id": place.provider,
        "visit_occurrence_id": place.visit,
        "note_source_value": short(kind or None, SHORT),
    }


def nlp_row(
    note: Note,
    reading: Reading,
    finding: Finding,
    said: Said,
    exam: Exam | None,
    place: Place,
    concept: Concept,
) -> Row:
    """The row of NOTE_NLP without its key."""
    quote = storable(finding.quote) if place.words and finding.quote else WITHHELD
    return {
        "note_id": place.note_id,
        "snippet": snippet(note, finding) if place.words else None,
        "offset": str(finding.start),
        "lexical_variant": short(quote, MIDDLE),
        "note_nlp_concept_id": concept.concept or 0,
        "note_nlp_source_concept_id": concept.source or 0,
        "nlp_system": short(f"{reading.program} (vocabulary {reading.vocabulary})", MIDDLE),
        "nlp_date": place.read_on[:10],
        "nlp_datetime": f"{place.read_on[:10]} {place.read_on[11:19]}" if len(place.read_on) >= 19 else None,
        "term_exists": term_exists(finding, said),
        "term_temporal": term_temporal(finding, exam),
        "term_modifiers": short(modifiers(finding, said, exam), LONG),
    }


def clinical_row(
    table: str, note: Note, finding: Finding, said: Said, place: Place, concepts: ConceptMap, concept: Concept
) -> Row:
    """The row of OBSERVATION or MEASUREMENT without its key and its link to NOTE_NLP."""
    number, unit = _number(said)
    has_word = number is None
    row = {
        "person_id": place.person_id,
        f"{table}_concept_id": concept.concept or 0,
        f"{table}_date": place.day,
        f"{table}_datetime": moment(note, place.day),
        f"{table}_type_concept_id": concepts.single("type-nlp"),
        "value_as_number": number,
        "value_as_concept_id": concept.value if concept.value is not None or not has_word else 0,
        "unit_concept_id": _unit(concept, concepts, said) if unit else None,
        "provider_id": place.provider,
        "visit_occurrence_id": place.visit,
        f"{table}_source_value": short(code_of(finding), SHORT),
        f"{table}_source_concept_id": concept.source or 0,
        "unit_source_value": short(unit, SHORT),
        "value_source_value": short(storable(finding.as_written or said.value or ""), SHORT),
    }
    if table == "observation":
        row["value_as_string"] = short(value_code(said), STRING) if has_word else None
        row |= _qualifier(finding, concepts)
    return row


def stays(finding: Finding, said: Said, exam: Exam | None) -> str | None:
    """Why a finding stays in NOTE_NLP alone, or None where it becomes a clinical row."""
    if finding.status != "current":
        return finding.status
    if exam is None or exam.status != "current":
        return "past exam"
    if finding.certainty != "stated":
        return "uncertain"
    return "no value" if said.value is None else None


def term_exists(finding: Finding, said: Said) -> str | None:
    """`Y`, `N`, or None where the note leaves it open: what was not tested or is doubted is neither."""
    if finding.status in {"family", "hypothetical"}:
        return "N"
    if finding.status == "not_tested" or finding.certainty != "stated":
        return None
    return "N" if finding.negated or said.denied else "Y"


def term_temporal(finding: Finding, exam: Exam | None) -> str | None:
    """`past` or `present`; None for what is planned or another person's."""
    if finding.status == "historical" or (exam is not None and exam.status == "historical"):
        return "past"
    return "present" if finding.status in {"current", "not_tested"} else None


def modifiers(finding: Finding, said: Said, exam: Exam | None) -> str:
    """Everything else about a finding, as `name=value` parted by `;`."""
    parts = {
        "finding": finding.finding,
        "exam": finding.exam,
        "code": code_of(finding),
        "value": value_code(said),
        "negation": str(finding.negated).lower(),
        "subject": "family" if finding.status == "family" else "patient",
        "conditional": str(finding.status == "hypothetical").lower(),
        "history": str(term_temporal(finding, exam) == "past").lower(),
        "certainty": finding.certainty,
        "tested": "false" if finding.status == "not_tested" else None,
        "reason": finding.reason,
        "end": finding.end,
        "level": said.level,
        "scale": said.scale,
        "scale_basis": said.scale_basis,
        "plus": finding.plus if said.scale and finding.plus != "none" else None,
        "beats": f"{said.beats_low}-{said.beats_high}" if said.beats_low is not None else None,
        "duration": said.duration,
        "reinforcement": finding.reinforcement,
        "manoeuvre": finding.manoeuvre,
        "position": finding.position,
        "technique": finding.technique,
        "quality": said.quality,
        "comparison": said.comparison,
        "root": finding.root,
    }
    return ";".join(f"{name}={value}" for name, value in parts.items() if value is not None)


def snippet(note: Note, finding: Finding) -> str | None:
    """The words around a finding, from the offset's own line of characters; None without the text."""
    if not note.text:
        return None
    start = max(0, finding.start - _AROUND)
    return storable(note.text[start : start + MIDDLE]) or None


def moment(note: Note, day: date) -> str | None:
    """The time of a note by the clock of the place, or None where it is not known to the minute."""
    found = _TIME.match(note.authored or "")
    if found is None or note.authored_precision not in {"minute", "second"}:
        return None
    return f"{day.isoformat()} {found[1]}{'' if len(found[1]) > len('00:00') else ':00'}"


def storable(text: str) -> str:
    """Text that a database takes: PostgreSQL has no character 0. Offsets stay as they are."""
    return text.replace("\0", "\N{REPLACEMENT CHARACTER}").encode("utf-8", "replace").decode("utf-8")


def short(text: str | None, longest: int) -> str | None:
    """Text cut to what a column holds."""
    return text[:longest] if text else None


def _number(said: Said) -> tuple[float | int | None, str | None]:
    """The value as one number with its unit: the scale, without which a grade means nothing, or beats."""
    if said.grade is not None:
        assumed = " (assumed)" if said.scale_basis == "assumed" else ""
        return plain_number(said.grade), f"{said.scale}{assumed}"
    if said.beats_low is not None and said.beats_low == said.beats_high:
        return said.beats_low, "beats"
    return None, None


def _unit(concept: Concept, concepts: ConceptMap, said: Said) -> int:
    if concept.unit is not None:
        return concept.unit
    return concepts.single(f"unit:{said.scale or 'beats'}")


def _qualifier(finding: Finding, concepts: ConceptMap) -> Row:
    """What specifies the value further: a reflex that needs reinforcement is a weaker one."""
    if finding.reinforcement is None:
        return {}
    code = f"reinforcement-{finding.reinforcement.replace('_', '-')}"
    return {
        "qualifier_concept_id": concepts.single(f"qualifier:{code}"),
        "qualifier_source_value": code,
    }
