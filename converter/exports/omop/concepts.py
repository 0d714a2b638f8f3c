"""The site's map of our codes to concepts: a CSV file, read and checked before anything is written.

Takes the file; gives a ConceptMap, or one error that lists what is wrong with it, each with its line. The
columns are `code, value, concept_id, domain, value_concept_id, unit_concept_id, source_concept_id`; the
README of this folder explains them with an example.
"""

import csv
import difflib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from converter.exports.omop.codes import codes_of, is_code, is_value
from converter.exports.omop.site_files import Line, lines_of, problems_in, whole_number
from converter.model import Finding
from converter.words import Vocabulary

COLUMNS = (
    "code",
    "value",
    "concept_id",
    "domain",
    "value_concept_id",
    "unit_concept_id",
    "source_concept_id",
)
DOMAINS = ("Observation", "Measurement")
ANY = "*"
_COUNTED = "findings"
"""A further column of the list of codes that a map lacks; filled in, the list is a map itself."""
_SPECIAL = ("note-kind:", "unit:", "qualifier:")
_SINGLE = {
    "language": 0,
    "type-nlp": 32858,
    "type-note": 32831,
    "encoding": 32678,
    "field-note-nlp": 0,
}
"""Concepts that hold for all rows, with what stands where the map is silent. 32678 is UTF-8, from the field
rules of CDM 5.4; 32858 (NLP) and 32831 (EHR note) are concepts of the vocabulary Type Concept, as the load
scripts of the OHDSI working group on NLP use them; 0 is no matching concept."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Concept:
    """What the map says of a code and value; None where it says nothing."""

    concept: int | None = None
    domain: str = "Observation"
    value: int | None = None
    unit: int | None = None
    source: int | None = None


@dataclass(frozen=True, slots=True)
class ConceptMap:
    """A site's map.

    Attributes:
        rows: by code and value; an empty value holds for every value without a row of its own.
    """

    rows: Mapping[tuple[str, str], Concept] = field(default_factory=dict)

    def find(self, finding: Finding, value: str | None) -> Concept:
        """The concept of a finding: its value before any value, its side before any side."""
        codes = codes_of(finding)
        tries = [(code, value) for code in codes if value is not None] + [(code, "") for code in codes]
        found = next((self.rows[one] for one in tries if one in self.rows), Concept())
        any_value = self.rows.get((ANY, value)) if value is not None else None
        if found.value is not None or any_value is None:
            return found
        return Concept(
            concept=found.concept,
            domain=found.domain,
            value=any_value.value,
            unit=found.unit,
            source=found.source,
        )

    def single(self, code: str) -> int:
        """A concept that holds for all rows, e.g. `type-nlp`, or one of a kind of note, unit or qualifier."""
        found = self.rows.get((code, ""))
        return found.concept if found is not None and found.concept is not None else _SINGLE.get(code, 0)


def read_concepts(file: Path, vocabulary: Vocabulary) -> ConceptMap:
    """Read a site's map.

    Raises:
        ExportError: the file cannot be read, or a row cannot be used; all such rows are listed.
    """
    rows: dict[tuple[str, str], Concept] = {}
    lines: dict[tuple[str, str], int] = {}
    problems: list[str] = []
    for line in lines_of(file, required=("code", "concept_id"), known=(*COLUMNS, _COUNTED)):
        key = (line.cell("code"), line.cell("value"))
        wrong = list(_wrong(line, vocabulary))
        if key in lines:
            wrong.append(f"code {key[0]} with value {key[1] or '(any)'} stands in line {lines[key]} already")
        problems += [f"line {line.number}: {one}" for one in wrong]
        if not wrong:
            lines[key] = line.number
            rows[key] = _concept(line)
    problems_in(file, problems)
    return ConceptMap(rows)


def write_codes(file: Path, codes: Mapping[tuple[str, str], int]) -> None:
    """Write codes that a map lacks in the map's own form, the most frequent first, ready to be filled in."""
    with file.open("w", encoding="utf-8", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow([*COLUMNS, _COUNTED])
        for (code, value), number in sorted(codes.items(), key=lambda item: (-item[1], item[0])):
            writer.writerow([code, value, "", "", "", "", "", number])


def _wrong(line: Line, vocabulary: Vocabulary) -> Iterator[str]:
    code, value = line.cell("code"), line.cell("value")
    for column in COLUMNS[2:]:
        if column != "domain" and line.cell(column) and whole_number(line.cell(column)) is None:
            yield f"{column} is {line.cell(column)!r}; a concept id is a whole number from 0 to 2147483647"
    if code in _SINGLE or code.startswith(_SPECIAL):
        yield from _wrong_single(line)
    elif code == ANY:
        if not value or not line.cell("value_concept_id"):
            yield "a row for every code (*) needs a value and its value_concept_id"
        if line.cell("concept_id"):
            yield "a row for every code (*) has no concept_id of its own"
    else:
        yield from _wrong_code(line, vocabulary)
    if value and not is_value(value, vocabulary):
        yield f"there is no value {value!r}; grades are written as bedside:3, words as absent or not-extensor"


def _wrong_single(line: Line) -> Iterator[str]:
    code = line.cell("code")
    if not line.cell("concept_id"):
        yield f"code {code} needs a concept_id"
    if line.cell("value"):
        yield f"code {code} has no values"


def _wrong_code(line: Line, vocabulary: Vocabulary) -> Iterator[str]:
    code, domain = line.cell("code"), line.cell("domain")
    if not is_code(code, vocabulary):
        known = [*_SINGLE, *(site.replace("_", "-") for site in vocabulary.reflexes)]
        near = difflib.get_close_matches(code, known, 2)
        hint = f"; did you mean {' or '.join(near)}?" if near else ""
        yield f"there is no code {code!r}{hint}"
    if not line.cell("concept_id"):
        yield f"code {code} needs a concept_id; 0 where no concept fits"
    elif line.cell("concept_id") != "0" and domain not in DOMAINS:
        yield (
            f"the domain is {domain!r}; only concepts of the domains Observation and Measurement can be "
            "used, since others belong into tables that this export does not write"
        )


def _concept(line: Line) -> Concept:
    return Concept(
        concept=whole_number(line.cell("concept_id")),
        domain=line.cell("domain") or "Observation",
        value=whole_number(line.cell("value_concept_id")),
        unit=whole_number(line.cell("unit_concept_id")),
        source=whole_number(line.cell("source_concept_id")),
    )
