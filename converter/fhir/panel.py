"""One exam as a panel: an Observation without a value whose members are the exam's findings."""

from typing import Any

from converter.fhir.context import Context
from converter.fhir.identity import literal
from converter.fhir.narrative import narrative
from converter.fhir.observation import panel_category
from converter.fhir.terms import known_term


def panel_observation(exam: int, members: list[str], context: Context) -> dict[str, Any]:
    """The panel of one exam.

    Args:
        exam: number of the exam within its note.
        members: UUIDs of the Observations of its findings, in order of place.
        context: the note.
    """
    uuid = context.uuid("panel", exam)
    text = narrative([f"Reflex examination with {len(members)} findings."])
    resource = context.head("Observation", uuid, "reflex-exam", text)
    resource["identifier"] = context.identifiers("Observation", uuid)
    resource["status"] = context.options.status
    resource["category"] = panel_category(context.base)
    resource["code"] = known_term(context.base, "exam", "reflex-examination")
    resource |= context.about()
    if context.performer is not None:
        resource["performer"] = [context.performer]
    resource["hasMember"] = [literal("Observation", member) for member in members]
    resource["derivedFrom"] = [context.document()]
    return resource
