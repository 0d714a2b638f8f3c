"""How often an element may stand in its object, and in which JSON form.

Takes a slot or group of a shape and the object; adds what is wrong to Findings.
"""

from typing import Any

from converter.check.elements import UNBOUNDED
from converter.check.findings import Findings
from converter.check.shapes import Group, Shape, Slot
from converter.model import Severity

Json = dict[str, Any]


def count_of(slot: Slot, value: Json) -> int:
    """How often an element stands in an object, with a value or with extensions alone."""
    item = value.get(slot.key)
    extra = value.get(f"_{slot.key}") if slot.check is not None else None
    if slot.array:
        return max(len(one) if isinstance(one, list) else 0 if one is None else 1 for one in (item, extra))
    return 0 if item is None and extra is None else 1


def check_required(group: Group, value: Json, path: str, found: Findings) -> None:
    """Check that an element stands as often as it must."""
    element = group.element
    count = sum(count_of(slot, value) for slot in group.slots)
    if element.slices and count < element.min <= sum(one.min for one in element.slices.values()):
        return  # a missing slice is reported, which says more
    if count < element.min:
        name = f"{path}.{element.name}"
        most = "*" if element.max >= UNBOUNDED else str(element.max)
        times = "" if element.min == 1 else f" at least {element.min} times, found {count}"
        found.add(
            "element-missing",
            name,
            f"{name} is missing; it must be given{times}." if not count else f"{name} must be given{times}.",
            expected=f"{element.min}..{most}",
            rule=group.url,
        )


def check_one_of(group: Group, value: Json, path: str, found: Findings) -> None:
    """Check that a choice element stands under one type only."""
    given = [slot.key for slot in group.slots if slot.key in value]
    if len(given) > 1:
        place = f"{path}.{group.element.name}"
        found.add("choice-twice", place, f"{path} may have only one of {', '.join(given)}.", rule=group.url)


def check_valued(group: Group, value: Json, path: str, found: Findings) -> None:
    """Check that a primitive has a value, or one of the extensions that may stand for it."""
    alternatives = set(group.element.facts.get("valueAlternatives") or ())
    for slot in group.slots:
        given, extras = value.get(slot.key), value.get(f"_{slot.key}")
        values = given if isinstance(given, list) else [given]
        beside = extras if isinstance(extras, list) else [extras]
        for number in range(max(len(values), len(beside)) if given is not None or extras is not None else 0):
            extra = beside[number] if number < len(beside) else None
            if (number < len(values) and values[number] is not None) or alternatives & _extension_urls(extra):
                continue
            place = f"{path}.{slot.step}[{number}]" if slot.array else f"{path}.{slot.step}"
            found.add("value-missing", place, f"{place} needs a value, not extensions alone.", rule=group.url)


def _extension_urls(extra: Any) -> set[str]:
    extensions = extra.get("extension") if isinstance(extra, dict) else None
    return {
        one["url"]
        for one in (extensions if isinstance(extensions, list) else ())
        if isinstance(one, dict) and isinstance(one.get("url"), str)
    }


def check_supported(shape: Shape, value: Json, path: str, found: Findings) -> None:
    """Say which must-support elements are absent."""
    for group in shape.supported:
        if not any(count_of(slot, value) for slot in group.slots) and group.element.min == 0:
            name = f"{path}.{group.element.name}"
            found.add(
                "must-support-absent",
                name,
                f"{name} is not given; the profile asks systems to support it.",
                severity=Severity.INFORMATION,
                rule=shape.url,
            )


def say_list(slot: Slot, path: str, found: Findings, wanted: bool) -> None:
    """Say that an element has the wrong JSON form: a list where one value belongs, or the reverse."""
    place = f"{path}.{slot.step}"
    what = "must be a list, also with one item" if wanted else "must be a single value, not a list"
    found.add("wrong-json-type", place, f"{place} {what}.", rule=slot.group.url)


def say_forbidden(slot: Slot, path: str, found: Findings) -> None:
    """Say that an element must not be given."""
    place = f"{path}.{slot.step}"
    found.add("not-allowed", place, f"{place} must not be given.", expected="0..0", rule=slot.group.url)


def say_too_many(slot: Slot, place: str, count: int, found: Findings) -> None:
    """Say that an element is given too often."""
    found.add(
        "too-many",
        place,
        f"{place} may be given {slot.max} times at most, found {count}.",
        expected=f"{slot.element.min}..{slot.max}",
        rule=slot.group.url,
    )
