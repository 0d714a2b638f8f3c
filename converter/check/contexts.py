"""Whether an extension stands where its definition permits it.

Source: FHIR R4, https://hl7.org/fhir/R4/defining-extensions.html#context.
"""

import re
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from converter.check.elements import Element, type_name_suffix
from converter.check.findings import Findings, Scope
from converter.check.library import Library
from converter.check.snapshot import type_tree, unfold

if TYPE_CHECKING:
    from converter.check.shapes import Slot

Json = dict[str, Any]

_STEP = re.compile(r"([A-Za-z0-9]+)(?:\[\d+\])?(?:\.ofType\(([A-Za-z0-9]+)\))?(?:\[\d+\])?")
_RESOURCE_BASES = frozenset({"Resource", "DomainResource"})


Holds = Callable[[str, str, Any, Scope], bool | None]
Selected = Callable[[str, str, Scope], list[Any] | None]


class Contexts:
    """Answers for the extensions of one library; each place is worked out once."""

    def __init__(self, library: Library, holds: Holds, selected: Selected):
        """Prepare for one library.

        Args:
            library: the definitions.
            holds: whether an expression holds for a value of a type; None where that cannot be told.
            selected: what an expression selects from the resource; None where that cannot be told.
        """
        self._library = library
        self._holds = holds
        self._selected = selected
        self._places: dict[tuple[str, str], frozenset[str]] = {}

    def check(self, definition: Json, path: str, slot: "Slot", found: Findings, scope: Scope) -> None:
        """Check one extension's place against the contexts of its definition."""
        contexts = definition.get("context")
        kind = scope.resource.get("resourceType", "")
        inside = path[len(scope.path) :].strip(".")
        parent = ".".join(re.split(r"\.(?=(?:modifierE|e)xtension)", f".{inside}")[:-1]).strip(".")
        if not isinstance(contexts, list):
            return
        holder = holder_of(scope.resource, parent)
        if any(self._permits(one, kind, parent, holder, scope) for one in contexts):
            self._check_invariants(definition, kind, holder, path, found, scope)
            return
        wanted = ", ".join(str(one.get("expression")) for one in contexts)
        found.add(
            "extension-context",
            path,
            f"{path}: the extension {definition.get('url')} may stand on {wanted} only.",
            expected=wanted,
            rule=definition.get("url"),
        )

    def _check_invariants(
        self, definition: Json, kind: str, holder: Any, path: str, found: Findings, scope: Scope
    ) -> None:
        """Check the rules that an extension lays on the element it stands on."""
        for expression in definition.get("contextInvariant", ()):
            of_kind = kind if holder is scope.resource else ""
            if holder is not None and self._holds(expression, of_kind, holder, scope) is False:
                found.add(
                    "extension-context",
                    path,
                    f"{path}: the extension {definition.get('url')} may not stand here.",
                    expected=expression,
                    rule=definition.get("url"),
                )

    def _permits(self, context: Json, kind: str, parent: str, holder: Any, scope: Scope) -> bool:
        expression = str(context.get("expression", ""))
        if context.get("type") == "element":
            expression = expression.rpartition("/")[2].partition("#")[2] or expression.rpartition("/")[2]
            return expression in ("Element", "Base", "*") or expression in self._names(kind, parent)
        if context.get("type") == "extension":
            return "xtension" in parent
        chosen = self._selected(expression, kind, scope)
        return chosen is None or holder is None or any(one is holder for one in chosen)

    def _names(self, kind: str, parent: str) -> frozenset[str]:
        """Every name that an element has: its path from the resource, and from each type on the way."""
        plain = re.sub(r"\[\d+\]", "", parent)
        if (kind, plain) not in self._places:
            self._places[kind, plain] = frozenset(self._work_out(kind, plain))
        return self._places[kind, plain]

    def _work_out(self, kind: str, parent: str) -> set[str]:
        tree = type_tree(self._library, kind)
        names = {kind} if parent else {kind, *_RESOURCE_BASES}
        element: Element | None = tree.root if tree else None
        for name, chosen in _STEP.findall(parent):
            element = self._child(element, name)
            if element is None:
                return names
            names = {f"{one}.{element.name}" for one in names} | {f"{one}.{name}" for one in names}
            types = [chosen] if chosen else [entry.get("code", "") for entry in element.types]
            names |= {base for one in types for base in self._with_bases(one)}
            if chosen:
                inner = type_tree(self._library, chosen)
                element = inner.root if inner else None
        return names

    def _child(self, element: Element | None, name: str) -> Element | None:
        if element is None:
            return None
        children = unfold(self._library, element)
        return children.get(name) or children.get(f"{name}[x]")

    def _with_bases(self, name: str) -> list[str]:
        names: list[str] = []
        definition = self._library.type_definition(name)
        while definition is not None and len(names) < 10:
            names.append(str(definition.get("type")))
            definition = self._library.structure(definition.get("baseDefinition") or "")
        return names or [name]


def holder_of(resource: Json, parent: str) -> Any:
    """The object at a path of a resource: an element, or what stands beside a primitive; else None."""
    value: Any = resource
    for name, chosen, index in re.findall(
        r"([A-Za-z0-9]+)(?:\.ofType\(([A-Za-z0-9]+)\))?(?:\[(\d+)\])?", parent
    ):
        key = name + type_name_suffix(chosen) if chosen else name
        if not isinstance(value, dict):
            return None
        value = value.get(f"_{key}", value.get(key))
        if index and isinstance(value, list):
            value = value[int(index)] if int(index) < len(value) else None
    return value if isinstance(value, dict) else None
