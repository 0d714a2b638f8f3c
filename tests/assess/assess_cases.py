"""Reads the readable cases of `fixtures/cases/assess/`; the README beside them says how they are written."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from assess_findings import finding, note, reading

from converter.model import Finding, Note, Reading

CASES = Path(__file__).parents[2] / "fixtures" / "cases" / "assess"

_GRADE = re.compile(r"(?P<lead>\+?)(?P<low>-?\d(?:\.5)?)(?:\s*to\s*(?P<high>-?\d(?:\.5)?))?(?P<trail>\+?)")
_RESPONSES = frozenset({"flexor", "extensor", "not_extensor", "equivocal", "withdrawal", "mute"})
_BEATS = re.compile(r"(?P<beats>\d+(?:-\d+)?) beats")


@dataclass(frozen=True)
class Case:
    """One readable case.

    Attributes:
        name: its heading.
        place: `file:line`.
        text: the invented note.
        rows: the findings as a table.
        lines: the `Key: value` lines after and before it.
    """

    name: str
    place: str
    text: str
    rows: tuple[dict[str, str], ...]
    lines: dict[str, str]

    def listed(self, key: str) -> list[str]:
        """The parts of a line, parted by commas; empty where it says none or is not there."""
        value = self.lines.get(key, "none")
        return [] if value == "none" else [part.strip() for part in value.split(",")]

    def note(self) -> Note:
        """The invented note."""
        age = self.lines.get("Age")
        return note(id=self.name, text=self.text, age=int(age) if age else None)

    def reading(self) -> Reading:
        """The reading that the table stands for."""
        return reading([_finding(row) for row in self.rows], self.note())


def cases_in(folder: Path = CASES) -> list[Case]:
    """Every case of every file."""
    return [case for file in sorted(folder.glob("*.md")) if file.name != "README.md" for case in _cases(file)]


def _cases(file: Path) -> Iterator[Case]:
    text = file.read_text(encoding="utf-8")
    for part in re.split(r"^## ", text, flags=re.MULTILINE)[1:]:
        name, _, body = part.partition("\n")
        line = text[: text.index(f"## {name}")].count("\n") + 1
        fenced = re.search(r"^```\n(.*?)\n```$", body, flags=re.MULTILINE | re.DOTALL)
        assert fenced is not None, f"{file.name}:{line}: no note"
        yield Case(
            name=name.strip(),
            place=f"{file.name}:{line}",
            text=fenced[1],
            rows=tuple(_rows(body)),
            lines=dict(
                re.findall(r"^([A-Z][a-z ]+): (.+)$", body.replace(fenced[0], ""), flags=re.MULTILINE)
            ),
        )


def _rows(body: str) -> Iterator[dict[str, str]]:
    lines = [line for line in body.splitlines() if line.startswith("|")]
    cells = [[cell.strip() for cell in line.strip("|").split("|")] for line in lines]
    for row in cells[2:]:
        yield {name: cell for name, cell in zip(cells[0], row, strict=True) if cell}


def _finding(row: dict[str, str]) -> Finding:
    fields: dict[str, Any] = dict(row)
    site, side, value = fields.pop("site"), fields.pop("side"), fields.pop("value", "")
    if fields.get("negated"):
        fields["negated"] = True
    if value in _RESPONSES:
        return finding(site, side, response=value, as_written=value, **fields)
    if value.endswith("clonus"):
        return finding(site, side, None, "present", level="clonus", **fields)
    if value == "sustained":
        return finding(site, side, None, "present", level="clonus", sustained=True, **fields)
    if beats := _BEATS.fullmatch(value):
        return finding(site, side, None, "present", level="clonus", beats=beats["beats"], **fields)
    if grade := _GRADE.fullmatch(value):
        low, high = float(grade["low"]), float(grade["high"] or grade["low"])
        plus = "trailing" if grade["trail"] else "leading" if grade["lead"] else "none"
        return finding(site, side, (low, high), plus=plus, **fields)
    return finding(site, side, None, value or None, **fields)
