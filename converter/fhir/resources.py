"""The main path of this package: a note, its reading and its assessments become FHIR resources.

Historical, hypothetical and family findings are counted and left out: they are no current observations of
the patient.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from converter.fhir.abnormality import abnormality_observation
from converter.fhir.abnormality_codes import abnormality_labels
from converter.fhir.composition import summary_composition
from converter.fhir.context import Context, context_of
from converter.fhir.covered import covered_observations
from converter.fhir.device import program_device
from converter.fhir.document import document_reference
from converter.fhir.identity import literal
from converter.fhir.observation import finding_observation
from converter.fhir.options import FhirOptions
from converter.fhir.panel import panel_observation
from converter.fhir.provenance import amendment_provenance, exam_provenance
from converter.fhir.release_five import as_r5
from converter.fhir.report import diagnostic_report
from converter.fhir.sentences import said_of
from converter.fhir.summary import ExamParts
from converter.model import Assessment, Diagnostic, Finding, Note, Reading, Severity
from converter.words import Vocabulary

SENT = frozenset({"current", "not_tested"})
"""Status of the findings that become Observations."""


def resources_of(
    note: Note,
    reading: Reading,
    assessments: Iterable[Assessment],
    vocabulary: Vocabulary,
    options: FhirOptions,
) -> tuple[list[dict[str, Any]], tuple[Diagnostic, ...]]:
    """The FHIR resources of one note, referring to each other by literal ids.

    Args:
        note: where the findings come from.
        reading: what the reader made of it.
        assessments: what the rules made of its exams.
        vocabulary: the words, scales and reflexes of the reading.
        options: the site's choices.

    Returns:
        Device, DocumentReference, then for each exam its Observations, Composition and Provenance; and what
        is doubtful. A note without findings gives its DocumentReference alone.
    """
    context, doubts = context_of(note, reading, vocabulary, options)
    sent, left_out = _sent(reading)
    named, repeated = _named(sent, context)
    by_exam = {assessment.exam: assessment for assessment in assessments}
    exams = [
        _parts(number, named, by_exam.get(number), context) for number in sorted({f.exam for f, _ in named})
    ]
    bodies = [resource for parts in exams for resource in _exam_resources(parts, context)]
    program = [program_device(context)] if exams else []
    diagnostics = (*doubts, *left_out, *repeated, *_no_time(exams, note, options))
    resources = [*program, document_reference(context), *bodies]
    return [as_r5(one) for one in resources] if options.release == "R5" else resources, diagnostics


def _sent(reading: Reading) -> tuple[list[Finding], tuple[Diagnostic, ...]]:
    past = {exam.exam for exam in reading.exams if exam.status != "current"}
    kept, left_out = [], Counter[str]()
    for finding in reading.findings:
        status = "historical" if finding.exam in past else finding.status
        if status in SENT:
            kept.append(finding)
        else:
            left_out[status] += 1
    if not left_out:
        return kept, ()
    counts = ", ".join(f"{number} {status}" for status, number in sorted(left_out.items()))
    message = (
        f"Findings that are not current ones of the patient were left out of the FHIR records: {counts}."
    )
    return kept, (Diagnostic(code="left-out-of-fhir", severity=Severity.INFORMATION, message=message),)


def _named(
    findings: Sequence[Finding], context: Context
) -> tuple[list[tuple[Finding, str]], tuple[Diagnostic, ...]]:
    """Each finding with its UUID; a name that comes twice is told apart, and said."""
    seen: Counter[str] = Counter()
    named, doubts = [], []
    for finding in findings:
        seen[finding.finding] += 1
        count = seen[finding.finding]
        again = (count,) if count > 1 else ()
        named.append((finding, context.uuid("finding", finding.finding, *again)))
        if again:
            doubts.append(_twice(finding))
    return named, tuple(doubts)


def _parts(
    number: int, named: Sequence[tuple[Finding, str]], assessment: Assessment | None, context: Context
) -> ExamParts:
    found = () if assessment is None else assessment.abnormalities
    findings = tuple((finding, uuid) for finding, uuid in named if finding.exam == number)
    return ExamParts(
        exam=number,
        findings=findings,
        said={uuid: said_of(finding, finding.site, finding.side, context) for finding, uuid in findings},
        assessment=assessment,
        abnormalities={one.abnormality: context.uuid("abnormality", one.abnormality) for one in found},
    )


def _exam_resources(parts: ExamParts, context: Context) -> list[dict[str, Any]]:
    uuids = {finding.finding: uuid for finding, uuid in parts.findings}
    resources = [
        finding_observation(finding, uuid, parts.said[uuid], context) for finding, uuid in parts.findings
    ]
    if context.options.expand:
        findings = [finding for finding, _ in parts.findings]
        resources.extend(resource for _, resource in covered_observations(findings, uuids, context))
    resources.append(panel_observation(parts.exam, parts.findings, context))
    resources.extend(_summary_resources(parts, uuids, context))
    if context.options.recorded is not None:
        targets = [literal(resource["resourceType"], resource["id"]) for resource in resources]
        resources.append(exam_provenance(parts.exam, targets, context.options.recorded, context))
    resources.extend(_amended(uuids, context))
    return resources


def _amended(uuids: Mapping[str, str], context: Context) -> list[dict[str, Any]]:
    """Who last judged each finding of an exam, and when."""
    last = {one.made_on: one for one in context.reading.amendments if one.verdict != "rejected"}
    return [amendment_provenance(last[name], uuid, context) for name, uuid in uuids.items() if name in last]


def _summary_resources(parts: ExamParts, uuids: Mapping[str, str], context: Context) -> list[dict[str, Any]]:
    assessment = parts.assessment
    if assessment is None:
        return []
    labels = abnormality_labels()
    found = {one.abnormality: one for one in assessment.abnormalities}
    resources = [
        abnormality_observation(one, parts.abnormalities[name], uuids, labels, context)
        for name, one in found.items()
    ]
    resources.append(summary_composition(parts, assessment, context))
    if context.options.diagnostic_report:
        resources.append(diagnostic_report(parts, assessment, context))
    return resources


def _twice(finding: Finding) -> Diagnostic:
    return Diagnostic(
        code="finding-named-twice",
        severity=Severity.ERROR,
        message=f"Two findings of the note carry the name {finding.finding}; both are kept apart.",
        start=finding.start,
        end=finding.end,
    )


def _no_time(exams: Sequence[ExamParts], note: Note, options: FhirOptions) -> tuple[Diagnostic, ...]:
    if not exams or options.recorded is not None:
        return ()
    return (
        Diagnostic(
            code="no-recorded-time",
            severity=Severity.INFORMATION,
            message="No time of reading was given, so the exams carry no Provenance.",
            source=note.source,
            line=note.line,
        ),
    )
