"""One phenopacket: subject, features with their evidence, and the ontologies they are from.

Takes the exams of one patient; gives the packet as the library `phenopackets` writes it to JSON, after our
own check. Evidence: the note and its date. The term for the kind of evidence, ECO:0000501, and its label are
those of the Evidence and Conclusion Ontology, release 2019-09-07.
"""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID, uuid5

from converter.exports.ages import completed_years
from converter.exports.hpo import RELEASE, terms
from converter.exports.phenopacket_check import SCHEMA_VERSION, packet_problems
from converter.exports.phenotypes import Feature, Phenotype
from converter.model import Note

Json = dict[str, Any]

ECO_RELEASE = "2019-09-07"
_AUTOMATIC = {"id": "ECO:0000501", "label": "evidence used in automatic assertion"}
_NAMESPACE = UUID("0f0a3c52-5f0e-5d57-8b63-9d2c8a1f4e07")
"""The namespace of packet identifiers. It must never change."""
_OBO = "http://purl.obolibrary.org/obo"
_SEXES = {
    "male": "MALE",
    "m": "MALE",
    "female": "FEMALE",
    "f": "FEMALE",
    "other": "OTHER_SEX",
    "o": "OTHER_SEX",
}
_ASSUMED = "Read on an assumed grading scale, since the note names none."


class PacketError(ValueError):
    """No sound packet can be made; the message says why, without words of a note."""


@dataclass(frozen=True, slots=True)
class Exam:
    """One exam with its phenotype and the note it stands in."""

    note: Note
    exam: int
    phenotype: Phenotype


def packet_of(exams: Sequence[Exam], made: str, created_by: str, *, whole_patient: bool = False) -> Json:
    """The packet of one exam, or of all exams of one patient.

    Args:
        exams: of one patient, at least one, in order of time.
        made: when the export was made, an ISO 8601 instant.
        created_by: what made it.
        whole_patient: whether the packet is named after the patient instead of the exam.

    Raises:
        PacketError: a name cannot be written, or the packet would lack what the standard requires.
    """
    first = exams[0]
    named = [first.note.patient] if whole_patient else [first.note.system, first.note.id, first.exam]
    packet = {
        "id": str(uuid5(_NAMESPACE, json.dumps(named))),
        "subject": _subject([exam.note for exam in exams]),
        "phenotypicFeatures": _features(exams),
        "metaData": {
            "created": made,
            "createdBy": created_by,
            "resources": [
                _resource("hp", "Human Phenotype Ontology", RELEASE),
                _resource("eco", "Evidence and Conclusion Ontology", ECO_RELEASE),
            ],
            "phenopacketSchemaVersion": SCHEMA_VERSION,
        },
    }
    return _checked(packet)


def _checked(packet: Json) -> Json:
    """The packet by way of the library, which knows every field, and past our check."""
    from google.protobuf.json_format import MessageToDict, ParseDict, ParseError
    from phenopackets.schema.v2 import Phenopacket

    try:
        written: Json = MessageToDict(ParseDict(packet, Phenopacket()))
    except (ParseError, UnicodeError, ValueError, TypeError):
        raise PacketError("a name or a time in it cannot be written") from None
    problem = next(packet_problems(written), None)
    if problem is not None:
        raise PacketError(problem)
    return written


def _subject(notes: Sequence[Note]) -> Json:
    """The patient, with the age at the last of the exams that tells one; never a date of birth."""
    subject: Json = {"id": notes[0].patient}
    ages = [age for age in map(completed_years, notes) if age is not None]
    if ages:
        low, high = ages[-1]
        start, end = ({"iso8601duration": f"P{years}Y"} for years in (low, high))
        subject["timeAtLastEncounter"] = (
            {"age": start} if low == high else {"ageRange": {"start": start, "end": end}}
        )
    sexes = {_SEXES.get((note.sex or "").strip().lower()) for note in notes} - {None}
    if len(sexes) == 1:
        subject["sex"] = sexes.pop()
    return subject


def _features(exams: Sequence[Exam]) -> list[Json]:
    """Features of one term and the same modifiers are one, with the evidence of each note."""
    touched = frozenset().union(*(exam.phenotype.touched for exam in exams))
    evidence: dict[tuple[bool, str, tuple[str, ...]], list[tuple[Feature, Note]]] = {}
    for exam in exams:
        for feature in exam.phenotype.features:
            if not (feature.excluded and feature.term in touched):
                key = (feature.excluded, feature.term, feature.modifiers)
                evidence.setdefault(key, []).append((feature, exam.note))
    return [_feature(evidence[key]) for key in sorted(evidence)]


def _feature(seen: Sequence[tuple[Feature, Note]]) -> Json:
    feature = seen[0][0]
    result: Json = {}
    if all(one.assumed_scale for one, _ in seen):
        result["description"] = _ASSUMED
    result["type"] = _class(feature.term)
    if feature.excluded:
        result["excluded"] = True
    if feature.modifiers:
        result["modifiers"] = [_class(name) for name in feature.modifiers]
    result["evidence"] = _evidence(note for _, note in seen)
    return result


def _evidence(notes: Iterable[Note]) -> list[Json]:
    """Each note once: its id, the system that the id is unique in, and its date as far as it is known."""
    return [
        {
            "evidenceCode": _AUTOMATIC,
            "reference": {
                "id": note.id,
                **({"reference": note.system} if note.system else {}),
                "description": f"Clinical note of {note.authored}"
                if note.authored
                else "Clinical note, date not known",
            },
        }
        for note in dict.fromkeys(notes)
    ]


def _class(term: str) -> Json:
    return {"id": term, "label": terms()[term].label}


def _resource(name: str, title: str, version: str) -> Json:
    return {
        "id": name,
        "name": title,
        "url": f"{_OBO}/{name}.owl",
        "version": version,
        "namespacePrefix": name.upper(),
        "iriPrefix": f"{_OBO}/{name.upper()}_",
    }
