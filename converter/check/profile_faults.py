"""What is wrong with a profile beyond what its base forbids: what can never be fulfilled or was misplaced.

Takes a Tree and the terminology; gives sentences with the element they speak of. `profiles` makes them
Diagnostics. Source: FHIR R4, https://hl7.org/fhir/R4/profiling.html and
https://hl7.org/fhir/R4/elementdefinition.html.
"""

from collections.abc import Iterator
from typing import Any

from converter.check.bindings import codes_of
from converter.check.elements import Element, type_name_suffix
from converter.check.library import Library
from converter.check.snapshot import Tree, type_tree, unfold
from converter.check.terminology import Terminology

Json = dict[str, Any]
Fault = tuple[str, str, str]
"""Code, place and sentence."""


def faults_of(library: Library, tree: Tree) -> Iterator[Fault]:
    """What is wrong with a definition as a whole."""
    definition = tree.definition
    base = library.structure(str(definition.get("baseDefinition")))
    kind, above = definition.get("type"), (base or {}).get("type")
    if definition.get("derivation") == "constraint" and base is not None and kind != above:
        yield "profile-type", str(kind), f"It is a profile of {kind}, but its base describes a {above}"
    yield from _misplaced(library, tree)


def value_faults(terminology: Terminology, element: Element) -> Iterator[Fault]:
    """What is wrong with the values that a definition states for an element."""
    for name, value in element.facts.items():
        word = next((one for one in ("fixed", "pattern") if name.startswith(one)), None)
        if word is None or not element.types:
            continue
        suffix = name.removeprefix(word)
        kinds = [str(entry.get("code")) for entry in element.types]
        if suffix not in [type_name_suffix(kind.rpartition("/")[2]) for kind in kinds]:
            sentence = f"{element.label}: {name} does not fit its type ({', '.join(kinds)})"
            yield "value-impossible", element.label, sentence
            continue
        yield from _unbound(terminology, element, name, value, suffix)


def _unbound(
    terminology: Terminology, element: Element, name: str, value: Any, suffix: str
) -> Iterator[Fault]:
    """A stated code that the element's own required binding forbids."""
    binding = element.facts.get("binding") or {}
    if binding.get("strength") != "required" or not binding.get("valueSet"):
        return
    kind = suffix if isinstance(value, dict) else "code"
    answers = [
        terminology.holds(binding["valueSet"], system, code) for system, code in codes_of(kind, value) or ()
    ]
    if answers and set(answers) == {False}:
        sentence = f"{element.label}: the value of {name} is not in {binding['valueSet']}, which is required"
        yield "value-impossible", element.label, sentence


def _misplaced(library: Library, tree: Tree) -> Iterator[Fault]:
    """Elements of the differential that stand behind a sibling that must come after them."""
    last: dict[str, int] = {}
    for facts in (tree.definition.get("differential") or {}).get("element", ()):
        identifier = facts.get("id")
        if not isinstance(identifier, str) or not isinstance(facts.get("path"), str):
            continue
        parent, _, name = identifier.rpartition(".")
        number = _number(library, tree, facts["path"], name.partition(":")[0])
        if number is None:
            continue
        if number < last.get(parent, -1):
            sentence = f"{identifier} stands behind an element that must come after it"
            yield "element-order", identifier, sentence
        last[parent] = max(number, last.get(parent, -1))


def _number(library: Library, tree: Tree, path: str, name: str) -> int | None:
    """The place of an element among its siblings, as the base lists them."""
    element: Element | None = (type_tree(library, str(tree.definition.get("type"))) or tree).root
    for step in path.split(".")[1:-1]:
        element = _child(library, element, step) if element is not None else None
    if element is None:
        return None
    names = list(unfold(library, element))
    child = _child(library, element, name)
    return names.index(child.name) if child is not None and child.name in names else None


def _child(library: Library, element: Element, name: str) -> Element | None:
    children = unfold(library, element)
    if name in children:
        return children[name]
    return next((one for one in children.values() if one.is_choice and name.startswith(one.name[:-3])), None)
