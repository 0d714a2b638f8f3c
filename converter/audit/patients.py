"""A page for one patient: the course of each reflex, and each visit with its drawing and its marked note.

Takes the course and the visits with drawings made elsewhere; gives HTML and a safe file name. Whatever a note
holds is shown as text, never as markup.
"""

import hashlib
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from converter.audit.page import render
from converter.model import Course, Finding, Note, Reading
from converter.words import Vocabulary

_UNSAFE = re.compile(r"[^A-Za-z0-9_-]+")


@dataclass(frozen=True, slots=True, kw_only=True)
class PatientVisit:
    """A note of a patient.

    Attributes:
        note: the note; its text is empty where the archive holds none.
        reading: what was read from it.
        drawings: SVG of each exam, made by this program.
    """

    note: Note
    reading: Reading
    drawings: tuple[str, ...]


def page_name(patient: str) -> str:
    """A file name for a patient's page: safe on every system, and different for different patients."""
    plain = _UNSAFE.sub("-", patient).strip("-")[:40] or "patient"
    return f"{plain}.{hashlib.sha256(patient.encode('utf-8', 'replace')).hexdigest()[:12]}.html"


def patient_html(
    course: Course, visits: Sequence[PatientVisit], vocabulary: Vocabulary, *, made: str, program: str
) -> str:
    """The page of one patient.

    Args:
        course: the course of the patient's reflexes.
        visits: the notes in order of time.
        vocabulary: names the reflexes.
        made: when the page is made, ISO 8601.
        program: name and version of the program.
    """
    return render(
        "patient.html.jinja",
        course=course,
        made=made,
        program=program,
        rows=[
            {"label": vocabulary.reflexes[row.site].label, "side": row.side, "cells": row.cells}
            for row in course.rows
        ],
        visits=[_visit(one, vocabulary) for one in visits],
    )


def _visit(one: PatientVisit, vocabulary: Vocabulary) -> dict[str, Any]:
    findings = sorted(one.reading.findings, key=lambda finding: (finding.start, finding.end))
    return {
        "note": one.note,
        "drawings": [_drawing(svg) for svg in one.drawings],
        "findings": [_finding(finding, vocabulary) for finding in findings],
        "pieces": list(_pieces(one.note.text, findings)),
        "unread": [piece.text for piece in one.reading.unread],
    }


def _drawing(svg: str) -> Any:
    """A drawing of ours, in which every text is escaped already."""
    from markupsafe import Markup

    return Markup(svg)  # noqa: S704 - made by this program


def _finding(finding: Finding, vocabulary: Vocabulary) -> dict[str, str]:
    value = finding.as_written or finding.response or finding.descriptor or finding.reason or "no value"
    side = "side not stated" if finding.side == "unspecified" else finding.side
    said = [] if finding.status == "current" else [finding.status.replace("_", " ")]
    said += [f"{finding.verdict} by a person"] if finding.verdict else []
    label = vocabulary.reflexes[finding.site].label
    return {"label": label, "side": side, "value": value, "status": ", ".join(said)}


def _pieces(text: str, findings: Sequence[Finding]) -> Iterator[dict[str, Any]]:
    """The text in pieces, each with the numbers of the findings that rest on it; a number stands once."""
    edges = {0, len(text)}
    edges |= {edge for finding in findings for span in finding.spans for edge in (span.start, span.end)}
    order = sorted(edge for edge in edges if 0 <= edge <= len(text))
    named: set[int] = set()
    for start, end in pairwise(order):
        numbers = [
            at
            for at, finding in enumerate(findings, 1)
            if any(span.start <= start and end <= span.end for span in finding.spans)
        ]
        yield {
            "text": text[start:end],
            "marked": bool(numbers),
            "new": [at for at in numbers if at not in named],
        }
        named.update(numbers)
