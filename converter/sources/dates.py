"""Checks the dates and ages that a source gives, without making them more or less precise.

Takes a cell as text; gives an ISO 8601 value and its precision, or None where it names no real date.
"""

import re
from dataclasses import dataclass
from datetime import datetime

_DATE = r"(?P<year>\d{4})(?:-(?P<month>\d\d)(?:-(?P<day>\d\d))?)?"
_COMPACT = r"(?P<year>\d{4})(?P<month>\d\d)(?P<day>\d\d)"
_TIME = (
    r"(?P<hour>\d\d):?(?P<minute>\d\d)(?::?(?P<second>\d\d)(?:[.,](?P<fraction>\d{1,9}))?)?"
    r"\s?(?P<zone>[Zz]|[+-]\d\d(?::?\d\d)?)?"
)
_SHAPES = tuple(re.compile(date, re.ASCII) for date in (_COMPACT, _DATE))
_CLOCK = re.compile(_TIME, re.ASCII)
_AGE = re.compile(
    r"(?P<number>\d{1,4})(?:\.(?P<part>\d+))?\s*"
    r"(?P<unit>y|yo|yr|yrs|year|years|mo|mos|mth|mths|month|months|wk|wks|week|weeks|d|day|days)?"
    r"\.?(?:\s+old)?",
    re.ASCII | re.IGNORECASE,
)
_PER_YEAR = {"y": 1, "m": 12, "w": 52, "d": 365}
_OLDEST = 130
_FURTHEST_ZONE = 14 * 60  # minutes from UTC, in FHIR as on the map


@dataclass(frozen=True, slots=True)
class Moment:
    """A date or date-time as precise as it was given.

    Attributes:
        text: ISO 8601, e.g. `2023-02`, `2023-02-03T10:15+10:00`.
        precision: `year`, `month`, `day`, `minute` or `second`.
        cut: whether a time of day was left out because it names no real time.
    """

    text: str
    precision: str
    cut: bool = False


def moment(written: str) -> Moment | None:
    """Read an ISO 8601 date or date-time, extended (`2023-02-03T10:15`) or compact (`20230203`).

    A space may stand for the `T`. A time that is no real time (`25:00`, or an hour alone) is cut off. A date
    that is not a real date gives None, and so does one whose order of day and month is a guess, as
    `03/02/2023`.
    """
    date, separator, clock = _halves(written.strip())
    found = next((match for shape in _SHAPES if (match := shape.fullmatch(date))), None)
    if found is None:
        return None
    year, month, day = found["year"], found["month"], found["day"]
    if not _real(year, month or "01", day or "01"):
        return None
    text = "-".join(part for part in (year, month, day) if part)
    precision = "day" if day else "month" if month else "year"
    if not separator:
        return Moment(text, precision)
    time = _time(clock) if day else None
    if time is None:
        return Moment(text, precision, cut=True)
    return Moment(f"{text}T{time}", "second" if time[5:6] == ":" else "minute")


def day_or_less(written: str) -> str | None:
    """A date without its time of day, for a birth date that a database wrote as midnight; None if no date."""
    found = moment(written)
    return found.text[:10] if found else None


def completed_years(written: str) -> int | None:
    """An age in completed years from `45`, `45.7`, `45 years`, `18 months`; None where it is no such age."""
    found = _AGE.fullmatch(written.strip())
    if found is None:
        return None
    unit = (found["unit"] or "y")[0].lower()
    years = int(float(f"{found['number']}.{found['part'] or 0}") / _PER_YEAR[unit])
    return years if years <= _OLDEST else None


def _halves(written: str) -> tuple[str, str, str]:
    """The date, what parts it from the time (empty without a time), and the time."""
    compact = re.fullmatch(r"(\d{8})(\d{4,6}(?:\.\d+)?(?:[+-]\d{4}|Z)?)", written, re.ASCII)
    if compact:
        return compact[1], "T", compact[2]
    match = re.fullmatch(r"([\d-]+)([T ])\s*(.+)", written, re.ASCII | re.IGNORECASE)
    return (match[1], match[2], match[3]) if match else (written, "", "")


def _real(year: str, month: str, day: str) -> bool:
    try:
        datetime(int(year), int(month), int(day))  # noqa: DTZ001 - only asks whether the day exists
    except ValueError:
        return False
    return True


def _time(clock: str) -> str | None:
    found = _CLOCK.fullmatch(clock)
    if (
        found is None
        or int(found["hour"]) > 23
        or int(found["minute"]) > 59
        or int(found["second"] or 0) > 59
    ):
        return None
    zone = _zone(found["zone"])
    if zone is None:
        return None
    second = f":{found['second']}" if found["second"] else ""
    fraction = f".{found['fraction']}" if found["fraction"] else ""
    return f"{found['hour']}:{found['minute']}{second}{fraction}{zone}"


def _zone(written: str | None) -> str | None:
    """The zone in its extended form, empty without one, None for an offset that no place has."""
    if not written:
        return ""
    if written in "Zz":
        return "Z"
    hours, minutes = written[1:3], written[3:].lstrip(":") or "00"
    if int(minutes) > 59 or int(hours) * 60 + int(minutes) > _FURTHEST_ZONE:
        return None
    return f"{written[0]}{hours}:{minutes}"
