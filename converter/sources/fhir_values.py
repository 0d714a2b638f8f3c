"""Reads values out of FHIR resources, whether they came from JSON or from XML."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

Resource = Mapping[str, Any]


def values(node: Any, *path: str) -> list[Any]:
    """Everything that stands at a path; lists on the way are gone through."""
    found = [node]
    for name in path:
        found = [inner for outer in found if isinstance(outer, Mapping) for inner in _each(outer.get(name))]
    return found


def first(node: Any, *path: str) -> str:
    """The first text or number at a path as text, empty where there is none."""
    return next(
        (
            text
            for value in values(node, *path)
            if isinstance(value, str | int | float)
            and not isinstance(value, bool)
            and (text := str(value).strip())
        ),
        "",
    )


def concept(node: Any) -> str:
    """A CodeableConcept in words: its text, else the name of its first coding, else that code."""
    return first(node, "text") or first(node, "coding", "display") or first(node, "coding", "code")


def _each(value: Any) -> Iterator[Any]:
    """What a list holds, or a single value; FHIR has no lists within lists, so what they hold is not read."""
    for inner in value if isinstance(value, list) else (value,):
        if inner is not None and not isinstance(inner, list):
            yield inner


@dataclass(frozen=True, slots=True)
class Scope:
    """The resources that references can point to: those of the same Bundle, and those contained.

    Attributes:
        known: `Type/id` or `fullUrl` -> resource.
    """

    known: dict[str, Resource] = field(default_factory=dict)

    def behind(self, reference: str, inside: Resource) -> Resource | None:
        """The resource that a reference names, or None where it is not here."""
        if reference.startswith("#"):
            return next(
                (one for one in values(inside, "contained") if first(one, "id") == reference[1:]), None
            )
        return self.known.get(reference.partition("/_history/")[0])

    def identifier(self, node: Any, inside: Resource) -> str:
        """Who or what a Reference means: its identifier, that of the resource it points to, or its id.

        A reference to another server stays whole, since ids are unique only within one.
        """
        own = first(node, "identifier", "value")
        reference = first(node, "reference").partition("/_history/")[0]
        target = self.behind(reference, inside)
        if own or target is None:
            kind, slash, number = reference.partition("/")
            return own or (number if slash and kind.isalpha() and "/" not in number else reference)
        return first(target, "identifier", "value") or first(target, "id")


def scope_of(bundle: Resource) -> Scope:
    """The scope of a Bundle's entries."""
    known: dict[str, Resource] = {}
    for entry in values(bundle, "entry"):
        resource = next(iter(values(entry, "resource")), None)
        if not isinstance(resource, Mapping):
            continue
        for name in (first(entry, "fullUrl"), f"{first(resource, 'resourceType')}/{first(resource, 'id')}"):
            known.setdefault(name, resource)
    return Scope(known)
