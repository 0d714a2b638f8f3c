"""Tells which cells of a table say when an examination was made, and which of them is the latest.

Takes the words of cells; gives whether they are a time, and which of them are earlier than another. A date
without a year only orders what stands beside it. Times of day without a date are those of one day, whose
examinations are all of the present.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise

from converter.reading.clocks import CLOCK, YEAR, minutes_of
from converter.words.cells import CellWords

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_MONTH = rf"(?P<month>{'|'.join(_MONTHS)})[a-z]*\.?"
_DATE = re.compile(r"(?P<one>\d{1,2})(?P<mark>[./-])(?P<two>\d{1,2})(?:(?P=mark)(?P<year>\d{4}|\d{2}))?")
_ISO = re.compile(r"(?P<year>\d{4})-(?P<month>\d{2})-(?P<day>\d{2})")
_DAY_OF_MONTH = re.compile(
    rf"(?P<day>\d{{1,2}})(?:st|nd|rd|th)?[ -]{_MONTH}(?:,?[ -](?P<year>\d{{4}}|\d{{2}}))?"
)
_MONTH_FIRST = re.compile(rf"{_MONTH}(?:[ -](?P<day>\d{{1,2}})(?:st|nd|rd|th)?)?(?:,? (?P<year>\d{{4}}))?")
_WEEKDAY = re.compile(r"(?:mon|tues?|wed(?:nes)?|thu(?:rs?)?|fri|sat(?:ur)?|sun)(?:day)?\.?")
_UNITS: dict[str, float] = {
    "min": 1 / 60,
    "minute": 1 / 60,
    "h": 1,
    "hr": 1,
    "hour": 1,
    "d": 24,
    "day": 24,
    "pod": 24,
    "dol": 24,
    "w": 168,
    "wk": 168,
    "week": 168,
}
_UNITS |= {"m": 720, "mo": 720, "mth": 720, "month": 720, "y": 8760, "yr": 8760, "year": 8760}
_UNITS |= {"visit": 1, "exam": 1}
_UNIT = "|".join(sorted(_UNITS, key=len, reverse=True))
_WHOLE_UNIT = "|".join(unit for unit in sorted(_UNITS, key=len, reverse=True) if len(unit) > 1)
_COUNTED = re.compile(rf"(?:post-?op )?(?P<unit>{_WHOLE_UNIT})\s?#?(?P<n>\d{{1,3}})")
_AFTER = re.compile(
    rf"\+?(?P<n>\d{{1,3}})(?:st|nd|rd|th)?[ -]?(?P<unit>{_UNIT})s?(?P<ago> ago)?(?: post-?op| later)?"
)
_PART_OF_YEAR = re.compile(r"(?P<n>\d{1,2})/(?P<unit>7|52|12)")
_BEGINS = re.compile(rf"[+\d]|{'|'.join(_MONTHS)}|mon|tue|wed|thu|fri|sat|sun|post|{_WHOLE_UNIT}")
"""How every date and every count of time begins."""
_EVENT = re.compile(r"(before|pre|after|post)[ -][a-z]+(?: [a-z]+)?")
_EXPLAINED = re.compile(r"\s*\([^()]*\)$")
_HALF_A_YEAR, _MONTHS_A_YEAR = 6, 12
_PARTS_OF_YEAR = {"7": 24, "52": 168, "12": 720}
_FEW = 2
_DESCENDS_AT = 3
_DIGITS_BY_STOP, _DIGITS_BY_SLASH = 4, 3


@dataclass(frozen=True, slots=True)
class _When:
    """A time as it orders.

    Attributes:
        rank: its place among words: earlier, a number, later, now.
        kind: what kind of number it is.
        readings: year, month and day, or one number, by the order in which day and month may stand.
    """

    rank: int
    kind: str = "word"
    readings: Mapping[str, tuple[float, ...]] = field(default_factory=dict)


class Times:
    """Reads the times of cells.

    Args:
        words: the words that name a time without a number.
    """

    def __init__(self, words: CellWords) -> None:
        self._words = words

    def says_time(self, said: str) -> bool:
        """Whether a cell holds nothing but a time: "Day 2", "12 Jan", "Pre-op"."""
        return self._when(said) is not None

    def heads_times(self, said: str) -> bool:
        """Whether the head of a column announces times: "Date"."""
        return _plain(said) in self._words.time_heads

    def says_clock(self, said: str) -> bool:
        """Whether a cell holds nothing but a time of day: "0800", "14:30", "2 am"."""
        return CLOCK.fullmatch(_plain(said)) is not None

    def standing(self, said: list[str]) -> list[str]:
        """For each time `earlier` where another is later, `clock` for one of several of a day, or nothing."""
        last = said[self.latest(said)] if said else ""
        clocks = {each for each in said if self.says_clock(each)}
        sure = any(when is not None and when.kind == "clock" for when in map(self._when, clocks))
        if not sure or (last not in clocks and _plain(last) not in self._words.now):
            return ["" if each == last else "earlier" for each in said]
        several = "clock" if len(clocks) > 1 else ""
        return [several if each in clocks else "" if each == last else "earlier" for each in said]

    def is_before(self, said: str) -> bool:
        """Whether a cell names a time before the present examination: "Previous"."""
        when = self._when(said)
        return when is not None and when.rank == 0

    def latest(self, said: list[str]) -> int:
        """The index of the latest time: the last as written, unless the times themselves say otherwise."""
        whens = [self._when(each) for each in said]
        known = [when for when in whens if when is not None]
        if len(known) < len(whens) or len(known) < _FEW:
            return len(said) - 1
        best = max(when.rank for when in known)
        at_best = [index for index, when in enumerate(known) if when.rank == best]
        if len(at_best) == 1:
            return at_best[0]
        return at_best[0] if _descends([known[index] for index in at_best]) else at_best[-1]

    def _when(self, said: str) -> _When | None:
        plain = _plain(said)
        if plain in self._words.earlier:
            return _When(0)
        if plain in self._words.later:
            return _When(2)
        if plain in self._words.now:
            return _When(3)
        event = _EVENT.fullmatch(plain)
        if event is not None:
            return _When(0 if event[1] in ("before", "pre") else 2)
        if _BEGINS.match(plain) is None:
            return None  # most cells end here
        return _dated(plain) or _counted(plain)


def _plain(said: str) -> str:
    """The words of a cell without a closing colon and brackets: "12 Jan (R/L)"."""
    return " ".join(_EXPLAINED.sub("", said.strip().strip("*_").rstrip(":")).lower().split())


def _dated(said: str) -> _When | None:
    match = _ISO.fullmatch(said)
    if match:
        return _on(float(match["year"]), float(match["month"]), float(match["day"]))
    match = _DATE.fullmatch(said)
    if match and (of_numbers := _of_two_numbers(match)) is not None:
        return of_numbers
    match = _DAY_OF_MONTH.fullmatch(said) or _MONTH_FIRST.fullmatch(said)
    if match:
        month = float(_MONTHS.index(match["month"]) + 1)
        return _on(float(match["year"] or 0), month, float(match["day"] or 0))
    if _WEEKDAY.fullmatch(said):
        return _When(1, "weekday")
    if YEAR.fullmatch(said):
        return _number("year", float(said))
    match = CLOCK.fullmatch(said)
    return _number("clock", minutes_of(match)) if match else None


def _on(*date: float) -> _When:
    return _When(1, "date", {"day first": date, "month first": date})


def _number(kind: str, number: float) -> _When:
    return _When(1, kind, {"": (number,)})


def _of_two_numbers(match: re.Match[str]) -> _When | None:
    """Day and month in either order, as far as there are such."""
    one, two, year = float(match["one"]), float(match["two"]), float(match["year"] or 0)
    fewest = _DIGITS_BY_STOP if match["mark"] == "." else _DIGITS_BY_SLASH
    if match["year"] is None and len(match["one"] + match["two"]) < fewest:
        return None  # "2/3" and "12.5" are values
    orders = {"day first": (year, two, one), "month first": (year, one, two)}
    readings = {
        order: date for order, date in orders.items() if 1 <= date[1] <= _MONTHS_A_YEAR and 1 <= date[2] <= 31
    }
    return _When(1, "date", readings) if readings else None


def _counted(said: str) -> _When | None:
    match = _PART_OF_YEAR.fullmatch(said)
    if match:
        return _number("count", float(match["n"]) * _PARTS_OF_YEAR[match["unit"]])
    match = _COUNTED.fullmatch(said) or _AFTER.fullmatch(said)
    if match is None:
        return None
    hours = float(match["n"]) * _UNITS[match["unit"]]
    return _number("count", -hours if match.groupdict().get("ago") else hours)


def _descends(whens: list[_When]) -> bool:
    """Whether times are written from the latest to the earliest; dates as they lie nearest to one another."""
    if len({when.kind for when in whens}) > 1 or whens[0].kind == "word":
        return False
    if whens[0].kind == "clock" and len(whens) < _DESCENDS_AT:
        return False
    orders = [order for order in whens[0].readings if all(order in when.readings for when in whens)]
    if not orders:
        return False
    read = min(([when.readings[order] for when in whens] for order in orders), key=_span)
    return all(one > two and not _over_new_year(one, two) for one, two in pairwise(read))


def _span(dates: list[tuple[float, ...]]) -> float:
    days = [sum(part * size for part, size in zip(date, (372, 31, 1), strict=False)) for date in dates]
    return max(days) - min(days)


def _over_new_year(one: tuple[float, ...], two: tuple[float, ...]) -> bool:
    """December stands before the January after it, where no year is written."""
    return len(one) > 1 and not one[0] and not two[0] and one[1] - two[1] > _HALF_A_YEAR
