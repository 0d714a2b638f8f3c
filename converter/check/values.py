"""Compares values of a resource with those a definition states: fixed, pattern, minimum and maximum.

Takes JSON values; numbers compare as exact decimals, dates and times by instant, as precisely as the less
precise of the two.
"""

import re
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

from converter.check.units import UCUM, factor

Json = dict[str, Any]

_DATE = re.compile(r"(\d{4})(?:-(\d\d)(?:-(\d\d))?)?$")


def differs(fixed: Any, value: Any) -> bool:
    """Whether a value is not exactly the fixed one; of numbers the value counts, not how it is written."""
    if isinstance(fixed, dict):
        if not isinstance(value, dict) or fixed.keys() - {"id"} != value.keys() - {"id"}:
            return True
        return any(differs(fixed[name], value[name]) for name in fixed if name != "id")
    if isinstance(fixed, list):
        if not isinstance(value, list) or len(fixed) != len(value):
            return True
        return any(differs(one, other) for one, other in zip(fixed, value, strict=True))
    return not _same(fixed, value)


def fits(pattern: Any, value: Any) -> bool:
    """Whether a value holds at least everything the pattern holds."""
    if isinstance(pattern, dict):
        return isinstance(value, dict) and all(
            name in value and fits(part, value[name]) for name, part in pattern.items() if name != "id"
        )
    if isinstance(pattern, list):
        return isinstance(value, list) and all(any(fits(part, item) for item in value) for part in pattern)
    return _same(pattern, value)


def below(value: Any, minimum: Any) -> bool:
    """Whether a value is less than the minimum; False where the two cannot be compared."""
    pair = comparable(value, minimum)
    return pair is not None and bool(pair[0] < pair[1])


def above(value: Any, maximum: Any) -> bool:
    """Whether a value is more than the maximum; False where the two cannot be compared."""
    pair = comparable(value, maximum)
    return pair is not None and bool(pair[0] > pair[1])


def matches(expression: str, value: Any) -> bool | None:
    """Whether the whole of a primitive fits a regular expression; None where that cannot be read."""
    try:
        return re.fullmatch(expression, value if isinstance(value, str) else str(value)) is not None
    except re.error:
        return None


def decimal_places(value: Any) -> int:
    """How many decimal places a number is written with."""
    exponent = Decimal(str(value)).as_tuple().exponent if _is_number(value) else 0
    return max(0, -exponent) if isinstance(exponent, int) else 0


def comparable(one: Any, other: Any) -> tuple[Any, Any] | None:
    """Two values in a form that `<` orders, or None. Quantities compare where a factor lies between."""
    if isinstance(one, dict) and isinstance(other, dict):
        times = Decimal(1) if "code" not in other else in_unit_of(one, other)
        pair = comparable(one.get("value"), other.get("value"))
        return (pair[0] * times, pair[1]) if pair and times is not None else None
    if _is_number(one) and _is_number(other):
        return Decimal(str(one)), Decimal(str(other))
    if isinstance(one, str) and isinstance(other, str):
        shorter = min(len(one), len(other))
        if shorter <= len("YYYY-MM-DD") and _DATE.match(one[:shorter]) and _DATE.match(other[:shorter]):
            one, other = one[:shorter], other[:shorter]
        first, second = _instant(one), _instant(other)
        if first is not None and second is not None:
            return first, second
        if re.match(r"\d\d:\d\d", one) and re.match(r"\d\d:\d\d", other):
            return one, other
    return None


def in_unit_of(one: Json, other: Json) -> Decimal | None:
    """What turns the value of one quantity into the unit of another; None where that cannot be told."""
    codes = [one.get("code"), other.get("code")]
    systems = [one.get("system"), other.get("system")]
    if systems[0] != systems[1] or not all(isinstance(code, str) and code for code in codes):
        return None
    if codes[0] == codes[1]:
        return Decimal(1)
    return factor(str(codes[0]), str(codes[1])) if systems[0] == UCUM else None


def _same(one: Any, other: Any) -> bool:
    if _is_number(one) and _is_number(other):
        return Decimal(str(one)) == Decimal(str(other))
    return type(one) is type(other) and bool(one == other)


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float | Decimal) and not isinstance(value, bool)


def _instant(text: str) -> datetime | None:
    """The first moment of a date or date-time; without a zone it counts as UTC."""
    try:
        match = _DATE.match(text)
        if match:
            year, month, day = (int(part or 1) for part in match.groups())
            found = datetime.combine(date(year, month, day), datetime.min.time())
        else:
            found = datetime.fromisoformat(text)
    except ValueError:
        return None
    return found if found.tzinfo else found.replace(tzinfo=UTC)
