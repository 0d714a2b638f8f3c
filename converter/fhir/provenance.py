"""Who made the records of one exam, from what, and when; and which person judged a finding.

One Provenance per exam and vocabulary, and one for each finding that a person confirmed, corrected or added.
"""

from typing import Any

from converter.fhir.context import Context
from converter.fhir.identity import literal
from converter.fhir.narrative import narrative
from converter.fhir.terms import code_system, coding
from converter.fhir.text import fhir_identifier
from converter.model import Amendment

_PARTICIPANT = "http://terminology.hl7.org/CodeSystem/provenance-participant-type"
_OPERATION = "http://terminology.hl7.org/CodeSystem/v3-DataOperation"


def exam_provenance(
    exam: int, targets: list[dict[str, Any]], recorded: str, context: Context
) -> dict[str, Any]:
    """The Provenance of one exam.

    A Provenance has no identifier element in R4, so a tag carries ours: every server searches `_tag`.

    Args:
        exam: number of the exam.
        targets: references to the records that were made.
        recorded: time of the first reading, an ISO 8601 instant.
        context: the note.
    """
    reading = context.reading
    uuid = context.uuid("provenance", exam, reading.program, reading.vocabulary)
    text = narrative([f"Read from the note by {reading.program}."])
    resource = context.head("Provenance", uuid, "reflex-provenance", text, provenance_tag(context.base, uuid))
    resource["target"] = targets
    resource["recorded"] = recorded
    resource["activity"] = {"coding": [coding(_OPERATION, "CREATE", "create")]}
    resource["agent"] = [
        {"type": {"coding": [coding(_PARTICIPANT, "assembler", "Assembler")]}, "who": context.device()}
    ]
    resource["entity"] = [{"role": "source", "what": context.document()}]
    return resource


def amendment_provenance(amendment: Amendment, uuid: str, context: Context) -> dict[str, Any]:
    """The Provenance of a finding that a person judged.

    Args:
        amendment: who judged it, when and how.
        uuid: UUID of the finding's Observation.
        context: the note.
    """
    own = context.uuid("amendment", amendment.made_on or "", amendment.verdict, amendment.by, amendment.at)
    text = narrative([f"The finding was {amendment.verdict} by a person."])
    tag = provenance_tag(context.base, own)
    resource = context.head("Provenance", own, "reflex-amendment", text, tag)
    resource["target"] = [literal("Observation", uuid)]
    resource["recorded"] = amendment.at
    added = amendment.verdict == "added"
    activity = coding(_OPERATION, "CREATE", "create") if added else coding(_OPERATION, "UPDATE", "revise")
    resource["activity"] = {"coding": [activity]}
    verifies = amendment.verdict == "confirmed"
    part = (
        coding(_PARTICIPANT, "verifier", "Verifier") if verifies else coding(_PARTICIPANT, "author", "Author")
    )
    resource["agent"] = [{"type": {"coding": [part]}, "who": _person(amendment.by, context.base)}]
    resource["entity"] = [{"role": "source", "what": context.document()}]
    return resource


def _person(name: str, base: str) -> dict[str, Any]:
    identifier = {"system": f"{base}/identifier/reviewer", "value": fhir_identifier(name) or "unknown"}
    return {"type": "Practitioner", "identifier": identifier}


def provenance_tag(base: str, uuid: str) -> dict[str, Any]:
    """The tag that identifies a Provenance."""
    return coding(code_system(base, "provenance-id"), uuid)
