"""Compiles element trees into what the walker follows: for each kind of object its JSON keys and rules.

Takes Elements; gives Shapes and Slots, each made once, when first met, and then shared.
"""

from collections.abc import Iterable
from typing import Any

from converter.check.elements import Element, copied, type_name_suffix
from converter.check.library import Library
from converter.check.merging import WRITTEN_FORM
from converter.check.primitives import Check, primitive_check
from converter.check.snapshot import shared_constraints, tree_of, type_tree, unfold

Json = dict[str, Any]


class Shape:
    """What an object must look like: a type, a profile of one, or an element with children of its own.

    Attributes:
        name: the type or element, for messages and invariants.
        url: address of the definition it comes from.
        slots: by JSON key.
        groups: one per element; a choice element has a slot for each type.
        required: the groups that must be there.
        choices: the groups that may stand under several keys.
        sliced: the groups whose items are told apart.
        valued: the groups whose primitives need a value, not extensions alone.
        beside: the slots of primitives of which a definition says what stands beside their value.
        supported: the groups that the profile flags as must-support.
        constraints: the invariants that hold for the object as a whole; `invariants` once compiled.
        repeated: those that depend on content which repeats from resource to resource; `always` the others.
        reads: the JSON keys that the repeated ones read.
        known: content under those keys for which all of them held.
    """

    __slots__ = (
        "always",
        "beside",
        "choice_keys",
        "choices",
        "constraints",
        "groups",
        "invariants",
        "known",
        "name",
        "reads",
        "repeated",
        "required",
        "sliced",
        "slots",
        "supported",
        "url",
        "valued",
    )

    def __init__(self, name: str, url: str, groups: Iterable["Group"], constraints: tuple[Json, ...]):
        self.name = name
        self.url = url
        self.groups = tuple(groups)
        self.slots = {slot.key: slot for group in self.groups for slot in group.slots}
        self.required = tuple(group for group in self.groups if group.element.min > 0)
        self.supported = tuple(group for group in self.groups if group.element.facts.get("mustSupport"))
        self.choices = tuple(group for group in self.groups if len(group.slots) > 1)
        self.choice_keys = frozenset(slot.key for group in self.choices for slot in group.slots)
        self.sliced = tuple(group for group in self.groups if group.element.slices)
        self.valued = tuple(group for group in self.groups if _VALUED & group.element.facts.keys())
        self.beside = tuple(
            slot for group in self.groups for slot in group.slots if slot.check and group.element.children
        )
        self.constraints = constraints
        self.invariants: tuple[Any, ...] | None = None
        self.always: tuple[Any, ...] = ()
        self.repeated: tuple[Any, ...] = ()
        self.reads: tuple[str, ...] = ()
        self.known: set[bytes] = set()

    def keys_of(self, names: frozenset[str]) -> tuple[str, ...]:
        """The JSON keys, extras included, under which elements of these names may stand."""
        keys = [
            slot.key
            for group in self.groups
            if group.element.name.removesuffix("[x]") in names
            for slot in group.slots
        ]
        return tuple(sorted({*keys, *(f"_{key}" for key in keys)}))


class Group:
    """One element of a shape under all the JSON keys it may have."""

    __slots__ = ("element", "once", "sliced", "slicer", "slots", "url")

    def __init__(self, element: Element, url: str):
        self.element = element
        self.url = url
        self.slots: tuple[Slot, ...] = ()
        self.sliced = bool(element.slices)
        self.slicer: Any = None
        self.once: tuple[str, ...] = ()


class Slot:
    """One JSON key of a shape.

    Attributes:
        key: the JSON key, e.g. `valueQuantity`.
        step: the FHIRPath step to it, e.g. `value.ofType(Quantity)`.
        element: the element it holds.
        type: name of its type.
        entry: the element's `type` entry for that type.
        entries: all of the element's `type` entries, by type; of use where it holds any of several resources.
        check: the format check of a primitive; None for a complex value.
        array: whether JSON writes a list.
        max: most items.
        group: the element it belongs to, over all keys.
        fixed, pattern: name and value of what the element states, or None.
        prescribed: whether the element states a value, which outweighs a binding that is but preferred.
        ranges: the minima and maxima that the element states.
        binding: the element's binding, or None.
        plain: whether nothing but type and format is asked of the value.
        pure: whether the answer for a primitive depends on nothing but the primitive.
        known: values in which nothing was wrong.
        reached: types of resource to which a reference may lead, whatever else holds for them.
        placed: whether some of them hold for one place only.
        tries: how often a value was looked for among `known` in vain, less how often it was found.
        resource: whether its value is a resource.
        unique: whether it is the id of an element.
        inside: whether its type has rules of its own.
    """

    __slots__ = (
        "_beside",
        "_shapes",
        "array",
        "binding",
        "check",
        "constraints",
        "element",
        "entries",
        "entry",
        "fixed",
        "group",
        "inside",
        "invariants",
        "key",
        "known",
        "max",
        "pattern",
        "placed",
        "plain",
        "prescribed",
        "pure",
        "ranges",
        "reached",
        "resource",
        "step",
        "tries",
        "type",
        "unique",
    )

    def __init__(self, group: Group, element: Element, entry: Json, primitive: bool):
        code = entry.get("code", "")
        self.element = element
        self.entry = entry
        self.group = group
        self.type = code.rpartition("/")[2]
        choice = element.is_choice
        self.entries = (
            {one.get("code", ""): one for one in _merged(element.types)} if not choice else {code: entry}
        )
        stem = element.name[:-3] if choice else element.name
        self.key = stem + type_name_suffix(self.type) if choice else stem
        self.step = f"{stem}.ofType({self.type})" if choice else stem
        self.check: Check | None = primitive_check(self.type) if primitive else None
        self.array = element.repeats
        self.max = element.max
        self.fixed = _fact(element, "fixed")
        self.pattern = _fact(element, "pattern")
        self.prescribed = bool(self.fixed or self.pattern)
        self.constraints = element.constraints
        self.binding: Json | None = element.facts.get("binding")
        self.ranges = tuple(
            (name, limit)
            for name, limit in element.facts.items()
            if name.startswith(("minValue", "maxValue"))
        )
        ruled = bool(self.ranges) or any(name in element.facts for name in _RULES)
        ruled = ruled or bool(primitive and entry.get("profile"))
        self.unique = primitive and self.key == "id" and self.type == "string"
        self.pure = not self.constraints and not self.unique
        self.inside = self.type in _INSIDE
        self.plain = not (ruled or self.fixed or self.pattern or self.constraints)
        self.known: set[Any] = set()
        self.reached: set[str] = set()
        self.placed = False
        self.tries = 0
        self.resource = False
        self._shapes: tuple[Shape, ...] | None = None
        self._beside: Shape | None = None
        self.invariants: tuple[Any, ...] | None = None


_INSIDE = frozenset(
    {"Coding", "Identifier", "Quantity", "Age", "Distance", "Duration", "Count", "Attachment"}
)
_RESOURCES = frozenset({"Resource", "DomainResource"})
_VALUED = frozenset({"mustHaveValue", "valueAlternatives"})
_RULES = frozenset({"binding", "maxLength", *WRITTEN_FORM, *_VALUED})


def _fact(element: Element, prefix: str) -> tuple[str, Any] | None:
    for name, value in element.facts.items():
        if name.startswith(prefix) and not name.startswith("_"):
            return name, value
    return None


class Shapes:
    """Makes and keeps the shapes of one library."""

    def __init__(self, library: Library):
        self.library = library
        self._by_url: dict[str, Shape | None] = {}

    def of_profile(self, canonical: str) -> Shape | None:
        """The shape that a definition gives, or None where it is not known."""
        if canonical not in self._by_url:
            tree = tree_of(self.library, canonical)
            shape = None
            if tree is not None:
                shape = self._of_element(tree.root, tree.root.constraints, tree.url, tree.root.path)
            self._by_url[canonical] = shape
        return self._by_url[canonical]

    def of_type(self, name: str) -> Shape | None:
        """The shape of a resource or data type, or None where there is no such type."""
        tree = type_tree(self.library, name)
        return self.of_profile(tree.url) if tree else None

    def of_root(self, canonical: str) -> Slot | None:
        """A slot that holds a value to the root of a definition, for profiles of primitive types."""
        tree = tree_of(self.library, canonical)
        if tree is None:
            return None
        code = tree.definition.get("type", "")
        root = copied(tree.root)
        inner = (root.children or {}).get("value")  # of a primitive, what its value itself must be
        root.facts.update({k: v for k, v in inner.facts.items() if k in WRITTEN_FORM} if inner else {})
        return self.slot_for(Group(root, tree.url), root, {"code": code})

    def of_slot(self, slot: Slot) -> tuple[Shape, ...]:
        """The shapes that a slot's object must have: its own children where constrained, else its type's."""
        if slot._shapes is None:
            slot._shapes = tuple(self._slot_shapes(slot))
        return slot._shapes

    def of_beside(self, slot: Slot) -> Shape:
        """The shape of what stands beside a primitive whose id or extensions a definition constrains."""
        if slot._beside is None:
            element = copied(slot.element)
            children = unfold(self.library, slot.element)
            element.children = {name: child for name, child in children.items() if name != "value"}
            slot._beside = self._of_element(element, (), slot.group.url, slot.type)
        return slot._beside

    def slot_for(self, group: Group, element: Element, entry: Json) -> Slot:
        """A slot for one type of an element."""
        code = entry.get("code", "")
        slot = Slot(group, element, entry, code in self.library.primitive_types)
        slot.resource = slot.type in _RESOURCES or slot.type in self.library.resource_types
        return slot

    def _slot_shapes(self, slot: Slot) -> Iterable[Shape]:
        element, profiles = slot.element, slot.entry.get("profile", ())
        if element.is_choice and len(element.types) > 1 and element.children is not None:
            yield self._overlaid(slot)
            return
        if element.children is not None or element.content:
            base = self._root_constraints(slot) + shared_constraints(self.library, element)
            yield self._of_element(element, base, slot.group.url, self._context(slot))
            if len(profiles) == 1 and element.children is not None:
                known = self.of_profile(profiles[0])
                yield from (known,) if known else ()
            return
        if len(profiles) != 1:
            shape = self.of_type(slot.type)
            yield from (shape,) if shape else ()
            return
        shape = self.of_profile(profiles[0]) or self.of_type(slot.type)
        yield from (shape,) if shape else ()

    def _overlaid(self, slot: Slot) -> Shape:
        """The shape of a choice's type with what the choice says of children that every type has."""
        tree = type_tree(self.library, slot.type)
        own = unfold(self.library, tree.root) if tree else {}
        element = copied(slot.element)
        element.children = {**own, **(element.children or {})}
        return self._of_element(element, self._root_constraints(slot), slot.group.url, slot.type)

    def _context(self, slot: Slot) -> str:
        """The type an invariant is evaluated on: the element's path for a backbone element, else its type."""
        return slot.element.path if slot.type in ("BackboneElement", "Element", "") else slot.type

    def _root_constraints(self, slot: Slot) -> tuple[Json, ...]:
        tree = type_tree(self.library, slot.type) if slot.type else None
        return tree.root.constraints if tree else ()

    def _of_element(self, element: Element, constraints: tuple[Json, ...], url: str, name: str) -> Shape:
        return Shape(
            name,
            url,
            [self._group(child, url) for child in unfold(self.library, element).values()],
            constraints,
        )

    def _group(self, element: Element, url: str) -> Group:
        group = Group(element, url)
        group.slots = tuple(self.slot_for(group, element, entry) for entry in self._entries(element))
        if element.min == 1:
            group.once = tuple(slot.key for slot in group.slots)
        return group

    def _entries(self, element: Element) -> Iterable[Json]:
        if not element.is_choice:
            return _merged(element.types)[:1] or ({"code": "" if element.content else "Element"},)
        if any(entry.get("code") == "*" for entry in element.types):
            return [{"code": name} for name in sorted(self.library.data_types)]
        return _merged(element.types)


def _merged(entries: Iterable[Json]) -> list[Json]:
    """Type entries with one entry per type, the profiles and targets of repeated ones joined."""
    merged: dict[str, Json] = {}
    for entry in entries:
        code = entry.get("code", "")
        if code not in merged:
            merged[code] = dict(entry)
            continue
        for name in ("profile", "targetProfile"):
            if name in entry:
                merged[code][name] = [*merged[code].get(name, ()), *entry[name]]
    return list(merged.values())
