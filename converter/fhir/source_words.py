"""The characters of the note that a finding rests on, as an extension.

Offsets count Unicode code points of the decoded note; the end is the character after the last one.
"""

from typing import Any

from converter.fhir.options import FhirOptions
from converter.fhir.text import fhir_string, kebab
from converter.model import Finding


def source_words(finding: Finding, options: FhirOptions) -> dict[str, Any]:
    """Where a finding stands in its note, and its words unless the site keeps them back."""
    parts: list[dict[str, Any]] = []
    name = fhir_string(finding.finding)
    if name is not None:
        parts.append({"url": "finding", "valueString": name})
    parts.append({"url": "exam", "valueInteger": finding.exam})
    parts.extend(_span(span.start, span.end, span.role) for span in finding.spans)
    parts.append({"url": "start", "valueInteger": finding.start})
    parts.append({"url": "end", "valueInteger": finding.end})
    quote = fhir_string(finding.quote) if options.quotes else None
    if quote is not None:
        parts.append({"url": "quote", "valueString": quote})
    if finding.denominator is not None:
        parts.append({"url": "denominator", "valueInteger": finding.denominator})
    if finding.negated:  # "no clonus" and "clonus: 0" are both absent; only this tells them apart
        parts.append({"url": "negated", "valueBoolean": True})
    return {"url": f"{options.base}/StructureDefinition/source-words", "extension": parts}


def _span(start: int, end: int, role: str) -> dict[str, Any]:
    return {
        "url": "span",
        "extension": [
            {"url": "start", "valueInteger": start},
            {"url": "end", "valueInteger": end},
            {"url": "role", "valueCode": kebab(role)},
        ],
    }
