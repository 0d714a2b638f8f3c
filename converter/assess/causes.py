"""Kinds of cause that are considered for a pattern: reference text, never about a patient.

Takes an Assessment, for which patterns to show, and its note, for the date of the exam; gives text alone.
Nothing here is a code, an alert or a record: it never enters a FHIR resource, the archive or an export.
"""

from converter.assess.plain import printable
from converter.model import Assessment, Note
from converter.words.anatomy import Causes, shipped_knowledge

_HEADING = "general reference, not about this patient"
_NO_PATTERN = "No pattern of this exam has reference text."


def causes_text(assessment: Assessment, note: Note) -> str:
    """Reference text for the patterns of one exam, headed with the exam's date."""
    found = {abnormality.code for abnormality in assessment.abnormalities}
    shown = [causes for causes in shipped_knowledge().causes if found.intersection(causes.shown)]
    when = note.authored[:10] if note.authored else "date not known"
    lines = [f"Exam of {printable(when)}: {_HEADING}"]
    lines += [line for causes in shown for line in _lines(causes)] or [_NO_PATTERN]
    return "\n".join([*lines, assessment.caution])


def _lines(causes: Causes) -> list[str]:
    kinds = [
        f"  - {kind.text}" + (f" (treated as urgent in {kind.urgent})" if kind.urgent else "")
        for kind in causes.kinds
    ]
    return [f"{causes.title} ({causes.source}):", *kinds]
