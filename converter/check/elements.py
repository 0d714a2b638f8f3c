"""The element tree of a definition: what `snapshot` builds and the rest of the checker reads.

An Element is one ElementDefinition with its children and slices below it. Children that a definition does not
touch stay folded (`children is None`) until somebody needs them.
"""

from dataclasses import dataclass, field
from typing import Any

Json = dict[str, Any]

UNBOUNDED = 2**31
"""The upper bound of an element that may repeat without end."""


@dataclass(slots=True, kw_only=True)
class Element:
    """One element of a definition, with everything that holds for it.

    Attributes:
        path: the element's path in its definition, e.g. `Observation.component.value[x]`.
        name: the last part of the path.
        slice_name: name of the slice this is, or None.
        min: fewest times it may stand in its parent.
        max: most times; `UNBOUNDED` for `*`.
        repeats: whether JSON writes it as an array, which the base definition decides.
        types: the `type` entries of the ElementDefinition.
        content: id of the element whose content this one shares, without `#`, or None.
        facts: everything else the ElementDefinition says: fixed, pattern, binding, ranges ...
        constraints: the invariants of this element.
        slicing: how its repetitions are told apart, or None.
        slices: the slices by name, in order.
        children: the elements below by name, in order; None while folded.
        home: address of the definition that owns the path, for content references.
    """

    path: str
    name: str
    slice_name: str | None = None
    min: int = 0
    max: int = UNBOUNDED
    repeats: bool = False
    types: tuple[Json, ...] = ()
    content: str | None = None
    facts: Json = field(default_factory=dict)
    constraints: tuple[Json, ...] = ()
    slicing: Json | None = None
    slices: dict[str, "Element"] = field(default_factory=dict)
    children: dict[str, "Element"] | None = None
    home: str = ""

    @property
    def is_choice(self) -> bool:
        """Whether the element's JSON name carries its type, like `value[x]`."""
        return self.name.endswith("[x]")

    @property
    def label(self) -> str:
        """The path with the slice named, as messages show it."""
        return f"{self.path}:{self.slice_name}" if self.slice_name else self.path


def copied(element: Element, path: str | None = None) -> Element:
    """A copy that can be constrained without touching the original, its children and slices included."""
    path = path or element.path
    children = element.children
    return Element(
        path=path,
        name=path.rpartition(".")[2],
        slice_name=element.slice_name,
        min=element.min,
        max=element.max,
        repeats=element.repeats,
        types=element.types,
        content=element.content,
        facts=dict(element.facts),
        constraints=element.constraints,
        slicing=element.slicing,
        slices={name: copied(one, path) for name, one in element.slices.items()},
        children=None if children is None else copied_children(children, path),
        home=element.home,
    )


def copied_children(children: dict[str, Element], path: str) -> dict[str, Element]:
    """Copies of child elements under a new parent path."""
    return {name: copied(child, f"{path}.{name}") for name, child in children.items()}


def type_name_suffix(code: str) -> str:
    """How a type is written behind the name of a choice, e.g. `Quantity`, `DateTime`."""
    return code[:1].upper() + code[1:]


def bound(text: object) -> int:
    """The number that a `max` stands for."""
    return UNBOUNDED if text == "*" else int(str(text))
