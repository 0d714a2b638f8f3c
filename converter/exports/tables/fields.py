"""What each analysis table holds: its fields with type, unit, allowed values and source.

Takes the vocabulary, whose reflexes make the columns of the wide tables; gives Table values. From them come
the data dictionary, the schemas, and the types in Parquet, so that none of these can part from the others.
"""

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any, Literal

from converter.words import Vocabulary

Kind = Literal["text", "integer", "number", "boolean", "date"]

_NOTE = ("system", "note", "document", "patient", "encounter", "author", "facility", "authored", "day")
_PERSON = ("note_kind", "birth_date", "age", "sex")
_EXAM = ("exam", "exam_status", "stated_time")
_VALUE = (
    "value",
    "grade_low",
    "grade_high",
    "plus",
    "scale",
    "scale_basis",
    "level",
    "descriptor",
    "response",
)
_CLONUS = ("beats_low", "beats_high", "duration")
_MANNER = ("reinforcement", "manoeuvre", "position", "technique", "quality", "comparison")
_STANDING = ("denied", "status", "certainty", "reason", "as_written")
_WORDS = ("start_offset", "end_offset", "quote", "program", "vocabulary")

FINDINGS = (
    *_NOTE, *_PERSON, *_EXAM, "finding", "observation", "site", "which", "root", "side", "kind",
    *_VALUE, *_CLONUS, *_MANNER, *_STANDING, *_WORDS,
)  # fmt: skip
REFLEXES = (
    "system", "note", "document", "patient", "authored", "day", "exam", "exam_status", "finding",
    "site", "which", "side", "basis", "said_site", "said_side", "kind",
    *_VALUE, *_CLONUS, *_MANNER, *_STANDING,
)  # fmt: skip
EXAM_HEAD = (*_NOTE, *_PERSON, *_EXAM, "findings", "not_shown")
PATIENT_TIME = (
    "patient", "visit", "day", "authored", "days_since_first", "days_since_previous", "system", "note",
    "exam", "site", "which", "side", "value", "values_given", "grade", "scale", "level", "basis",
)  # fmt: skip

Column = tuple[str, str | None, str]
"""A column of a wide table: reflex, variant, side."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One column.

    Attributes:
        name: of the column.
        kind: type of its values.
        unit: where it has one.
        allowed: the values that can stand there; empty where there is no closed list.
        source: where the value comes from.
        meaning: one sentence.
    """

    name: str
    kind: Kind
    unit: str | None = None
    allowed: tuple[str, ...] = ()
    source: str
    meaning: str


@dataclass(frozen=True, slots=True)
class Table:
    """One table: name, title, fields in order, and those that name a row."""

    name: str
    title: str
    fields: tuple[Field, ...]
    key: tuple[str, ...]

    @property
    def columns(self) -> tuple[str, ...]:
        """The names of the columns."""
        return tuple(field.name for field in self.fields)


@cache
def wide_columns(vocabulary: Vocabulary) -> Mapping[Column, str]:
    """The columns of the wide tables and their names: each reflex, variant and side; no regions."""
    columns: dict[Column, str] = {}
    for site, reflex in vocabulary.reflexes.items():
        if reflex.covers or site == "unspecified":
            continue
        sides = ("left", "right", "unspecified") if reflex.paired else ("unspecified",)
        for which in (None, *_variants(vocabulary).get(site, ())):
            for side in sides:
                parts = [site, which, side if reflex.paired else None]
                columns[site, which, side] = "_".join(part for part in parts if part)
    return MappingProxyType(columns)


_EXAM_KEY = ("system", "note", "exam")
_WIDE = (
    # name, title, what a cell holds, what names a row
    ("exams", "One exam a row, the value of each reflex and side", "value", _EXAM_KEY),
    ("exam_levels", "One exam a row, the level of each reflex and side", "level", _EXAM_KEY),
    (
        "exam_grades",
        "One exam and scale a row, the grade of each reflex and side",
        "grade",
        (*_EXAM_KEY, "scale"),
    ),
    ("exam_bases", "One exam a row, whether each value is direct or covered by a region", "basis", _EXAM_KEY),
)


@cache
def tables(vocabulary: Vocabulary) -> Mapping[str, Table]:
    """Every table by its name."""
    known = _fields(vocabulary)
    made = [
        Table(
            "findings", "One finding a row, as said", _pick(known, FINDINGS), ("system", "note", "finding")
        ),
        Table(
            "reflexes",
            "One row for each reflex and side that a finding speaks of; regions have rows of their own",
            _pick(known, REFLEXES),
            ("system", "note", "finding", "site", "side"),
        ),
        *(_wide(name, title, what, key, vocabulary) for name, title, what, key in _WIDE),
        Table(
            "patient_time",
            "One patient, exam, reflex and side a row, in order of time",
            _pick(known, PATIENT_TIME),
            ("patient", "visit", "site", "which", "side"),
        ),
    ]
    return MappingProxyType({table.name: table for table in made})


def _wide(name: str, title: str, what: str, key: tuple[str, ...], vocabulary: Vocabulary) -> Table:
    known = _fields(vocabulary)
    cells = tuple(
        replace(known[what], name=column, meaning=f"{_named(place, vocabulary)}. {known[what].meaning}")
        for place, column in wide_columns(vocabulary).items()
    )
    more = tuple(one for one in key if one not in EXAM_HEAD)
    return Table(name, title, (*_pick(known, (*EXAM_HEAD, *more)), *cells), key)


def _named(place: Column, vocabulary: Vocabulary) -> str:
    site, which, side = place
    reflex = vocabulary.reflexes[site]
    named = reflex.label if which is None else f"{reflex.label} ({which.replace('_', ' ')})"
    if not reflex.paired:
        return named
    return f"{named}, {'side not stated' if side == 'unspecified' else side}"


def _variants(vocabulary: Vocabulary) -> dict[str, list[str]]:
    """The variants of each reflex that the word lists know, in alphabetical order."""
    found: dict[str, set[str]] = {}
    for row in vocabulary.rows:
        site, _, which = row.meaning.partition(":")
        if row.role == "site" and which and "=" not in which:
            found.setdefault(site, set()).add(which)
    return {site: sorted(names) for site, names in found.items()}


def _pick(known: Mapping[str, Field], names: Sequence[str]) -> tuple[Field, ...]:
    return tuple(known[name] for name in names)


def _fields(vocabulary: Vocabulary) -> dict[str, Field]:
    return {name: _field(name, entry, vocabulary) for name, entry in _shipped().items()}


def _field(name: str, entry: Mapping[str, Any], vocabulary: Vocabulary) -> Field:
    lists = {
        "reflexes": tuple(vocabulary.reflexes),
        "scales": tuple(vocabulary.scales),
        "descriptors": tuple(vocabulary.descriptors),
        "variants": tuple(sorted({one for names in _variants(vocabulary).values() for one in names})),
    }
    allowed = lists[entry["allowed_from"]] if "allowed_from" in entry else tuple(entry.get("allowed", ()))
    return Field(
        name=name,
        kind=entry["type"],
        unit=entry.get("unit"),
        allowed=allowed,
        source=entry["source"],
        meaning=entry["meaning"],
    )


@cache
def _shipped() -> dict[str, Any]:
    with Path(__file__).with_name("fields.toml").open("rb") as file:
        return tomllib.load(file)
