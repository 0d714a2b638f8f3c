"""How FHIRPath sees JSON: members, choice elements, primitives with extensions, equality and order.

Takes plain JSON values. A primitive that has an id or extensions beside it travels as a Primitive; every
other value travels as it is.
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from decimal import Decimal
from functools import cache
from typing import Any

from converter.check.units import Amount
from converter.check.values import in_unit_of

Json = dict[str, Any]


class UndecidedError(ValueError):
    """Two values cannot be compared here, though another program might."""


Items = list[Any]

CHOICE_TYPES = (
    *("base64Binary", "boolean", "canonical", "code", "date", "dateTime", "decimal", "id", "instant"),
    *("integer", "integer64", "markdown", "oid", "positiveInt", "string", "time", "unsignedInt", "uri"),
    *("url", "uuid", "Address", "Age", "Annotation", "Attachment", "CodeableConcept"),
    *("CodeableReference", "Coding", "ContactDetail", "ContactPoint", "Contributor", "Count"),
    *("DataRequirement", "Distance", "Dosage", "Duration", "Expression"),
    *("ExtendedContactDetail", "HumanName", "Identifier", "Meta", "Money"),
    *("ParameterDefinition", "Period", "Quantity", "Range", "Ratio", "RatioRange", "Reference"),
    *("RelatedArtifact", "SampledData", "Signature", "Timing", "TriggerDefinition"),
    *("UsageContext", "Availability", "MonetaryComponent", "VirtualServiceDetail"),
)
_TEMPORAL = re.compile(
    r"\d{4}(-\d\d(-\d\d(T\d\d(:\d\d(:\d\d(\.\d+)?)?)?(Z|[+-]\d\d:\d\d)?)?)?)?$|\d\d:\d\d(:\d\d(\.\d+)?)?$"
)


@dataclass(slots=True)
class Primitive:
    """A primitive with what stands beside it.

    Attributes:
        value: the value, or None where there are only extensions.
        extra: the object with its id and extensions.
    """

    value: Any
    extra: Json


@cache
def member(name: str) -> Callable[[Any], Items]:
    """A function from one value to the values of its element of that name, a choice under any type."""
    beside = f"_{name}"
    choices = {name + kind[:1].upper() + kind[1:] for kind in CHOICE_TYPES}
    choice_keys = frozenset(choices | {f"_{key}" for key in choices})

    def of(value: Any) -> Items:
        if type(value) is not dict:
            return _beside(value, name)
        found = value.get(name)
        if beside in value:
            return _with_extras(found, value[beside])
        if found is not None:
            return found if type(found) is list else [found]
        if choice_keys.isdisjoint(value) or name in value:
            return []
        key = next(one.removeprefix("_") for one in value if one in choice_keys)
        if f"_{key}" in value:
            return _with_extras(value.get(key), value[f"_{key}"])
        return [value[key]]

    return of


def _beside(value: Any, name: str) -> Items:
    """The id or extensions of a primitive."""
    if not isinstance(value, Primitive) or name not in ("id", "extension") or name not in value.extra:
        return []
    found = value.extra[name]
    return found if isinstance(found, list) else [found]


def typed_member(name: str, kind: str) -> Callable[[Any], Items]:
    """A function from one value to its choice element of that name where it has that type."""
    return member(name + kind[:1].upper() + kind[1:])


def _with_extras(found: Any, extras: Any) -> Items:
    values = found if isinstance(found, list) else [found]
    beside = extras if isinstance(extras, list) else [extras]
    items = []
    for n in range(max(len(values), len(beside))):
        value = values[n] if n < len(values) else None
        extra = beside[n] if n < len(beside) else None
        if isinstance(extra, dict):
            items.append(Primitive(value, extra))
        elif value is not None:
            items.append(value)
    return items


def children(value: Any) -> Iterator[Any]:
    """Every child of a value."""
    if isinstance(value, Primitive):
        yield from children(value.extra)
    elif isinstance(value, dict):
        for key in value:
            if key == "resourceType":
                continue
            if key[:1] == "_":
                if key[1:] not in value:
                    yield from _with_extras(None, value[key])
            elif f"_{key}" in value:
                yield from _with_extras(value[key], value[f"_{key}"])
            elif isinstance(value[key], list):
                yield from value[key]
            else:
                yield value[key]


def descendants(value: Any) -> Iterator[Any]:
    """Every value below a value, at any depth."""
    for child in children(value):
        yield child
        yield from descendants(child)


def raw(item: Any) -> Any:
    """A value without what stands beside it."""
    return item.value if type(item) is Primitive else item


def same(one: Any, other: Any) -> bool:
    """FHIRPath equality of two single values."""
    one, other = raw(one), raw(other)
    if isinstance(one, dict) and isinstance(other, dict):
        if Amount in (type(one), type(other)):
            return order(one, other) == 0
        return one.keys() == other.keys() and all(same(one[key], other[key]) for key in one)
    if isinstance(one, list) and isinstance(other, list):
        return len(one) == len(other) and all(same(a, b) for a, b in zip(one, other, strict=True))
    if is_number(one) and is_number(other):
        return bool(number(one) == number(other))
    return type(one) is type(other) and bool(one == other)


def order(one: Any, other: Any) -> int | None:
    """-1, 0 or 1 as one value is less, equal or greater; None where the two cannot be told apart."""
    one, other = raw(one), raw(other)
    if isinstance(one, dict) and isinstance(other, dict):
        if all(one.get(key) == other.get(key) for key in ("system", "code")):
            return order(one.get("value"), other.get("value"))
        times = in_unit_of(one, other)
        if times is None:
            raise UndecidedError("quantities in these units are not compared here")
        return order(number(one.get("value", 0)) * times, other.get("value"))
    if is_number(one) and is_number(other):
        first, second = number(one), number(other)
        return int(first > second) - int(first < second)
    if isinstance(one, str) and isinstance(other, str):
        if _TEMPORAL.match(one) and _TEMPORAL.match(other):
            return _temporal_order(one, other)
        return (one > other) - (one < other)
    return None


def _temporal_order(one: str, other: str) -> int | None:
    if "T" in one and "T" in other:
        try:
            first, second = (_zoned(datetime.fromisoformat(text)) for text in (one, other))
        except ValueError:
            return None
        return (first > second) - (first < second)
    length = min(len(one), len(other), 10 if "-" in one else 99)
    first_text, second_text = one[:length], other[:length]
    if first_text != second_text:
        return (first_text > second_text) - (first_text < second_text)
    return 0 if len(one) == len(other) else None


def _zoned(moment: datetime) -> datetime:
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)


def is_number(value: Any) -> bool:
    """Whether a value is a number and not a truth value."""
    return isinstance(value, int | float | Decimal) and not isinstance(value, bool)


def number(value: Any) -> Any:
    """A number in a form that compares and adds exactly with others."""
    return value if isinstance(value, int | Decimal) else Decimal(str(value))
