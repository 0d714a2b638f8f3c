"""Makes the full element tree of a definition from its differential, profile on profile to any depth.

Takes a StructureDefinition from the library; gives a Tree. A resource or data type brings its full list of
elements; a profile is its base's tree with the differential laid on. What contradicts the base becomes a
Diagnostic of the Tree, and the base's rule stays in force.
"""

from dataclasses import dataclass, field
from typing import Any

from converter.check.elements import Element, bound, copied, copied_children, type_name_suffix
from converter.check.library import BASE, Library
from converter.check.merging import Merger, value_control
from converter.model import Diagnostic, Severity

Json = dict[str, Any]
Segment = tuple[str, str | None]
"""One step of an element's id: its name and, where there is one, its slice."""

_SCALARS = frozenset({"0", "1"})
_SYSTEM_TYPE = "http://hl7.org/fhirpath/System."
_FHIR_TYPE = "http://hl7.org/fhir/StructureDefinition/structuredefinition-fhir-type"


@dataclass(slots=True)
class Tree:
    """The elements of a definition and what is wrong with it."""

    url: str
    definition: Json
    root: Element
    problems: list[Diagnostic] = field(default_factory=list)


def tree_of(library: Library, canonical: str) -> Tree | None:
    """The element tree of the definition at an address, or None where there is no such definition."""
    definition = library.structure(canonical)
    if definition is None:
        return None
    url = definition["url"]
    trees = library.trees
    if url not in trees:
        trees[url] = None  # a definition that leads back to itself finds nothing here
        trees[url] = _build(library, definition)
    tree: Tree | None = trees[url]
    return tree


def type_tree(library: Library, code: str) -> Tree | None:
    """The element tree of a data type or resource by its name."""
    return tree_of(library, code if "/" in code else BASE + code)


def unfold(library: Library, element: Element) -> dict[str, Element]:
    """The children of an element, fetched from its type where the definition leaves them folded."""
    if element.children is None:
        source = _content(library, element)
        if source is not None and source.children is None:
            unfold(library, source)
        element.children = copied_children(source.children or {}, element.path) if source else {}
    return element.children


def shared_constraints(library: Library, element: Element) -> tuple[Json, ...]:
    """The invariants of the element whose content an element shares, which hold for it too."""
    source = _content(library, element) if element.content else None
    return source.constraints if source else ()


def _content(library: Library, element: Element) -> Element | None:
    """The element whose children an element has."""
    if element.content:
        owner = tree_of(library, element.home)
        return _by_path(library, owner.root, element.content) if owner else None
    if len(element.types) != 1:
        tree = type_tree(library, "Element")
    else:
        entry = element.types[0]
        profiles = entry.get("profile", ())
        tree = tree_of(library, profiles[0]) if len(profiles) == 1 else None
        tree = tree or type_tree(library, entry["code"])
    return tree.root if tree else None


def _by_path(library: Library, root: Element, path: str) -> Element | None:
    element: Element | None = root
    for name in path.split(".")[1:]:
        element = unfold(library, element).get(name) if element else None
    return element


def _build(library: Library, definition: Json) -> Tree | None:
    base_url = definition.get("baseDefinition")
    constrains = definition.get("derivation") == "constraint"
    snapshot = (definition.get("snapshot") or {}).get("element")
    if not constrains and snapshot:
        return Tree(definition["url"], definition, _root_of(definition, snapshot))
    base = tree_of(library, base_url) if base_url else None
    elements = (definition.get("differential") or {}).get("element")
    problems = []
    if base is None or not elements:
        if base is None:
            problems.append(_unknown_base(definition, bool(base_url and library.structure(base_url))))
        base = base or type_tree(library, definition.get("type", "Element"))
        elements = elements or snapshot or []
    if base is None:
        return None
    root = copied(base.root) if constrains else copied(base.root, definition.get("type"))
    tree = Tree(definition["url"], definition, root, problems)
    _Builder(library, tree).lay(elements)
    return tree


def _root_of(definition: Json, elements: list[Json]) -> Element:
    """The tree of a full list of elements without slices, as base definitions have it."""
    home = definition["url"]
    by_path: dict[str, Element] = {}
    resource = definition.get("kind") == "resource"
    for facts in elements:
        path = facts["path"]
        parent_path, _, name = path.rpartition(".")
        element = element_from(facts, home)
        parent = by_path.get(parent_path)
        if parent is not None:
            parent.children = parent.children if parent.children is not None else {}
            parent.children[name] = element
            if resource and path.count(".") == 1 and name == "id":
                element.types = ({"code": "id"},)
        by_path[path] = element
    root = by_path[elements[0]["path"]]
    root.children = root.children or {}
    return root


def element_from(facts: Json, home: str) -> Element:
    """An element as an ElementDefinition of a full list states it."""
    content = facts.get("contentReference")
    base_max = (facts.get("base") or {}).get("max", facts.get("max", "1"))
    return Element(
        path=facts["path"],
        name=facts["path"].rpartition(".")[2],
        min=facts.get("min", 0),
        max=bound(facts.get("max", "*")),
        repeats=base_max not in _SCALARS,
        types=tuple(normal_type(entry) for entry in facts.get("type", ())),
        content=content.partition("#")[2] if content else None,
        facts=other_facts(facts),
        constraints=tuple(c for c in facts.get("constraint", ()) if c.get("key") != "ele-1"),
        home=home,
    )


_STRUCTURAL = frozenset(
    {
        *("id", "path", "sliceName", "sliceIsConstraining", "slicing", "min", "max", "base"),
        *("contentReference", "type", "constraint", "short", "definition", "comment", "requirements"),
        *("alias", "mapping", "example", "label", "code", "condition", "isSummary"),
        *("isModifierReason", "meaningWhenMissing", "orderMeaning"),
    }
)


def other_facts(facts: Json) -> Json:
    """What an ElementDefinition says beyond structure, type and prose."""
    found = {name: value for name, value in facts.items() if name not in _STRUCTURAL}
    return {**found, **value_control(facts)}


def normal_type(entry: Json) -> Json:
    """A type entry whose code is a FHIR type, also where the definition names a FHIRPath system type."""
    code = entry.get("code", "")
    if not code.startswith(_SYSTEM_TYPE):
        return entry
    for extension in entry.get("extension", ()):
        if extension.get("url") == _FHIR_TYPE:
            code = extension.get("valueUrl") or extension.get("valueUri") or code
    if code.startswith(_SYSTEM_TYPE):
        code = code.removeprefix(_SYSTEM_TYPE)
        code = code[:1].lower() + code[1:]
    return {**entry, "code": code}


def _unknown_base(definition: Json, circular: bool) -> Diagnostic:
    what = "leads back to itself" if circular else "is not known here"
    return Diagnostic(
        code="base-circular" if circular else "base-unknown",
        severity=Severity.ERROR,
        message=f"The definition builds on {definition.get('baseDefinition')}, which {what}.",
        hint=None if circular else "Put that definition into one of the folders given with --profiles.",
        rule=definition["url"],
    )


class _Builder:
    """Lays a differential on the tree of its base."""

    def __init__(self, library: Library, tree: Tree):
        self._library = library
        self._tree = tree
        self._merger = Merger(library, tree.url, tree.problems)
        self._slices: dict[str, str] = {}
        self._short: dict[int, tuple[Element, tuple[Json, ...]]] = {}
        self._stated: set[str] = set()
        ids = [
            element.get("id", "")
            for element in (tree.definition.get("differential") or {}).get("element", ())
        ]
        self._ids_name_slices = any(":" in one for one in ids)

    def lay(self, elements: list[Json]) -> None:
        self._stated = {
            f"{facts.get('path')}:{facts['sliceName']}" if "sliceName" in facts else str(facts.get("path"))
            for facts in elements
        }
        for facts in elements:
            if isinstance(facts.get("path"), str):
                self._apply(self._tree.root, self._segments(facts), facts, inherited=False)

    def _segments(self, facts: Json) -> list[Segment]:
        """The way to an element: by its id where that is complete, else by path and the slices now open."""
        names = facts["path"].split(".")
        slice_name = facts.get("sliceName")
        parts = _id_parts(facts.get("id", "")) if self._ids_name_slices else []
        if (
            len(parts) == len(names)
            and all(
                part[0] == name or _is_alias(part[0], name)
                for part, name in zip(parts[1:], names[1:], strict=True)
            )
            and slice_name in (None, parts[-1][1], names[-1])
        ):
            return parts[1:]
        return self._by_open_slices(facts["path"], names, slice_name)

    def _by_open_slices(self, path: str, names: list[str], slice_name: str | None) -> list[Segment]:
        for open_path in list(self._slices):
            if open_path != path and not path.startswith(f"{open_path}."):
                del self._slices[open_path]
        if slice_name is not None:
            self._slices[path] = slice_name
        else:
            self._slices.pop(path, None)
        prefixes = [".".join(names[: n + 1]) for n in range(1, len(names))]
        return [(name, self._slices.get(prefix)) for name, prefix in zip(names[1:], prefixes, strict=True)]

    def _apply(self, element: Element, way: list[Segment], facts: Json, inherited: bool) -> None:
        if not way:
            self._merger.merge(element, facts, quiet=inherited)
            for one in element.slices.values():
                self._merger.merge(one, facts, quiet=True, to_slice=True)
            return
        (name, slice_name), rest = way[0], way[1:]
        child = self._child(element, name)
        if child is None:
            if not self._on_each_type(element, way, facts, inherited) and not inherited:
                self._report(facts, f"{element.label} has no element {name}")
            return
        if slice_name is None or child.slice_name == slice_name:
            if rest:
                for one in child.slices.values():
                    self._apply(one, rest, facts, inherited=True)
            self._apply(child, rest, facts, inherited)
            return
        target = self._slice(child, slice_name, facts, last=not rest)
        if target is not None:
            self._apply(target, rest, facts, inherited)
        elif not inherited:
            self._report(facts, f"{child.path} has no slice {slice_name}")

    def _child(self, element: Element, name: str) -> Element | None:
        children = unfold(self._library, element)
        if name in children:
            return children[name]
        for child in children.values():
            if child.is_choice and name.startswith(child.name[:-3]):
                found = self._shortcut(child, name)
                if found is not None:
                    return found
        return None

    def _shortcut(self, choice: Element, name: str) -> Element | None:
        """The slice of a choice that a path like `valueQuantity` means.

        A differential that says nothing of the choice itself thereby limits it to the types so named; one
        that only goes on below such a path does not.
        """
        types = self._short[id(choice)][1] if id(choice) in self._short else choice.types
        suffix = name[len(choice.name) - 3 :]
        fitting = tuple(entry for entry in types if type_name_suffix(entry["code"]) == suffix)
        if not fitting:
            return None
        if id(choice) in self._short:
            if not any(entry in choice.types for entry in fitting):
                choice.types = (*choice.types, *fitting)
        elif choice.slicing is None and len(types) > 1 and self._limits(choice, name):
            self._short[id(choice)] = (choice, types)
            choice.types = fitting
            choice.slicing = {"discriminator": [{"type": "type", "path": "$this"}], "rules": "closed"}
        return self._type_slice(choice, name)

    def _limits(self, choice: Element, name: str) -> bool:
        """Whether the differential names a type of a choice in an element of its own, and not the choice."""
        short = f"{choice.path.rpartition('.')[0]}.{name}"
        return choice.path not in self._stated and bool({short, f"{choice.path}:{name}"} & self._stated)

    def _on_each_type(self, element: Element, way: list[Segment], facts: Json, inherited: bool) -> bool:
        """Lay a constraint below a choice of several types on each type that has such an element."""
        if not element.is_choice or len({entry["code"] for entry in element.types}) < 2:
            return False
        reached = False
        for entry in element.types:
            tree = type_tree(self._library, entry["code"])
            if tree and way[0][0] in unfold(self._library, tree.root):
                name = element.name[:-3] + type_name_suffix(entry["code"])
                self._apply(self._type_slice(element, name), way, facts, inherited)
                reached = True
        return reached

    def _type_slice(self, choice: Element, name: str) -> Element:
        if len(choice.types) == 1 and not choice.slices and id(choice) not in self._short:
            return choice
        if choice.slicing is None:
            choice.slicing = {"discriminator": [{"type": "type", "path": "$this"}], "rules": "open"}
        for one in choice.slices.values():
            if one.slice_name == name:
                return one
        return self._new_slice(choice, name)

    def _slice(self, element: Element, slice_name: str, facts: Json, last: bool) -> Element | None:
        if not (element.slicing or element.slices or element.repeats or element.is_choice):
            return element  # on an element that cannot repeat a slice name is but a label
        for name in slice_name.split("/"):
            found = element.slices.get(name) or element.slices.get(slice_name)
            if found is None:
                if not last and not element.is_choice:
                    return None
                found = self._named_type(element, name) or self._create(element, name, facts)
            element = found
        return element

    def _named_type(self, element: Element, name: str) -> Element | None:
        """The slice of a choice named after a type, where nothing says how the choice is sliced."""
        if element.is_choice and element.slicing is None and name.startswith(element.name[:-3]):
            return self._shortcut(element, name)
        return None

    def _create(self, element: Element, name: str, facts: Json) -> Element:
        if element.slicing is None:
            if element.is_choice:
                element.slicing = {"discriminator": [{"type": "type", "path": "$this"}], "rules": "open"}
            elif element.name in ("extension", "modifierExtension"):
                element.slicing = {"discriminator": [{"type": "value", "path": "url"}], "rules": "open"}
            else:
                self._report(facts, f"{element.path} has a slice {name} but no rule to tell slices apart")
                element.slicing = {"discriminator": [], "rules": "open"}
        return self._new_slice(element, name, narrow=not facts.get("type"))

    def _new_slice(self, element: Element, name: str, narrow: bool = True) -> Element:
        new = copied(element)
        new.slice_name, new.min, new.slicing, new.slices = name, 0, None, {}
        if element.is_choice and narrow:
            suffix = name.removeprefix(element.name[:-3])
            fitting = tuple(entry for entry in new.types if type_name_suffix(entry["code"]) == suffix)
            if fitting and fitting != new.types:
                new.types, new.children = fitting, None
        element.slices[name] = new
        return new

    def _report(self, facts: Json, what: str) -> None:
        self._tree.problems.append(
            Diagnostic(
                code="profile-contradiction",
                severity=Severity.ERROR,
                message=f"{facts.get('id') or facts['path']}: {what}.",
                path=facts.get("id") or facts["path"],
                rule=self._tree.url,
            )
        )


def _id_parts(identifier: str) -> list[Segment]:
    parts: list[Segment] = []
    for part in identifier.split("."):
        name, _, slice_name = part.partition(":")
        parts.append((name, slice_name or None))
    return parts


def _is_alias(name: str, other: str) -> bool:
    """Whether one name is the other's choice form, as `value[x]` and `valueQuantity`."""
    return (name.endswith("[x]") and other.startswith(name[:-3])) or (
        other.endswith("[x]") and name.startswith(other[:-3])
    )
