"""One exam as a DiagnosticReport, for receivers that look for one; nobody is named as its interpreter."""

from typing import Any

from converter.fhir.context import Context
from converter.fhir.identity import literal
from converter.fhir.narrative import escaped, titled_narrative
from converter.fhir.summary import ExamParts, summary_sections
from converter.fhir.terms import known_term
from converter.fhir.text import fhir_string
from converter.model import Assessment


def diagnostic_report(parts: ExamParts, assessment: Assessment, context: Context) -> dict[str, Any]:
    """The DiagnosticReport of one exam: the panel and the abnormalities as its results."""
    uuid = context.uuid("report", parts.exam)
    sections = summary_sections(parts, assessment, context)
    text = titled_narrative((section.title, escaped(section.sentences)) for section in sections)
    resource = context.head("DiagnosticReport", uuid, "reflex-report", text)
    resource["identifier"] = context.identifiers("DiagnosticReport", uuid)
    resource["status"] = "preliminary"
    resource["code"] = known_term(context.base, "exam", "abnormality-summary")
    resource |= context.about()
    results = [context.uuid("panel", parts.exam), *parts.abnormalities.values()]
    resource["result"] = [literal("Observation", result) for result in results]
    conclusion = " ".join(found.sentence for found in assessment.abnormalities)
    resource["conclusion"] = fhir_string(f"{conclusion} {assessment.caution}".strip()) or "No conclusion."
    return resource
