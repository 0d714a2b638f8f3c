"""Who made the records of one exam, from what, and when: one Provenance per exam and vocabulary."""

from typing import Any

from converter.fhir.context import Context
from converter.fhir.identity import own_tag
from converter.fhir.narrative import narrative
from converter.fhir.terms import coding

_PARTICIPANT = "http://terminology.hl7.org/CodeSystem/provenance-participant-type"
_OPERATION = "http://terminology.hl7.org/CodeSystem/v3-DataOperation"


def exam_provenance(
    exam: int, targets: list[dict[str, Any]], recorded: str, context: Context
) -> dict[str, Any]:
    """The Provenance of one exam.

    A Provenance has no identifier element in R4, so a tag carries ours.

    Args:
        exam: number of the exam.
        targets: references to the records that were made.
        recorded: time of the first reading, an ISO 8601 instant.
        context: the note.
    """
    reading = context.reading
    uuid = context.uuid("provenance", exam, reading.program, reading.vocabulary)
    text = narrative([f"Read from the note by {reading.program}."])
    resource = context.head(
        "Provenance", uuid, "reflex-provenance", text, own_tag(context.base, "Provenance", uuid)
    )
    resource["target"] = targets
    resource["recorded"] = recorded
    resource["activity"] = {"coding": [coding(_OPERATION, "CREATE", "create")]}
    resource["agent"] = [
        {"type": {"coding": [coding(_PARTICIPANT, "assembler", "Assembler")]}, "who": context.device()}
    ]
    resource["entity"] = [{"role": "source", "what": context.document()}]
    return resource
