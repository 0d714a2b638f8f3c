"""Brings amounts in different units of UCUM to one unit, where a factor alone lies between them.

Takes the codes of two units; answers how many of the second make one of the first. Known are metric prefixes
on common units, quotients of such units, and spans of time; for anything else the answer is None, no guess.
Source: The Unified Code for Units of Measure, https://ucum.org/ucum: its prefixes, base and derived units; a
month and a year are the mean Julian ones. From memory.
"""

from decimal import Decimal
from functools import cache
from typing import Any

UCUM = "http://unitsofmeasure.org"

_PREFIXES = {
    "": 0,
    **dict(zip(("da", "h", "k", "M", "G", "T"), (1, 2, 3, 6, 9, 12), strict=True)),
    **dict(zip("dcmunpf", (-1, -2, -3, -6, -9, -12, -15), strict=True)),
}
_METRIC = frozenset({"m", "g", "s", "L", "mol", "Pa", "J", "W", "V", "A", "N", "Hz", "K", "eq", "U", "m[Hg]"})
_TIMES = {"min": 60, "h": 3600, "d": 86400, "wk": 604800, "mo": 2629800, "a": 31557600}


class Amount(dict[str, Any]):
    """A Quantity that an expression states itself: its value and unit count, not how it is written."""


@cache
def factor(one: str, other: str) -> Decimal | None:
    """How many of the other unit one unit is; None where that cannot be told."""
    first, second = _measured(one), _measured(other)
    if first is None or second is None or first[0] != second[0]:
        return None
    return first[1] / second[1]


def _measured(code: str) -> tuple[str, Decimal] | None:
    """A unit as a multiple of one without a prefix."""
    above, stroke, below = code.partition("/")
    first, second = _simple(above), _simple(below) if stroke else ("", Decimal(1))
    if first is None or second is None:
        return None
    return f"{first[0]}/{second[0]}", first[1] / second[1]


def _simple(code: str) -> tuple[str, Decimal] | None:
    if code in _TIMES:
        return "s", Decimal(_TIMES[code])
    for prefix, power in _PREFIXES.items():
        atom = code.removeprefix(prefix)
        atom = "L" if atom == "l" else atom
        if code.startswith(prefix) and atom in _METRIC:
            return atom, Decimal(10) ** power
    return None
