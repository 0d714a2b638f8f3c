"""Keys of an object that its shape does not list: misspelt elements, wrong types, extras of primitives.

Takes the walker, the shape and the key; adds what is wrong to Findings.
"""

import difflib
from typing import TYPE_CHECKING, Any

from converter.check.cardinality import say_forbidden, say_list
from converter.check.elements import type_name_suffix
from converter.check.findings import Findings, Scope
from converter.check.shapes import Shape, Slot

if TYPE_CHECKING:
    from converter.check.walk import Walker

Json = dict[str, Any]


def check_other_key(
    walker: "Walker",
    shape: Shape,
    key: str,
    item: Any,
    parent: Json,
    path: str,
    found: Findings,
    scope: Scope,
) -> None:
    """Check one key that the shape does not list: a primitive's extras, or else a fault."""
    slot = shape.slots.get(key[1:]) if key.startswith("_") else None
    if slot is None or slot.check is None:
        if _foreign_type(walker, shape, key, path, found):
            return
        near = difflib.get_close_matches(key, shape.slots, n=1)
        found.add(
            "element-unknown",
            f"{path}.{key}",
            f"{path} has no element `{key}`.",
            hint=f"Did you mean `{near[0]}`?" if near else None,
            rule=shape.url,
        )
        return
    _extras(walker, slot, item, parent, path, found, scope)


def _foreign_type(walker: "Walker", shape: Shape, key: str, path: str, found: Findings) -> bool:
    """Whether a key is a choice element under a type that it may not have."""
    for group in shape.groups:
        stem = group.element.name.removesuffix("[x]")
        suffix = key.removeprefix("_").removeprefix(stem)
        types = {type_name_suffix(name): name for name in walker.library.data_types}
        if group.element.is_choice and key.removeprefix("_").startswith(stem) and suffix in types:
            allowed = ", ".join(slot.type for slot in group.slots)
            found.add(
                "type-not-allowed",
                f"{path}.{stem}.ofType({types[suffix]})",
                f"{path}.{group.element.name} may not be a {types[suffix]}.",
                expected=allowed,
                rule=shape.url,
            )
            return True
    return False


def _extras(
    walker: "Walker", slot: Slot, item: Any, parent: Json, path: str, found: Findings, scope: Scope
) -> None:
    """Check the id and extensions of a primitive, which JSON writes beside it under `_name`."""
    place = f"{path}.{slot.step}"
    items = item if isinstance(item, list) else [item]
    if isinstance(item, list) is not slot.array:
        say_list(slot, path, found, wanted=slot.array)
    values = parent.get(slot.key)
    if slot.array and isinstance(values, list) and len(values) != len(items):
        found.add("uneven-lists", place, f"{place} and `_{slot.key}` must have the same number of items.")
    shapes = _beside_shapes(walker, slot)
    for index, one in enumerate(items):
        here = f"{place}[{index}]" if slot.array else place
        if one is None and slot.array:
            continue
        if not isinstance(one, dict) or not one:
            found.add("empty-value", here, f"{here} has an empty `_{slot.key}`; leave it out instead.")
        for shape in shapes if isinstance(one, dict) and one else ():
            walker.object(shape, one, here, found, scope)
    if slot.max == 0:
        say_forbidden(slot, path, found)


def check_beside(
    walker: "Walker", slot: Slot, parent: Json, path: str, found: Findings, scope: Scope
) -> None:
    """Check what must stand beside primitives that have nothing beside them, such as a required extension."""
    values, extras = parent.get(slot.key), parent.get(f"_{slot.key}")
    items = values if isinstance(values, list) else [values]
    beside = extras if isinstance(extras, list) else [extras]
    for index, item in enumerate(items):
        if item is None or (index < len(beside) and beside[index]):
            continue
        here = f"{path}.{slot.step}[{index}]" if slot.array else f"{path}.{slot.step}"
        for shape in _beside_shapes(walker, slot):
            walker.object(shape, {}, here, found, scope)


def _beside_shapes(walker: "Walker", slot: Slot) -> tuple[Shape, ...]:
    """What a primitive's id and extensions must be: as its definition says, else as everywhere."""
    shape = walker.shapes.of_beside(slot) if slot.element.children else walker.shapes.of_type("Element")
    return () if shape is None else (shape,)
