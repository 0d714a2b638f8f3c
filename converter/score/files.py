"""Reads labelled notes and predictions from JSON lines.

A label file holds one object a line with `id`, `text` or `passage`, and `findings`; a prediction file
`id` and `findings`, as `plexor read --format jsonl` writes them. Gives values by id, and a diagnostic for
each line that cannot be used.
"""

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from converter.model import Diagnostic, Severity

Findings = tuple[Mapping[str, Any], ...]


@dataclass(frozen=True, slots=True)
class Labelled:
    """A note with the findings that a person labelled.

    Attributes:
        id: the note.
        findings: the labels.
        text: the note, or None where the file holds labels alone.
    """

    id: str
    findings: Findings
    text: str | None


@dataclass(frozen=True, slots=True)
class Predicted:
    """The findings that were predicted for a note."""

    id: str
    findings: Findings


def read_gold(file: Path) -> tuple[dict[str, Labelled], tuple[Diagnostic, ...]]:
    """The labelled notes of a file by id, and what is wrong with its lines.

    Raises:
        OSError: the file cannot be read.
    """
    troubles: list[Diagnostic] = []
    gold = {
        name: Labelled(name, tuple(row["findings"]), _text(row))
        for name, row in _rows(file, troubles).items()
    }
    return gold, tuple(troubles)


def read_predictions(file: Path) -> tuple[dict[str, Predicted], tuple[Diagnostic, ...]]:
    """The predictions of a file by id, and what is wrong with its lines.

    Raises:
        OSError: the file cannot be read.
    """
    troubles: list[Diagnostic] = []
    predicted = {name: Predicted(name, tuple(row["findings"])) for name, row in _rows(file, troubles).items()}
    return predicted, tuple(troubles)


def holds_findings(file: Path) -> bool:
    """Whether a file is one of predictions: its first line is an object with `findings`."""
    try:
        with file.open("rb") as lines:
            first = json.loads(next((line for line in lines if line.strip()), b"null"))
    except (OSError, ValueError):
        return False
    return isinstance(first, dict) and "findings" in first


def _text(row: Mapping[str, Any]) -> str | None:
    text = row.get("text", row.get("passage"))
    return text if isinstance(text, str) else None


def _rows(file: Path, troubles: list[Diagnostic]) -> dict[str, Mapping[str, Any]]:
    rows: dict[str, Mapping[str, Any]] = {}
    for number, line in _lines(file):
        row = _row(line)
        if isinstance(row, str):
            troubles.append(_trouble(file, number, "label-line", row))
        elif str(row["id"]) in rows:
            troubles.append(
                _trouble(file, number, "repeated-id", f"There is a line with the id {row['id']} already.")
            )
        else:
            rows[str(row["id"])] = row
    return rows


def _lines(file: Path) -> Iterator[tuple[int, bytes]]:
    with file.open("rb") as lines:
        for number, line in enumerate(lines, start=1):
            if line.strip():
                yield number, line


def _row(line: bytes) -> Mapping[str, Any] | str:
    """The object of a line, or a sentence that says why it is none."""
    try:
        row = json.loads(line.decode("utf-8-sig"))
    except ValueError:
        return "The line is no JSON in UTF-8."
    if not isinstance(row, dict) or not isinstance(row.get("id"), str | int):
        return "The line has no id."
    findings = row.get("findings")
    if not isinstance(findings, list) or not all(isinstance(one, dict) for one in findings):
        return "The line has no list of findings."
    return _unfit(findings) or row


def _unfit(findings: Iterable[Mapping[str, Any]]) -> str | None:
    """What keeps a finding from being compared, or None."""
    for one in findings:
        if not isinstance(one.get("site"), str):
            return "A finding has no site."
        for name in ("grade_low", "grade_high"):
            if not isinstance(one.get(name), int | float | None):
                return f"A finding has a {name} that is no number."
    return None


def _trouble(file: Path, line: int, code: str, sentence: str) -> Diagnostic:
    return Diagnostic(
        code=code, severity=Severity.ERROR, message=f"{sentence} It is left out.", source=str(file), line=line
    )
