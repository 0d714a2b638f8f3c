"""Whether an extension stands where its definition permits it.

Source: FHIR R4, https://hl7.org/fhir/R4/defining-extensions.html#context.
"""

import re
from typing import TYPE_CHECKING, Any

from converter.check.elements import Element
from converter.check.findings import Findings, Scope
from converter.check.library import Library
from converter.check.snapshot import type_tree, unfold

if TYPE_CHECKING:
    from converter.check.shapes import Slot

Json = dict[str, Any]

_STEP = re.compile(r"([A-Za-z0-9]+)(?:\[\d+\])?(?:\.ofType\(([A-Za-z0-9]+)\))?(?:\[\d+\])?")
_RESOURCE_BASES = frozenset({"Resource", "DomainResource"})


class Contexts:
    """Answers for the extensions of one library; each place is worked out once."""

    def __init__(self, library: Library):
        self._library = library
        self._places: dict[tuple[str, str], frozenset[str]] = {}

    def check(self, definition: Json, path: str, slot: "Slot", found: Findings, scope: Scope) -> None:
        """Check one extension's place against the contexts of its definition."""
        contexts = definition.get("context")
        kind = scope.resource.get("resourceType", "")
        inside = path[len(scope.path) :].strip(".")
        parent = ".".join(re.split(r"\.(?=(?:modifierE|e)xtension)", f".{inside}")[:-1]).strip(".")
        if not isinstance(contexts, list) or any(self._permits(one, kind, parent) for one in contexts):
            return
        wanted = ", ".join(str(one.get("expression")) for one in contexts)
        found.add(
            "extension-context",
            path,
            f"{path}: the extension {definition.get('url')} may stand on {wanted} only.",
            expected=wanted,
            rule=definition.get("url"),
        )

    def _permits(self, context: Json, kind: str, parent: str) -> bool:
        expression = str(context.get("expression", ""))
        if context.get("type") == "element":
            expression = expression.rpartition("/")[2].partition("#")[2] or expression.rpartition("/")[2]
            return expression in ("Element", "Base", "*") or expression in self._names(kind, parent)
        if context.get("type") == "extension":
            return "xtension" in parent
        return True  # a FHIRPath context is not narrowed here

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
