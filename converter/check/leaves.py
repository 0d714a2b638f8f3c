"""The quick way for parts of an extension that hold one plain value, of which a finding carries many.

Takes a slot; gives what such a part must be, or None where more is asked of it than a fixed relative address
and a value of one primitive type. What is not plainly good goes the general way, which says what is wrong.
"""

from dataclasses import dataclass
from typing import Any

from converter.check.primitives import Check
from converter.check.shapes import Shapes, Slot

Json = dict[str, Any]

_ASKED = frozenset({"id", "extension", "url", "value[x]"})


@dataclass(frozen=True, slots=True)
class Leaf:
    """What a part must be: its address, the key of its value, and the check of that."""

    url: str
    key: str
    check: Check

    def holds(self, value: Any) -> bool:
        """Whether a part is plainly good."""
        if type(value) is not dict or len(value) != 2 or value.get("url") != self.url:
            return False
        found = value.get(self.key)
        return found is not None and found.__class__ in _PLAIN and self.check(found) is None


_PLAIN = (int, str, bool)


def _asks_more(slot: Slot) -> bool:
    """Whether something is asked of a part as a whole, besides having a value or parts of its own."""
    keys = {constraint.get("key") for constraint in slot.constraints}
    return bool(slot.fixed or slot.pattern or slot.entry.get("profile") or keys - {"ext-1"})


def leaf_of(shapes: Shapes, slot: Slot) -> Leaf | None:
    """The quick test of a slot's values, where there is one."""
    if slot.type != "Extension" or slot.element.children is None or _asks_more(slot):
        return None
    (shape, *further) = shapes.of_slot(slot)
    url = shape.slots["url"].fixed
    values = [group for group in shape.groups if group.element.name == "value[x]"]
    if further or url is None or ":" in url[1] or len(values) != 1 or len(values[0].slots) != 1:
        return None
    (value,) = values[0].slots
    asks_more = shape.slots["extension"].group.element.min or any(
        group.element.name not in _ASKED for group in shape.groups
    )
    if asks_more or value.check is None or not value.plain or value.max == 0:
        return None
    return Leaf(url[1], value.key, value.check)
