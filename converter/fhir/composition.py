"""The abnormality summary of one exam as a Composition, written by the program and preliminary."""

from typing import Any

from converter.fhir.context import Context
from converter.fhir.identity import literal, own_identifier, own_tag
from converter.fhir.narrative import escaped, escaped_narrative, titled_narrative
from converter.fhir.summary import ExamParts, Section, summary_sections
from converter.fhir.terms import known_term
from converter.model import Assessment

_ABSENT = "http://hl7.org/fhir/StructureDefinition/data-absent-reason"


def summary_composition(parts: ExamParts, assessment: Assessment, context: Context) -> dict[str, Any]:
    """The Composition of one exam's summary.

    Its date is the time of the reading; where that is not given, the element says that it is unknown.
    """
    uuid = context.uuid("summary", parts.exam)
    sections = summary_sections(parts, assessment, context)
    said = [escaped(section.sentences) for section in sections]
    text = titled_narrative((section.title, own) for section, own in zip(sections, said, strict=True))
    tag = own_tag(context.base, "Composition", uuid)
    resource = context.head("Composition", uuid, "reflex-summary", text, tag)
    resource["identifier"] = own_identifier(context.base, "Composition", uuid)
    resource["status"] = "preliminary"
    resource["type"] = known_term(context.base, "exam", "abnormality-summary")
    shared = {"subject": context.subject, "encounter": context.encounter}
    resource |= {name: value for name, value in shared.items() if value is not None}
    resource |= _date(context.options.recorded)
    resource["author"] = [context.device()]
    resource["title"] = "Summary of abnormal reflex findings"
    if context.effective is not None:
        resource["event"] = [{"period": {"start": context.effective, "end": context.effective}}]
    resource["section"] = [
        _section(section, own, context.base) for section, own in zip(sections, said, strict=True)
    ]
    return resource


def _date(recorded: str | None) -> dict[str, Any]:
    if recorded is not None:
        return {"date": recorded}
    return {"_date": {"extension": [{"url": _ABSENT, "valueCode": "unknown"}]}}


def _section(section: Section, said: list[str], base: str) -> dict[str, Any]:
    result: dict[str, Any] = {
        "title": section.title,
        "code": known_term(base, "exam", section.code),
        "text": escaped_narrative(said),
    }
    if section.entries:
        result["entry"] = [literal("Observation", uuid) for uuid in section.entries]
    return result
