"""Reads the readable cases of `fixtures/cases/`; their format is described in the README there.

Takes Markdown files; gives one Case for each `##` heading. What a cell means is left to `case_rows`.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

_HEADING = re.compile(r"^## +(.+)$")
_LINE = re.compile(r"^(Unread|Debatable|Note): +(.+)$")


class CaseError(ValueError):
    """A case is not written as the README says; the message names the file and the line."""


@dataclass(frozen=True, slots=True)
class Case:
    """One readable case.

    Attributes:
        name: its heading.
        place: `file:line` of the heading.
        note: the text of the note, or None where `note_id` names a demo note.
        note_id: identifier of a demo note.
        rows: the findings expected, each from column to cell.
        unread: words that must be listed as not understood; `any` leaves it open.
        debatable: why careful people differ, or None.
    """

    name: str
    place: str
    note: str | None
    note_id: str | None
    rows: tuple[dict[str, str], ...]
    unread: tuple[str, ...]
    debatable: str | None


def cases_in(folder: Path) -> list[Case]:
    """All cases of the Markdown files of a folder, in order of file and place."""
    return [case for file in sorted(folder.glob("*.md")) for case in cases_of(file)]


def cases_of(file: Path) -> Iterator[Case]:
    """The cases of one file."""
    lines = file.read_text(encoding="utf-8").split("\n")
    fenced = list(_inside_fence(lines))
    starts = [n for n, line in enumerate(lines) if _HEADING.match(line) and not fenced[n]]
    for start, end in zip(starts, [*starts[1:], len(lines)], strict=True):
        yield _case(lines[start:end], f"{file.name}:{start + 1}")


def _inside_fence(lines: list[str]) -> Iterator[bool]:
    inside = False
    for line in lines:
        is_fence = line.startswith("```")
        yield inside or is_fence
        inside = inside != is_fence


def _case(lines: list[str], place: str) -> Case:
    fences = [number for number, line in enumerate(lines) if line.startswith("```")]
    if len(fences) not in (0, 2):
        raise CaseError(f"{place}: a case has one fenced note, this one has {len(fences)} fence lines")
    note = "\n".join(lines[fences[0] + 1 : fences[1]]) if fences else None
    rest = lines[: fences[0]] + lines[fences[1] + 1 :] if fences else lines
    marks = [match.groups() for match in map(_LINE.match, rest) if match]
    rows = tuple(_rows([line for line in rest if line.startswith("|")], place))
    says_none = "No findings." in rest
    note_id = next((text for mark, text in marks if mark == "Note"), None)
    if (note is None) == (note_id is None):
        raise CaseError(f"{place}: a case has either a fenced note or a line `Note: id`")
    if bool(rows) == says_none:
        raise CaseError(f"{place}: a case has either a table of findings or the line `No findings.`")
    return Case(
        name=lines[0].lstrip("# ").strip(),
        place=place,
        note=note,
        note_id=note_id,
        rows=rows,
        unread=tuple(text.strip() for mark, text in marks if mark == "Unread"),
        debatable=next((text for mark, text in marks if mark == "Debatable"), None),
    )


def _rows(table: list[str], place: str) -> Iterator[dict[str, str]]:
    if not table:
        return
    columns, *lines = [[cell.strip() for cell in line.strip().strip("|").split("|")] for line in table]
    if columns[:3] != ["site", "side", "value"]:
        raise CaseError(f"{place}: the first columns are site, side, value, not {columns[:3]}")
    for cells in lines[1:]:
        if len(cells) != len(columns):
            raise CaseError(f"{place}: a row has {len(cells)} cells under {len(columns)} columns: {cells}")
        yield dict(zip(columns, cells, strict=True))
