"""Builds findings, readings and notes by hand, so that these tests do not depend on the reader.

The level of a grade comes from the scale's own table, that of a word from the word's, as the reader takes it.
"""

import hashlib
from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from converter.assess import AssessOptions, assess_reading
from converter.model import Abnormality, Assessment, Exam, Finding, Note, Reading
from converter.words import shipped_vocabulary

VOCABULARY = shipped_vocabulary()

_PLUS = {"trailing": "{}+", "leading": "+{}", "none": "{}"}


def finding(
    site: str,
    side: str,
    grade: float | tuple[float, float] | None = None,
    word: str | None = None,
    *,
    plus: str = "none",
    scale: str = "bedside",
    **more: Any,
) -> Finding:
    """One finding, with its level from the tables; its words are `site side value`."""
    low, high = grade if isinstance(grade, tuple) else (grade, grade)
    fields: dict[str, Any] = {"exam": 1, "kind": VOCABULARY.reflexes[site].kind}
    if low is not None and high is not None:
        written = f"{low:g}" if low == high else f"{low:g}-{high:g}"
        fields |= {
            "grade_low": low,
            "grade_high": high,
            "grade_basis": "number",
            "plus": plus,
            "scale": scale,
            "scale_basis": "site_default",
            "level": VOCABULARY.scales[scale].level(low, high),
            "as_written": _PLUS[plus].format(written),
        }
    elif word is not None:
        fields |= {
            "grade_basis": "word",
            "descriptor": word,
            "level": VOCABULARY.descriptors[word].level,
            "as_written": word,
        }
    fields |= more
    value = fields.get("as_written") or fields.get("response") or fields.get("comparison") or ""
    words = f"{site} {side} {value}".strip()
    return Finding(finding="", site=site, side=side, start=0, end=len(words), quote=words, **fields)


def note(**more: Any) -> Note:
    """An invented note; its text is of no matter here."""
    fields: dict[str, Any] = {"id": "n-1", "patient": "p-1", "author": "ex-1", "authored": "2024-03-02"}
    fields |= more
    text = fields.pop("text", f"reflexes of {fields['id']}")
    return Note(text=text, hash=hashlib.sha256(text.encode()).hexdigest(), **fields)


def reading(findings: Iterable[Finding], of: Note | None = None, exam_status: str = "current") -> Reading:
    """A reading of findings placed one after the other; identifiers name site, side and place."""
    about = of or note()
    placed, start = [], 0
    for each in findings:
        end = start + len(each.quote)
        placed.append(replace(each, finding=f"{each.site}-{each.side}-{start}", start=start, end=end))
        start = end + 2
    exams = sorted({each.exam for each in placed}) or [1]
    return Reading(
        id=about.id,
        system=about.system,
        note_hash=about.hash,
        schema="plexor-record-1",
        program="plexor test",
        vocabulary=VOCABULARY.fingerprint,
        exams=tuple(Exam(exam=number, status=exam_status, start=0, end=start) for number in exams),
        findings=tuple(placed),
    )


def assess(*findings: Finding, of: Note | None = None, options: AssessOptions | None = None) -> Assessment:
    """The assessment of one exam."""
    about = of or note()
    return assess_reading(reading(findings, about), about, VOCABULARY, options)[0]


def both(
    site: str, grade: float | tuple[float, float] | None = None, word: str | None = None, **more: Any
) -> Finding:
    """A finding of both sides."""
    return finding(site, "both", grade, word, **more)


def codes(assessment: Assessment) -> set[str]:
    """The codes of the abnormalities."""
    return {abnormality.code for abnormality in assessment.abnormalities}


def with_code(assessment: Assessment, code: str) -> list[Abnormality]:
    """The abnormalities of one code."""
    return [abnormality for abnormality in assessment.abnormalities if abnormality.code == code]


def diagnostics(assessment: Assessment) -> set[str]:
    """The codes of the diagnostics."""
    return {diagnostic.code for diagnostic in assessment.diagnostics}
