"""Shows what a check found: as an OperationOutcome, as rows for a table, and counted by rule."""

from collections import Counter
from collections.abc import Iterable
from typing import Any

from converter.model import Diagnostic

Json = dict[str, Any]

_ISSUE_TYPES = {
    "element-unknown": "structure",
    "wrong-json-type": "structure",
    "wrong-type": "structure",
    "type-not-allowed": "structure",
    "element-order": "structure",
    "uneven-lists": "structure",
    "duplicate-key": "structure",
    "choice-twice": "structure",
    "too-many": "structure",
    "not-allowed": "structure",
    "not-json": "structure",
    "not-xml": "structure",
    "element-missing": "required",
    "slice-missing": "required",
    "code-missing": "required",
    "must-support-absent": "informational",
    "wrong-format": "value",
    "empty-value": "value",
    "fixed-value": "value",
    "pattern-value": "value",
    "below-minimum": "value",
    "above-maximum": "value",
    "too-long": "too-long",
    "code-not-in-value-set": "code-invalid",
    "code-unknown": "code-invalid",
    "code-not-checked": "not-supported",
    "invariant-not-checked": "not-supported",
    "invariant": "invariant",
    "profile-unknown": "not-found",
    "reference-unresolved": "not-found",
    "input-missing": "not-found",
    "extension-unknown": "extension",
    "extension-context": "extension",
    "extension-url": "extension",
    "extension-modifier": "extension",
    "system-relative": "value",
    "identifier-uri": "value",
    "attachment-size": "value",
    "concept-count": "value",
    "bundle-document": "structure",
    "narrative-link": "not-found",
    "value-missing": "required",
}
"""Issue type by code; `invalid` for others. Source: https://hl7.org/fhir/R4/valueset-issue-type.html."""


def operation_outcome(diagnostics: Iterable[Diagnostic]) -> Json:
    """A FHIR OperationOutcome with one issue per diagnostic; without any, one that says all is well."""
    issues = [_issue(one) for one in diagnostics]
    if not issues:
        issues = [
            {"severity": "information", "code": "informational", "diagnostics": "No faults were found."}
        ]
    return {"resourceType": "OperationOutcome", "issue": issues}


def _issue(diagnostic: Diagnostic) -> Json:
    issue: Json = {
        "severity": str(diagnostic.severity),
        "code": _ISSUE_TYPES.get(diagnostic.code, "invalid"),
        "details": {"text": diagnostic.message},
    }
    notes = [
        f"{name}: {value}"
        for name, value in (
            ("rule", diagnostic.rule),
            ("expected", diagnostic.expected),
            ("hint", diagnostic.hint),
            ("source", diagnostic.source),
            ("line", diagnostic.line),
        )
        if value is not None
    ]
    if notes:
        issue["diagnostics"] = "; ".join(notes)
    if diagnostic.path:
        issue["expression"] = [diagnostic.path]
    return issue


def summary_by_rule(diagnostics: Iterable[Diagnostic]) -> list[Json]:
    """How often each rule was broken, the most frequent first.

    Returns:
        Rows with `severity`, `code`, `rule`, `count` and, as an example, the first `path` and `message`.
    """
    counts: Counter[tuple[str, str, str]] = Counter()
    first: dict[tuple[str, str, str], Diagnostic] = {}
    for one in diagnostics:
        key = (str(one.severity), one.code, one.rule or "")
        counts[key] += 1
        first.setdefault(key, one)
    rows = sorted(counts.items(), key=lambda row: (-row[1], row[0]))
    return [
        {
            "severity": severity,
            "code": code,
            "rule": rule or None,
            "count": count,
            "path": first[severity, code, rule].path,
            "message": first[severity, code, rule].message,
        }
        for (severity, code, rule), count in rows
    ]


def table_rows(diagnostics: Iterable[Diagnostic]) -> list[tuple[str, str, str, str, str]]:
    """Rows for people: severity, place in the resource and in the note, what is wrong, what was expected."""
    return [table_row(one) for one in diagnostics]


def table_row(one: Diagnostic) -> tuple[str, str, str, str, str]:
    """One diagnostic as a row, nothing said twice: neither the place nor what a broken rule asks for."""
    hint = "" if one.hint is None else f" {one.hint}"
    in_note = "" if one.start is None else f"{one.start}-{one.end}"
    wrong, expected = without_place(one.message, one), short_name(one.expected or "")
    if one.code == "invariant":
        wrong, _, said = wrong.partition(": ")
        expected = said or expected
    return str(one.severity), one.path or "", in_note, wrong + hint, expected


def without_place(message: str, one: Diagnostic) -> str:
    """A message without the place it begins with."""
    places = (one.path, f"{one.source}, line {one.line}", one.source, f"Line {one.line}")
    for place in places:
        if place and message.startswith((f"{place}: ", f"{place} ")):
            return message[len(place) :].removeprefix(":").strip()
    return message


def short_name(text: str) -> str:
    """The last part of an address; other text as it stands."""
    is_address = text.startswith(("http://", "https://")) and " " not in text
    return text.rstrip("/").rpartition("/")[2] if is_address else text
