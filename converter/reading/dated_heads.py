"""Reads heads that name times: "02/03  09/03", "1 Mar 2024 | today" over a row for each reflex.

Takes a line; gives columns of which all but the latest are of earlier exams. Where the order of the dates
depends on whether the day or the month stands first, the latest cannot be told, and nothing is given.
"""

import re
from collections.abc import Callable

from converter.reading.lines import Cell, Line, cells_of
from converter.reading.table_heads import Column, Heads
from converter.reading.tokens import Token

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_NUMBERS = re.compile(r"(\d{1,2})[./-](\d{1,2})(?:[./-](\d{2}|\d{4}))?")
_ISO = re.compile(r"(\d{4})-(\d{2})-(\d{2})")
_NAMED = re.compile(rf"(\d{{1,2}})\s?({'|'.join(_MONTHS)})[a-z]*\.?(?:\s?(\d{{2}}|\d{{4}}))?", re.IGNORECASE)
_MAY_BE = re.compile(r"\d[./-]\d|\d\s?(?:" + "|".join(_MONTHS) + ")", re.IGNORECASE)
_MOST = 40

_Date = tuple[int, int, int]


def dated_heads(text: str, line: Line) -> Heads | None:
    """The columns of a line that names two times or more and nothing else but a label before them."""
    if not line.tokens or len(line.tokens) > _MOST or not _MAY_BE.search(text, line.start, line.end):
        return None
    cells = [cell for cell in cells_of(text, line) if cell.tokens]
    times = [_time(text, cell) for cell in cells]
    first = 1 if times and times[0] is None and len(times) > 2 else 0
    latest = _latest(times[first:])
    if latest is None:
        return None
    columns = [
        Column(cell.start - line.start, past=None if place == latest else _as_past(cell))
        for place, cell in enumerate(cells[first:])
    ]
    parting = "pipe" if any(token.kind == "pipe" for token in line.tokens) else ""
    return Heads(1, columns, parting=parting)


def _time(text: str, cell: Cell) -> list[_Date] | str | None:
    """The dates that a head may mean, `now`, or None where it names no time."""
    if all(token.kind == "now" for token in cell.tokens):
        return "now"
    said = text[cell.tokens[0].start : cell.tokens[-1].end].strip()
    if found := _ISO.fullmatch(said):
        return [(int(found[1]), int(found[2]), int(found[3]))]
    if found := _NAMED.fullmatch(said):
        month = _MONTHS.index(found[2].lower()[:3]) + 1
        return [(int(found[3] or 0) % 100, month, int(found[1]))]
    if found := _NUMBERS.fullmatch(said):
        one, other, year = int(found[1]), int(found[2]), int(found[3] or 0) % 100
        return [(year, other, one), (year, one, other)]
    return None


def _latest(times: list[list[_Date] | str | None]) -> int | None:
    """Which column is the latest; None where that cannot be told."""
    if len(times) < 2 or None in times:
        return None
    if "now" in times:
        return times.index("now") if times.count("now") == 1 else None
    dates = [time for time in times if isinstance(time, list)]
    found = {place for reading in (_day_first, _month_first) if (place := _place(dates, reading)) is not None}
    return found.pop() if len(found) == 1 else None


def _day_first(date: list[_Date]) -> _Date:
    return date[0]


def _month_first(date: list[_Date]) -> _Date:
    return date[-1]


def _place(dates: list[list[_Date]], reading: Callable[[list[_Date]], _Date]) -> int | None:
    """The place of the latest date in one way of reading them; None where they are no dates in that way."""
    read = [reading(date) for date in dates]
    if any(not (1 <= month <= 12 and 1 <= day <= 31) for _, month, day in read) or len(set(read)) < len(read):
        return None
    return read.index(max(read))


def _as_past(cell: Cell) -> Token:
    return Token("past", cell.tokens[0].start, cell.tokens[-1].end, used="assertion")
