"""A patient's course as a small grid: reflex by side down, visits across, then what changed.

Takes a Course; gives text or a plain record. Values are shown in their shortest form.
"""

from collections.abc import Iterator, Sequence
from dataclasses import asdict
from typing import Any

from converter.assess.plain import printable
from converter.model.course import Change, Course, Visit
from converter.model.record import diagnostic_to_record, plain_number

_EMPTY = "."
_WIDTH = 14
_ACROSS = 8
"""Longest value that is shown whole, and how many visits stand side by side."""

_WIDTH_OF = {
    "generalised-change": 2,
    "reversal-over-time": 1,
    "change-over-time": 0,
    "new-side-difference": 3,
}
"""The wider change says more; a new side difference is never a repeat."""


def course_grid(course: Course, *, why: bool = False) -> str:
    """The grid, the changes in order of time, and the cautions.

    Args:
        course: the course of one patient.
        why: whether each change names its rule, source and findings.
    """
    lines = [f"patient {course.patient or 'not known'}: {_exams(len(course.visits))}"]
    if course.visits:
        lines += _table(course)
    changes = course.changes if why else tuple(_without_repeats(course.changes))
    lines += ["Changes"] + [f"  {line}" for change in changes for line in _change(course, change, why=why)]
    if not course.changes:
        several = len(course.visits) > 1
        none = "none found between exams that document the same reflex" if several else "no second exam"
        lines.append(f"  {none}")
    lines += [f"  {doubt.message}. {doubt.hint or ''}".rstrip() for doubt in course.diagnostics]
    lines.append(course.caution)
    return "\n".join(printable(line) for line in lines)


def course_record(course: Course) -> dict[str, Any]:
    """The course as a plain dict, ready for JSON."""
    return {
        "patient": course.patient,
        "visits": [asdict(visit) | {"scales": list(visit.scales)} for visit in course.visits],
        "rows": [
            {
                "site": row.site,
                "side": row.side,
                "cells": [None if cell is None else _cell(asdict(cell)) for cell in row.cells],
            }
            for row in course.rows
        ],
        "changes": [_change_record(change) for change in course.changes],
        "diagnostics": [diagnostic_to_record(diagnostic) for diagnostic in course.diagnostics],
        "caution": course.caution,
    }


def _cell(cell: dict[str, Any]) -> dict[str, Any]:
    numbers = {name: plain_number(cell[name]) for name in ("grade_low", "grade_high")}
    return cell | numbers | {"rests_on": list(cell["rests_on"])}


def _change_record(change: Change) -> dict[str, Any]:
    return asdict(change) | {
        "sites": list(change.sites),
        "size": plain_number(change.size),
        "rests_on": [list(pair) for pair in change.rests_on],
    }


def _without_repeats(changes: Sequence[Change]) -> Iterator[Change]:
    """Leave out what a wider change, or the reversal of the same reflex, says already."""
    for change in changes:
        wider = [
            other
            for other in changes
            if _WIDTH_OF[other.code] > _WIDTH_OF[change.code]
            and (other.before, other.after, other.direction)
            == (change.before, change.after, change.direction)
            and set(change.sites) <= set(other.sites)
            and other.side in (change.side, "both")
        ]
        if not wider:
            yield change


def _table(course: Course) -> list[str]:
    heads = [_time(visit) for visit in course.visits]
    examiners = [visit.author or _EMPTY for visit in course.visits]
    rows = [
        (f"{_site(row.site)} {row.side}", [cell.short if cell else _EMPTY for cell in row.cells])
        for row in course.rows
    ]
    left = max(len(name) for name, _ in (*rows, ("examiner", [])))
    table = [("", heads), ("examiner", examiners), *rows]
    widths = [min(_WIDTH, max(len(texts[n]) for _, texts in table)) for n in range(len(heads))]
    blocks = [slice(first, first + _ACROSS) for first in range(0, len(heads), _ACROSS)]
    return [
        f"  {name:<{left}}  {_cells(texts[block], widths[block])}".rstrip()
        for block in blocks
        for name, texts in table
    ]


def _cells(texts: Sequence[str], widths: Sequence[int]) -> str:
    return "  ".join(f"{_short(text):<{width}}" for text, width in zip(texts, widths, strict=True))


def _site(site: str) -> str:
    return "place not stated" if site == "unspecified" else site.replace("_", " ")


def _exams(number: int) -> str:
    return "1 exam" if number == 1 else f"{number} exams"


def _short(text: str) -> str:
    return text if len(text) <= _WIDTH else f"{text[: _WIDTH - 1]}…"


def _time(visit: Visit) -> str:
    return visit.authored[:10] if visit.authored else "no time"


def _change(course: Course, change: Change, *, why: bool) -> list[str]:
    times = f"{_time(course.visits[change.before])} to {_time(course.visits[change.after])}"
    doubt = " (uncertain)" if change.certainty == "uncertain" else ""
    lines = [f"{times}: {change.sentence}{doubt}"]
    if why:
        rests_on = ", ".join(f"{note}#{finding}" for note, finding in change.rests_on)
        lines.append(
            f"  why: {change.code}, rule {change.rule}; source: {change.source}; rests on {rests_on}"
        )
    return lines
