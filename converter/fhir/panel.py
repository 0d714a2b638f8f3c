"""One exam as a panel: an Observation without a value whose members are the exam's findings."""

from collections.abc import Sequence
from typing import Any

from converter.fhir.context import Context
from converter.fhir.identity import literal
from converter.fhir.narrative import narrative
from converter.fhir.observation import panel_category, status_of
from converter.fhir.terms import known_term
from converter.model import Finding


def panel_observation(exam: int, findings: Sequence[tuple[Finding, str]], context: Context) -> dict[str, Any]:
    """The panel of one exam.

    Args:
        exam: number of the exam within its note.
        findings: its findings in order of place, each with the UUID of its Observation.
        context: the note.
    """
    uuid = context.uuid("panel", exam)
    text = narrative([f"Reflex examination with {len(findings)} findings."])
    resource = context.head("Observation", uuid, "reflex-exam", text)
    resource["identifier"] = context.identifiers("Observation", uuid)
    resource["status"] = status_of((finding for finding, _ in findings), context)
    resource["category"] = panel_category(context.base)
    resource["code"] = known_term(context.base, "exam", "reflex-examination")
    resource |= context.about()
    if context.performer is not None:
        resource["performer"] = [context.performer]
    resource["hasMember"] = [literal("Observation", member) for _, member in findings]
    resource["derivedFrom"] = [context.document()]
    return resource
