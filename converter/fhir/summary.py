"""The abnormality summary of one exam in plain sentences, shared by Composition and DiagnosticReport.

Takes the exam's findings and its Assessment; gives titled sections with the sentences and the references of
each. Reference text about causes never comes here.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from converter.fhir.context import Context
from converter.fhir.place import reflex_words
from converter.fhir.sentences import Said
from converter.fhir.text import plain_words
from converter.model import Assessment, Finding, NotExamined


@dataclass(frozen=True, slots=True, kw_only=True)
class ExamParts:
    """One exam on its way to FHIR.

    Attributes:
        exam: its number.
        findings: its findings, with the UUIDs of their Observations.
        said: the UUID of a finding's Observation -> what the finding says.
        assessment: what the rules made of it, or None.
        abnormalities: identifier of an abnormality -> UUID of its Observation.
    """

    exam: int
    findings: tuple[tuple[Finding, str], ...]
    said: Mapping[str, Said]
    assessment: Assessment | None
    abnormalities: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Section:
    """One part of a summary: its code and title, what it says, and the Observations it lists."""

    code: str
    title: str
    sentences: tuple[str, ...]
    entries: tuple[str, ...]


def summary_sections(parts: ExamParts, assessment: Assessment, context: Context) -> tuple[Section, ...]:
    """Findings, abnormalities, what was not examined, and the caution every summary carries."""
    by_name = {finding.finding: uuid for finding, uuid in parts.findings}
    tested = [(finding, uuid) for finding, uuid in parts.findings if finding.status != "not_tested"]
    silent = assessment.not_examined
    doubts = tuple(diagnostic.message for diagnostic in assessment.diagnostics)
    named = tuple(by_name[gap.finding] for gap in silent if gap.finding in by_name)
    return (
        Section(
            "findings",
            "Findings",
            tuple(parts.said[uuid].sentence for _, uuid in tested) or ("No reflex was tested.",),
            tuple(uuid for _, uuid in tested),
        ),
        Section(
            "abnormalities",
            "Abnormalities",
            tuple(found.sentence for found in assessment.abnormalities) or ("No rule found an abnormality.",),
            tuple(parts.abnormalities[found.abnormality] for found in assessment.abnormalities),
        ),
        Section(
            "not-examined",
            "Not examined",
            _gap_lines(silent, context) or ("Nothing that the rules look for is missing.",),
            tuple(dict.fromkeys(named)),
        ),
        Section("caution", "Caution", (assessment.caution, *doubts), ()),
    )


def _gap_lines(gaps: Sequence[NotExamined], context: Context) -> tuple[str, ...]:
    words = context.vocabulary
    return tuple(f"{reflex_words(gap.site, gap.side, words)}: {plain_words(gap.reason)}" for gap in gaps)
