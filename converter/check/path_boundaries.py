"""`lowBoundary()`, `highBoundary()` and `comparable()` of FHIRPath: what a value of limited precision means.

Takes JSON numbers, dates, times and Quantities; gives the least and the greatest value that they stand for.
Source: FHIRPath 2.0 with the additions of FHIR R5, http://hl7.org/fhirpath/#lowboundaryprecision-integer-decimal-date-datetime-time.
"""

import calendar
import re
from decimal import Decimal
from typing import Any

from converter.check.path_values import Items, is_number, raw

_DAY = re.compile(r"(\d{4})(?:-(\d\d)(?:-(\d\d))?)?")
_CLOCK = re.compile(r"(\d\d)(?::(\d\d)(?::(\d\d(?:\.\d+)?))?)?(Z|[+-]\d\d:\d\d)?")
_EARLIEST_ZONE, _LATEST_ZONE = "+14:00", "-12:00"


def low_boundary(items: Items, env: Any) -> Items:
    """The least value that the one item may mean."""
    return _boundary(items, high=False)


def high_boundary(items: Items, env: Any) -> Items:
    """The greatest value that the one item may mean."""
    return _boundary(items, high=True)


def comparable(items: Items, env: Any, other: Items) -> Items:
    """Whether two Quantities stand in the same unit."""
    if len(items) != 1 or len(other) != 1:
        return []
    one, two = raw(items[0]), raw(other[0])
    if not (isinstance(one, dict) and isinstance(two, dict)):
        return []
    return [all(one.get(name) == two.get(name) for name in ("system", "code"))]


def _boundary(items: Items, high: bool) -> Items:
    if len(items) != 1:
        return []
    value = raw(items[0])
    if isinstance(value, dict) and is_number(value.get("value")):
        return [value | {"value": _number(value["value"], high)}]
    if is_number(value):
        return [_number(value, high)]
    found = _moment(value, high) if isinstance(value, str) else None
    return [] if found is None else [found]


def _number(value: Any, high: bool) -> Decimal:
    exact = Decimal(str(value))
    exponent = exact.as_tuple().exponent
    half = Decimal(5).scaleb(int(exponent) - 1)
    return exact + half if high else exact - half


def _moment(text: str, high: bool) -> str | None:
    day, separator, clock = text.partition("T")
    if not separator and ":" in text:
        match = _CLOCK.fullmatch(text)
        return _time(match, high) if match else None
    date = _date(day, high)
    if date is None:
        return None
    match = _CLOCK.fullmatch(clock) if separator else None
    if separator and match is None:
        return None
    zone = (match[4] if match else None) or (_LATEST_ZONE if high else _EARLIEST_ZONE)
    return f"{date}T{_time(match, high)}{zone}"


def _date(text: str, high: bool) -> str | None:
    match = _DAY.fullmatch(text)
    if match is None:
        return None
    year = int(match[1])
    month = int(match[2] or (12 if high else 1))
    if not 1 <= month <= 12 or not year:
        return None
    day = int(match[3] or (calendar.monthrange(year, month)[1] if high else 1))
    return f"{year:04}-{month:02}-{day:02}"


def _time(match: re.Match[str] | None, high: bool) -> str:
    parts = match.groups()[:3] if match else (None, None, None)
    hours, minutes, seconds = (
        part or most if high else part or "00" for part, most in zip(parts, ("23", "59", "59"), strict=True)
    )
    whole, _, fraction = seconds.partition(".")
    return f"{hours}:{minutes}:{whole}.{(fraction or '').ljust(3, '9' if high else '0')}"
