"""Compares the findings of a note with the rows of a readable case.

Takes the rows of a Case and the findings that were read; gives the differences as lines to print.
What the cells mean is described in `fixtures/cases/README.md`.
"""

import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from converter.model import Finding, Unread

SIDES = ("left", "right")
ALWAYS = {"status": "current", "certainty": "stated", "which": ""}

_NO_VALUE: dict[str, Any] = {
    "grade_low": None,
    "grade_high": None,
    "plus": "none",
    "denominator": None,
    "descriptor": None,
    "response": None,
    "beats": None,
    "sustained": None,
}
_NUMBER = r"-?\d+(?:\.\d+)?|trace"
_GRADE = re.compile(rf"^(\+?)({_NUMBER})(?:-({_NUMBER}))?(\+?)(?:/(\d+))?$")
_PLUSES = re.compile(r"^(\++)(?: to (\++))?$")
_BEATS = re.compile(r"^(\d+(?:-\d+)?) beats?$")
_TRACE_IN_A_RANGE = 0.5


def fields_of_value(value: str, site: str) -> dict[str, Any]:
    """The fields that a value cell asks for; a field that is not among them is not checked."""
    if value == "none":
        return _NO_VALUE
    if value.startswith("off scale: "):
        coded = {name: None for name in _NO_VALUE if name not in ("plus", "denominator")}
        return coded | {"as_written": value.removeprefix("off scale: ")}
    if value.startswith("not tested"):
        reason = value.partition(": ")[2]
        return _NO_VALUE | {"status": "not_tested"} | ({"reason": reason} if reason else {})
    if match := _PLUSES.match(value):
        low, high = match[1], match[2] or match[1]
        counted = {"grade_low": float(len(low)), "grade_high": float(len(high)), "scale": "plus-count"}
        return {name: wanted for name, wanted in (_NO_VALUE | counted).items() if name != "plus"}
    if match := _GRADE.match(value):
        return _grade(match)
    if site == "plantar":
        return _NO_VALUE | {"response": value}
    if "clonus" in site:
        return _clonus(value)
    return _NO_VALUE | {"descriptor": value}


def _grade(match: re.Match[str]) -> dict[str, Any]:
    leading, low, high, trailing, denominator = match.groups()
    if low == "trace" and high is None:
        return _NO_VALUE | {"descriptor": "trace"}
    return _NO_VALUE | {
        "grade_low": _number(low),
        "grade_high": _number(high or low),
        "plus": "leading" if leading else "trailing" if trailing else "none",
        "denominator": int(denominator) if denominator else None,
    }


def _number(text: str) -> float:
    return _TRACE_IN_A_RANGE if text == "trace" else float(text)


def _clonus(value: str) -> dict[str, Any]:
    wanted = _NO_VALUE | {"descriptor": "absent" if value == "absent" else "present"}
    for part in value.split(", "):
        if match := _BEATS.match(part):
            wanted["beats"] = match[1]
        elif part in ("sustained", "unsustained"):
            wanted["sustained"] = part == "sustained"
    return wanted


def fits(row: Mapping[str, str], finding: Finding, note: str) -> bool:
    """Whether a finding is what a row asks for."""
    value_fits = any(_has(finding, fields_of_value(form, row["site"])) for form in row["value"].split(" or "))
    return value_fits and all(
        _cell_fits(column, cell, finding, note) for column, cell in _cells_to_check(row).items()
    )


def _cells_to_check(row: Mapping[str, str]) -> dict[str, str]:
    always = ALWAYS | ({"status": "not_tested"} if row["value"].startswith("not tested") else {})
    return always | {
        column: cell or always.get(column, "") for column, cell in row.items() if column != "value"
    }


def _has(finding: Finding, wanted: Mapping[str, Any]) -> bool:
    return all(getattr(finding, name) == value for name, value in wanted.items())


def _cell_fits(column: str, cell: str, finding: Finding, note: str) -> bool:
    if cell == "any":
        return True
    if column == "words":
        return all(words in _words_of(finding, note) for words in cell.split("; ") if words)
    return plain(getattr(finding, column)) in cell.split(" or ")


def _words_of(finding: Finding, note: str) -> set[str]:
    return {finding.quote} | {note[span.start : span.end] for span in finding.spans}


def plain(value: object) -> str:
    """A field's value as a cell writes it."""
    if value is None or value is False:
        return ""
    if value is True:
        return "yes"
    return f"{value:g}" if isinstance(value, float) else str(value)


def pair_up(
    rows: Sequence[Mapping[str, str]], findings: Sequence[Finding], note: str
) -> tuple[list[int | None], list[int]]:
    """For each row the index of its finding or None, as many pairs as there can be; and the findings left."""
    row_of: dict[int, int] = {}

    def place(row: int, tried: set[int]) -> bool:
        for index, finding in enumerate(findings):
            if index in tried or not fits(rows[row], finding, note):
                continue
            tried.add(index)
            if index not in row_of or place(row_of[index], tried):
                row_of[index] = row
                return True
        return False

    for row in range(len(rows)):
        place(row, set())
    finding_of = {row: index for index, row in row_of.items()}
    left = [index for index in range(len(findings)) if index not in row_of]
    return [finding_of.get(row) for row in range(len(rows))], left


def differences(rows: Sequence[Mapping[str, str]], findings: Sequence[Finding], note: str) -> str:
    """Expected and got side by side, a mark at each line that has no partner; empty where all agree."""
    findings = [*_findings_by_side(findings)]
    rows = [*_by_side(rows, findings, note)]
    pairs, left = pair_up(rows, findings, note)
    if None not in pairs and not left:
        return ""
    columns = list(dict.fromkeys(column for row in rows for column in row)) or ["site", "side", "value"]
    columns += [name for name in ("status", "certainty") if name not in columns]
    lines = []
    for row, index in zip(rows, pairs, strict=True):
        got = "" if index is None else _line(columns, _as_row(findings[index], note))
        lines.append(
            (" " if got else "✗", _line(columns, _cells_to_check(row) | {"value": row["value"]}), got)
        )
    lines += [("✗", "", _line(columns, _as_row(findings[index], note))) for index in left]
    width = max(len(expected) for _, expected, _ in lines)
    head = f"  {'expected':{width}} | got      ({', '.join(columns)})"
    return "\n".join([head, *(f"{mark} {expected:{width}} | {got}" for mark, expected, got in lines)])


def _by_side(
    rows: Iterable[Mapping[str, str]], findings: Sequence[Finding], note: str
) -> Iterator[Mapping[str, str]]:
    """One row for each side: whether `2/2` is one finding or two is a matter of form."""
    for row in rows:
        sides = row["side"].split(" or ")
        if "both" not in sides:
            yield row
            continue
        forms = [_rows_of_side(row, side) for side in sides]
        met = (form for form in forms if all(any(fits(part, f, note) for f in findings) for part in form))
        yield from next(met, forms[0])


def _rows_of_side(row: Mapping[str, str], side: str) -> list[Mapping[str, str]]:
    return [{**row, "side": one} for one in (SIDES if side == "both" else (side,))]


def _findings_by_side(findings: Iterable[Finding]) -> Iterator[Finding]:
    for finding in findings:
        if finding.side == "both":
            yield from (replace(finding, side=side) for side in SIDES)
        else:
            yield finding


def _line(columns: Sequence[str], row: Mapping[str, str]) -> str:
    return "  ".join(row.get(column, "") or "-" for column in columns)


def _as_row(finding: Finding, note: str) -> dict[str, str]:
    names: dict[str, Callable[[], str]] = {
        "value": lambda: shown_value(finding),
        "words": lambda: "; ".join(note[span.start : span.end] for span in finding.spans),
    }
    fields = {name: plain(getattr(finding, name)) for name in finding.__slots__ if name not in ("spans",)}
    return fields | {name: show() for name, show in names.items()}


def shown_value(finding: Finding) -> str:
    """A finding's value in the form that a cell has."""
    parts = [_shown_grade(finding), finding.descriptor, finding.response]
    parts += [f"{finding.beats} beats" if finding.beats else None]
    parts += [{True: "sustained", False: "unsustained", None: None}[finding.sustained]]
    parts += [f"not tested: {finding.reason}" if finding.status == "not_tested" else None]
    return ", ".join(part for part in parts if part) or f"none (written {finding.as_written})"


def _shown_grade(finding: Finding) -> str | None:
    if finding.grade_low is None or finding.grade_high is None:
        return None
    same = finding.grade_low == finding.grade_high
    grade = f"{finding.grade_low:g}" if same else f"{finding.grade_low:g}-{finding.grade_high:g}"
    before, after = ("+" if finding.plus == side else "" for side in ("leading", "trailing"))
    maximum = f"/{finding.denominator}" if finding.denominator is not None else ""
    scale = " (plus-count)" if finding.scale == "plus-count" else ""
    return f"{before}{grade}{after}{maximum}{scale}"


def unread_differences(wanted: Sequence[str], unread: Sequence[Unread], note: str) -> str:
    """What stands in `unread` and should not, and what should and does not; empty where all agree."""
    if "any" in wanted:
        return ""
    places = [(note.find(words), note.find(words) + len(words), words) for words in wanted]
    met = {
        (words, item)
        for start, end, words in places
        for item in unread
        if item.start < end and start < item.end
    }
    missing = [words for _, _, words in places if words not in {words for words, _ in met}]
    extra = [item for item in unread if item not in {item for _, item in met}]
    lines = [f"✗ not listed as unread: {words!r}" for words in missing]
    return "\n".join(lines + [f"✗ listed as unread: {item.text!r} ({item.why})" for item in extra])
