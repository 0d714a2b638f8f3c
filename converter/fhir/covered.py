"""The expanded view: one Observation for each reflex and side that a wider statement covers.

What was said stays as said; these are marked as derived and point to the Observation they come from.
"""

from collections.abc import Iterable, Mapping
from typing import Any

from converter.fhir.context import Context
from converter.fhir.identity import literal
from converter.fhir.observation import observed
from converter.fhir.sentences import said_of
from converter.fhir.terms import term_coding
from converter.model import Finding
from converter.words import Covered, expand


def covered_observations(
    findings: Iterable[Finding], uuids: Mapping[str, str], context: Context
) -> list[tuple[int, dict[str, Any]]]:
    """The derived Observations with the number of their exam, in the order of the findings.

    Args:
        findings: those that were made into Observations.
        uuids: finding id -> UUID of its Observation.
        context: the note.
    """
    known = [finding for finding in findings if finding.site in context.vocabulary.reflexes]
    rows = [row for row in expand(known, context.vocabulary) if _is_narrower(row, context)]
    return [(row.finding.exam, _derived(row, uuids[row.finding.finding], context)) for row in rows]


def _is_narrower(row: Covered, context: Context) -> bool:
    """Whether the row says something of one reflex that the finding said of more than that."""
    same = (row.site, row.side) == (row.finding.site, row.finding.side)
    return not same and not context.vocabulary.reflexes[row.site].covers


def _derived(row: Covered, whole: str, context: Context) -> dict[str, Any]:
    uuid = context.uuid("covered", row.finding.finding, row.site, row.side)
    return observed(
        row.finding,
        row.site,
        row.side,
        uuid,
        said_of(row.finding, row.site, row.side, context),
        context,
        derived_from=[literal("Observation", whole)],
        tag=term_coding(context.base, "record-tag", "derived"),
    )
