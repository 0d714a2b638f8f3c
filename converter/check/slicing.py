"""Sorts the repetitions of an element into its slices and checks each against its own rules.

Takes a group whose element is sliced and the object that holds it. Items that no slice takes keep the rules
of the element itself; closed, ordered and open-at-end slicing and each slice's cardinality are held here.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from converter.check.discriminators import Discriminator, Step, discriminators, values_of
from converter.check.elements import UNBOUNDED, Element
from converter.check.findings import Findings, Scope
from converter.check.leaves import Leaf, leaf_of
from converter.check.memory import content_key
from converter.check.shapes import Group, Slot
from converter.model import Severity

if TYPE_CHECKING:
    from converter.check.walk import Walker

Json = dict[str, Any]

_MOST_KNOWN = 4096


@dataclass(slots=True)
class Item:
    """One repetition: the slot it was read by, its value and its place."""

    slot: Slot
    value: Any
    path: str


@dataclass(slots=True)
class Slice:
    """One slice, ready to take items.

    Attributes:
        element: the slice.
        slots: its slots by type.
        tests: what an item must fulfil to belong to it; all of them.
        slicer: how its own items are sliced again, or None.
        choice: whether the element is one of several types.
        only: its slot where it is not.
        leaf: the quick test of its items, where there is one.
    """

    element: Element
    slots: dict[str, Slot]
    tests: list[Discriminator]
    slicer: "Slicer | None"
    choice: bool = False
    only: Slot | None = None
    leaf: Leaf | None = None

    def slot_of(self, item: Item) -> Slot | None:
        """The slot that reads an item in this slice; of a choice, only one of the item's own type."""
        return self.slots.get(item.slot.type) if self.choice else self.only

    def takes(self, walker: "Walker", item: Item, scope: Scope) -> bool:
        """Whether an item belongs to this slice."""
        if not self.tests or self.slot_of(item) is None:
            return False
        return all(test.holds(walker, item, scope) for test in self.tests)


@dataclass(slots=True)
class Slicer:
    """The slices of an element and the rules between them.

    Attributes:
        element: the sliced element.
        url: address of the definition that slices it.
        rules: `open`, `closed` or `openAtEnd`.
        ordered: whether the slices must stand in their order.
        slices: in order.
        paths: the ways to the values that decide; None where other resources or profiles decide too.
        single: name of the one element that decides, where it is one.
        needed: numbers of the slices that must be looked at also where they took nothing.
        default: number of the slice that takes what no other takes, or None.
        known: number of the slice by what decided.
        quick: number of the slice by what decides, for slices whose items have a quick test; empty where the
            order of the items counts.
    """

    element: Element
    url: str
    rules: str
    ordered: bool
    slices: list[Slice] = field(default_factory=list)
    paths: list[list[Step]] | None = None
    single: str | None = None
    needed: tuple[int, ...] = ()
    default: int | None = None
    known: dict[bytes | str, int | None] = field(default_factory=dict)
    quick: dict[str, int] = field(default_factory=dict)


def check_slices(
    walker: "Walker", group: Group, value: Json, path: str, found: Findings, scope: Scope
) -> None:
    """Check every repetition of a sliced element."""
    if group.slicer is None:
        group.slicer = _slicer(walker, group, group.element)
    slicer: Slicer = group.slicer
    place = f"{path}.{group.element.name.removesuffix('[x]')}"
    if slicer.quick:
        items, done = _quick_items(slicer, group.slots[0], value, path)
        _sort(walker, slicer, items, place, found, scope, done)
    else:
        _sort(walker, slicer, _items(group, value, path), place, found, scope)


def _quick_items(slicer: Slicer, slot: Slot, value: Json, path: str) -> tuple[list[Item], dict[int, int]]:
    """The items that need a closer look, and how many of each slice do not."""
    items: list[Item] = []
    done: dict[int, int] = {}
    given = value.get(slot.key)
    quick, slices, single = slicer.quick, slicer.slices, slicer.single or ""
    for index, one in enumerate(given if type(given) is list else ()):
        decides = one.get(single) if type(one) is dict else None
        number = quick.get(decides) if type(decides) is str else None
        leaf = slices[number].leaf if number is not None else None
        if number is not None and leaf is not None and leaf.holds(one):
            done[number] = done.get(number, 0) + 1
        elif one is not None:
            items.append(Item(slot, one, f"{path}.{slot.step}[{index}]"))
    return items, done


def _items(group: Group, value: Json, path: str) -> list[Item]:
    items: list[Item] = []
    for slot in group.slots:
        given = value.get(slot.key)
        place = f"{path}.{slot.step}"
        if isinstance(given, list) and slot.array:
            items.extend(Item(slot, one, f"{place}[{n}]") for n, one in enumerate(given) if one is not None)
        elif given is not None and not isinstance(given, list) and not slot.array:
            items.append(Item(slot, given, place))
    return items


def _slicer(walker: "Walker", group: Group, element: Element) -> Slicer:
    slicing = element.slicing or {}
    slicer = Slicer(element, group.url, slicing.get("rules", "open"), bool(slicing.get("ordered")))
    for one in element.slices.values():
        slots = {
            slot.type: slot for slot in (walker.shapes.slot_for(group, one, entry) for entry in _entries(one))
        }
        inner = _slicer(walker, group, one) if one.slices else None
        tests = discriminators(walker.library, slicing, one)
        only = next(iter(slots.values()), None)
        slicer.slices.append(Slice(one, slots, tests, inner, one.is_choice, only))
    slicer.needed = tuple(n for n, one in enumerate(slicer.slices) if one.element.min or one.slicer)
    names = [one.element.slice_name for one in slicer.slices]
    slicer.default = names.index("@default") if "@default" in names else None
    slicer.paths = _paths(slicer)
    kinds = [step.kind for step in slicer.paths[0]] if slicer.paths and len(slicer.paths) == 1 else []
    if slicer.paths and kinds == ["member"] and not element.is_choice:
        slicer.single = slicer.paths[0][0].name
    _prepare_quick(walker, slicer, group)
    return slicer


def _prepare_quick(walker: "Walker", slicer: Slicer, group: Group) -> None:
    """Find the slices of an extension's parts whose items have a quick test."""
    in_order = slicer.ordered or slicer.rules == "openAtEnd"
    if slicer.single != "url" or in_order or len(group.slots) != 1 or not group.slots[0].array:
        return
    for number, one in enumerate(slicer.slices):
        leaf = leaf_of(walker.shapes, one.only) if one.only is not None and one.slicer is None else None
        if leaf is not None and leaf.url not in slicer.quick:
            one.leaf = leaf
            slicer.quick[leaf.url] = number


def _entries(element: Element) -> tuple[Json, ...]:
    return element.types or ({"code": ""},)


def _sort(
    walker: "Walker",
    slicer: Slicer,
    items: list[Item],
    place: str,
    found: Findings,
    scope: Scope,
    done: dict[int, int] | None = None,
) -> None:
    """Sort items into the slices and check each; `done` counts further good ones of each slice."""
    taken: dict[int, list[Item]] = {}
    order: list[int | None] = []
    known, single = slicer.known, slicer.single
    for item in items:
        decides = item.value.get(single) if single is not None and type(item.value) is dict else None
        if type(decides) is str and decides in known:
            number = known[decides]
        else:
            number = _number(walker, slicer, item, scope)
        number = slicer.default if number is None else number
        order.append(number)
        if number is None:
            _check_unsliced(walker, slicer, item, found, scope)
        elif number in taken:
            taken[number].append(item)
        else:
            taken[number] = [item]
    if slicer.ordered or slicer.rules == "openAtEnd":
        _check_order(slicer, items, order, found)
    for number in sorted({*taken, *slicer.needed, *(done or ())}):
        own, extra = taken.get(number, []), done.get(number, 0) if done else 0
        _check_slice(walker, slicer.slices[number], slicer, own, extra, place, found, scope)


def _check_slice(
    walker: "Walker",
    one: Slice,
    slicer: Slicer,
    own: list[Item],
    extra: int,
    place: str,
    found: Findings,
    scope: Scope,
) -> None:
    """Check how many items a slice took, and each of them; `extra` of them are good already."""
    if not one.element.min <= len(own) + extra <= one.element.max:
        _say_count(slicer, one, len(own) + extra, place, found)
    if one.slicer is not None:
        _sort(walker, one.slicer, own, place, found, scope)
        return
    for item in own:
        walker.value(one.slot_of(item) or item.slot, item.value, item.path, found, scope)


def _number(walker: "Walker", slicer: Slicer, item: Item, scope: Scope) -> int | None:
    """The first slice that takes an item; remembered by what decides, where that lies within the item."""
    if slicer.paths is None:
        walker.uses.scope += 1
        return _first(walker, slicer, item, scope)
    key = _deciding(slicer, item, scope)
    if key is None:
        return _first(walker, slicer, item, scope)
    if key not in slicer.known:
        if len(slicer.known) >= _MOST_KNOWN:
            slicer.known.clear()
        slicer.known[key] = _first(walker, slicer, item, scope)
    return slicer.known[key]


def _deciding(slicer: Slicer, item: Item, scope: Scope) -> bytes | str | None:
    """What decides on an item, as a key: mostly one element, such as the address of an extension."""
    if slicer.single is not None and type(item.value) is dict:
        value = item.value.get(slicer.single)
        if type(value) is str:
            return value
        if value is not None:
            return content_key(value)
    paths = slicer.paths or ()
    return content_key([item.slot.type, *(list(values_of(item, steps, scope)) for steps in paths)])


def _first(walker: "Walker", slicer: Slicer, item: Item, scope: Scope) -> int | None:
    return next((n for n, one in enumerate(slicer.slices) if one.takes(walker, item, scope)), None)


def _paths(slicer: Slicer) -> list[list[Step]] | None:
    """The ways to what decides between the slices; None where more than those values may decide."""
    tests = [test for one in slicer.slices for test in one.tests]
    if any(test.beyond for test in tests):
        return None
    found: list[list[Step]] = []
    for test in tests:
        if test.steps not in found:
            found.append(test.steps)
    return found


def _check_unsliced(walker: "Walker", slicer: Slicer, item: Item, found: Findings, scope: Scope) -> None:
    if slicer.rules == "closed":
        names = ", ".join(one.element.slice_name or "" for one in slicer.slices)
        reason = next(_reasons(walker, slicer, item, scope), None)
        found.add(
            "slice-unknown",
            item.path,
            f"{item.path} belongs to none of the slices {names}, and no other is allowed.",
            expected=names,
            hint=f"It comes near, but {reason}" if reason else None,
            rule=slicer.url,
        )
    slot = item.slot
    if slicer.element.slice_name is not None:
        slot = walker.shapes.slot_for(slot.group, slicer.element, slot.entry)
    walker.value(slot, item.value, item.path, found, scope)


def _reasons(walker: "Walker", slicer: Slicer, item: Item, scope: Scope) -> Iterator[str]:
    """Why an item fails the profile of a slice that it could belong to by its type."""
    for one in slicer.slices:
        for test in one.tests:
            for canonical in test.profiles:
                place = ".".join([item.path, *(step.name for step in test.steps if step.name)])
                for value, _ in values_of(item, test.steps, scope):
                    attempt = walker.attempt(value, place, scope, canonical)
                    errors = (
                        [d for d in attempt.diagnostics if d.severity is Severity.ERROR] if attempt else []
                    )
                    yield from (f"{error.message} ({canonical})" for error in errors[:1])


def _check_order(slicer: Slicer, items: list[Item], order: list[int | None], found: Findings) -> None:
    highest, others = -1, False
    for item, number in zip(items, order, strict=True):
        if number is None:
            others = True
            continue
        name = slicer.slices[number].element.slice_name
        if others and slicer.rules == "openAtEnd":
            found.add(
                "slice-order",
                item.path,
                f"{item.path} (slice {name}) stands behind items of no slice; those must come last.",
                rule=slicer.url,
            )
        if number < highest and slicer.ordered:
            found.add(
                "slice-order",
                item.path,
                f"{item.path} (slice {name}) stands behind a slice that must come after it.",
                rule=slicer.url,
            )
        highest = max(highest, number)


def _say_count(slicer: Slicer, one: Slice, count: int, place: str, found: Findings) -> None:
    element = one.element
    most = "*" if element.max >= UNBOUNDED else str(element.max)
    expected = f"{element.slice_name}: {element.min}..{most}"
    if count < element.min:
        times = "once" if element.min == 1 else f"at least {element.min} times"
        found.add(
            "slice-missing",
            place,
            f"{place}: the slice {element.slice_name} must be given {times}, found {count}.",
            expected=expected,
            rule=slicer.url,
        )
    else:
        found.add(
            "slice-too-many",
            place,
            f"{place}: the slice {element.slice_name} may be given {most} times at most, found {count}.",
            expected=expected,
            rule=slicer.url,
        )
