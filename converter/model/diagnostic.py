"""What is wrong or uncertain, as a value: never raised, always carried along."""

from dataclasses import dataclass
from enum import StrEnum


class Severity(StrEnum):
    """How much a diagnostic matters; the words are those of a FHIR OperationOutcome."""

    FATAL = "fatal"
    ERROR = "error"
    WARNING = "warning"
    INFORMATION = "information"


@dataclass(frozen=True, slots=True, kw_only=True)
class Diagnostic:
    """One plain sentence about one place.

    Attributes:
        code: kebab-case name of the mistake, stable across versions, e.g. `mixed-plus`.
        severity: how much it matters.
        message: one sentence in the clinician's words.
        hint: what a person can do about it, or None.
        start: first character of the place in the note (Unicode code points), or None.
        end: character after the place in the note, or None.
        source: file the trouble came from, or None.
        line: line of that file, counted from 1, or None.
        path: place in a FHIR resource, e.g. `Observation.code.coding[0]`, or None.
        expected: what a rule asked for, or None.
        rule: name of the definition or invariant that was broken, or None.
    """

    code: str
    severity: Severity
    message: str
    hint: str | None = None
    start: int | None = None
    end: int | None = None
    source: str | None = None
    line: int | None = None
    path: str | None = None
    expected: str | None = None
    rule: str | None = None
