"""FHIR search text as a query of the archive.

Takes `Observation?code=patellar-left&date=ge2020-01-01`; gives a FindQuery. Follows FHIR R4 search
(https://hl7.org/fhir/R4/search.html): parameters must all hold, values after a comma are alternatives, and a
number without decimals stands for all that round to it. What is not understood is refused, never passed over.

The archive answers more than a plain server would: a statement about a region or both sides also answers for
the reflex and side that were asked for; each found row says so.
"""

import math
import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from decimal import Decimal, InvalidOperation
from typing import Any
from urllib.parse import parse_qsl

from converter.archive.queries import FindQuery
from converter.archive.rows import days_of
from converter.archive.values import ArchiveError
from converter.words import Vocabulary

_SIDES = ("left", "right", "both")
_PREFIXED = re.compile(r"(eq|ne|gt|lt|ge|le|sa|eb|ap)?(.+)", re.DOTALL)
_CONCEPTS = {
    "level": "levels",
    "descriptor": "descriptors",
    "plantar-response": "responses",
    "scale": "scale",
}
_KINDS = ("stretch", "plantar", "clonus", "superficial", "primitive")


@dataclass(frozen=True, slots=True)
class _Ask:
    """One parameter of a search.

    Attributes:
        name: as written.
        value: as written, decoded.
        vocabulary: knows the reflexes.
        default_system: system that notes without one are sent under.
    """

    name: str
    value: str
    vocabulary: Vocabulary
    default_system: str | None


def query_from_fhir(text: str, vocabulary: Vocabulary, default_system: str | None = None) -> FindQuery:
    """The query that a FHIR search stands for.

    Args:
        text: e.g. `Observation?code=achilles-left&component-code-value-quantity=grade-ordinal$le1`.
        vocabulary: knows the reflexes.
        default_system: system that notes without one are sent under.

    Raises:
        ArchiveError: a part of the search is not understood; one sentence names it.
    """
    resource, _, parameters = text.strip().partition("?")
    if resource.strip("/") != "Observation":
        raise ArchiveError("Only Observations can be searched: begin with Observation?")
    query = FindQuery(any_scale=True, statuses=("current", "not_tested"))
    for name, value in parse_qsl(parameters, keep_blank_values=True):
        if name not in _PARAMETERS:
            raise ArchiveError(_unknown(name))
        query = _PARAMETERS[name](query, _Ask(name, value, vocabulary, default_system))
    return query


def _unknown(name: str) -> str:
    if f"{name}:identifier" in _PARAMETERS:
        return f"People are known by their identifiers here: write {name}:identifier= instead of {name}=."
    known = ", ".join(_PARAMETERS)
    return f"The archive does not know the search parameter {name!r}; known are {known}."


def _code(query: FindQuery, ask: _Ask) -> FindQuery:
    """`code=patellar`, `code=patellar-left`, with or without our system."""
    if query.reflexes:
        raise _refusal(ask, "can be given once")
    return replace(query, reflexes=tuple(_reflex(ask, token) for token in _alternatives(ask)))


def _reflex(ask: _Ask, token: str) -> tuple[str, str | None]:
    system, _, code = token.rpartition("|")
    if system and not system.endswith("/CodeSystem/reflex"):
        raise _refusal(ask, "takes codes of plexor's own CodeSystem of reflexes")
    for end in ("", *(f"-{side}" for side in _SIDES)):
        site = code.removesuffix(end).replace("-", "_")
        if code.endswith(end) and site in ask.vocabulary.reflexes:
            return site, end[1:] or None
    raise _refusal(ask, f"has a code that names no reflex: {code!r}")


def _date(query: FindQuery, ask: _Ask) -> FindQuery:
    """`date=2024-03`, `date=ge2024`, `date=lt2024-05-01`; twice for a span. By the day."""
    prefix, stated = _prefixed(ask)
    first, last = days_of(stated)
    if first is None or last is None or "T" in stated:
        raise _refusal(ask, "takes a date such as 2024, 2024-05 or 2024-05-17")
    day = timedelta(days=1)
    bounds: dict[str, tuple[date | None, date | None]] = {
        "eq": (first, last), "ge": (first, None), "gt": (last + day, None), "sa": (last + day, None),
        "le": (None, last), "lt": (None, first - day), "eb": (None, first - day),
    }  # fmt: skip
    if prefix not in bounds:
        raise _refusal(ask, f"cannot be searched with {prefix!r}")
    low, high = bounds[prefix]
    lows = [bound for bound in (low, days_of(query.date_from)[0]) if bound]
    highs = [bound for bound in (high, days_of(query.date_to)[1]) if bound]
    return replace(
        query,
        date_from=max(lows).isoformat() if lows else None,
        date_to=min(highs).isoformat() if highs else None,
    )


def _grade(query: FindQuery, ask: _Ask) -> FindQuery:
    """`component-code-value-quantity=grade-ordinal$ge3`; twice for a span."""
    code, _, rest = ask.value.partition("$")
    if code.rpartition("|")[2] != "grade-ordinal" or "," in rest:
        raise _refusal(ask, "takes grade-ordinal, then $ and one number")
    number, *unit = rest.split("|")
    if unit and unit[-1] not in ("", "{score}"):
        raise _refusal(ask, "takes numbers in {score}")
    prefix, stated = _prefixed(replace(ask, value=number))
    low, high = _bounds(ask, prefix, stated)
    lows = [bound for bound in (low, query.grade_from) if bound is not None]
    highs = [bound for bound in (high, query.grade_to) if bound is not None]
    bounds: dict[str, Any] = {"grade_from": max(lows, default=None), "grade_to": min(highs, default=None)}
    return replace(query, **bounds, negated=False)


def _bounds(ask: _Ask, prefix: str, stated: str) -> tuple[float | None, float | None]:
    """The least and the greatest grade that a number with a prefix allows."""
    try:
        number = Decimal(stated)
    except InvalidOperation:
        number = Decimal("nan")
    exponent = number.as_tuple().exponent
    if not isinstance(exponent, int):
        raise _refusal(ask, "takes a number after the $")
    value, half = float(number), float(Decimal(5).scaleb(exponent - 1))
    bounds = {
        "eq": (value - half, math.nextafter(value + half, -math.inf)),
        "ge": (value, None),
        "gt": (math.nextafter(value, math.inf), None),
        "le": (None, value),
        "lt": (None, math.nextafter(value, -math.inf)),
    }
    if prefix not in bounds:
        raise _refusal(ask, f"cannot be searched with {prefix!r}")
    return bounds[prefix]


def _concept(query: FindQuery, ask: _Ask) -> FindQuery:
    """`component-code-value-concept=scale$bedside`, or a level, descriptor or plantar response."""
    found: dict[str, list[str]] = {}
    for token in _alternatives(ask):
        code, _, value = token.partition("$")
        field = _CONCEPTS.get(code.rpartition("|")[2])
        if field is None or not value:
            raise _refusal(ask, f"takes one of {', '.join(_CONCEPTS)}, then $ and a code")
        found.setdefault(field, []).append(value.rpartition("|")[2])
    ((field, values), *more) = found.items()
    if more or getattr(query, field) or (field == "scale" and len(values) > 1):
        raise _refusal(ask, "takes alternatives of one kind, and each kind once; of scales only one")
    if field == "scale":
        return replace(query, scale=values[0], any_scale=False)
    return _with(query, field, [value.replace("-", "_") for value in values])


def _patient(query: FindQuery, ask: _Ask) -> FindQuery:
    return _identified(query, ask, "patients", "patient")


def _performer(query: FindQuery, ask: _Ask) -> FindQuery:
    return _identified(query, ask, "authors", "practitioner")


def _identified(query: FindQuery, ask: _Ask, field: str, what: str) -> FindQuery:
    """`patient.identifier=p17`; before a bar may stand the notes' system with `/patient` or `:patient`."""
    pairs = [token.rpartition("|")[::2] for token in _alternatives(ask)]
    systems = {system for system, _ in pairs}
    if getattr(query, field) or len(systems) > 1:
        raise _refusal(ask, "can be given once, with one system")
    query = _with(query, field, [value for _, value in pairs])
    (system,) = systems
    if not system:
        return query
    ends = [end for end in (f"/{what}", f":{what}") if system.endswith(end)]
    notes = system.removesuffix(ends[0]) if ends else ""
    wanted = (notes, None) if notes == ask.default_system else (notes,)
    if not ends or query.systems not in ((), wanted):
        raise _refusal(ask, f"takes the system of the notes followed by /{what} or :{what}")
    return replace(query, systems=wanted)


def _category(query: FindQuery, ask: _Ask) -> FindQuery:
    """`category=exam`, or one of our kinds of reflex."""
    codes = [token.rpartition("|")[2] for token in _alternatives(ask)]
    if codes == ["exam"]:
        return query
    if query.kinds or not set(codes) <= set(_KINDS):
        raise _refusal(ask, f"takes exam, or once any of {', '.join(_KINDS)}")
    return replace(query, kinds=tuple(codes))


def _count(query: FindQuery, ask: _Ask) -> FindQuery:
    if not ask.value.isascii() or not ask.value.isdigit():
        raise _refusal(ask, "takes a number")
    return replace(query, limit=int(ask.value))


_PARAMETERS: Mapping[str, Callable[[FindQuery, _Ask], FindQuery]] = {
    "code": _code,
    "date": _date,
    "component-code-value-quantity": _grade,
    "component-code-value-concept": _concept,
    "patient.identifier": _patient,
    "subject.identifier": _patient,
    "performer.identifier": _performer,
    "patient:identifier": _patient,
    "subject:identifier": _patient,
    "performer:identifier": _performer,
    "category": _category,
    "_count": _count,
}


def _with(query: FindQuery, field: str, values: Iterable[str]) -> FindQuery:
    alternatives: dict[str, Any] = {field: tuple(values)}
    return replace(query, **alternatives)


def _alternatives(ask: _Ask) -> list[str]:
    values = ask.value.split(",")
    if not all(values):
        raise _refusal(ask, "has an empty value")
    return values


def _prefixed(ask: _Ask) -> tuple[str, str]:
    found = _PREFIXED.fullmatch(ask.value)
    if not found:
        raise _refusal(ask, "has an empty value")
    return found[1] or "eq", found[2]


def _refusal(ask: _Ask, why: str) -> ArchiveError:
    return ArchiveError(f"The search parameter {ask.name!r} {why}.")
