"""Shows definitions to a person and checks the definitions themselves.

Takes Definitions; gives rows of a list, rows of an element tree, and Diagnostics for what contradicts a base,
leads nowhere, or can never be fulfilled.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Any

from converter.check.checker import Checker
from converter.check.discriminators import discriminators
from converter.check.elements import UNBOUNDED, Element
from converter.check.invariants import is_readable
from converter.check.library import Definitions, Library
from converter.check.profile_faults import Fault, faults_of, value_faults
from converter.check.rules import shown
from converter.check.snapshot import Tree, tree_of
from converter.check.terminology import Terminology
from converter.model import Diagnostic, Severity

Json = dict[str, Any]

_WORDS = {
    "fixed": "fixed",
    "pattern": "holds",
    "minValue": "at least",
    "maxValue": "at most",
    "maxLength": "length up to",
}
_EVERYWHERE = frozenset({"ele-1", "ext-1", "dom-2", "dom-3", "dom-4", "dom-5", "dom-6"})
_INFRASTRUCTURE = frozenset({"id", "extension", "modifierExtension"})


@dataclass(frozen=True, slots=True, kw_only=True)
class ProfileRow:
    """One definition of a list: its address, title, type and base."""

    url: str
    title: str
    type: str
    base: str


@dataclass(frozen=True, slots=True, kw_only=True)
class TreeRow:
    """One element of a tree.

    Attributes:
        depth: how deep it stands; the root is 0.
        name: its name, with the slice after a colon.
        cardinality: such as `0..1` or `1..*`.
        types: its types, with the targets of references and the profiles.
        rules: what else holds: fixed, pattern, binding, ranges, invariants, slicing, must-support.
    """

    depth: int
    name: str
    cardinality: str
    types: str
    rules: str


def listed_profiles(definitions: Definitions, release: str = "R4") -> list[ProfileRow]:
    """The StructureDefinitions of the site and ours, in order of their address."""
    library = definitions.library(release)
    rows = []
    for url in library.canonicals():
        one = library.structure(url) or {}
        rows.append(
            ProfileRow(
                url=url,
                title=str(one.get("title") or one.get("name") or ""),
                type=str(one.get("type", "")),
                base=str(one.get("baseDefinition", "")),
            )
        )
    return rows


def element_tree(definitions: Definitions, name: str, release: str = "R4") -> list[TreeRow] | None:
    """The elements of a definition, as far as it unfolds them; extensions only where it speaks of them.

    Args:
        definitions: where it is looked for.
        name: its address, the last part of its address, or a type such as `Observation`.
        release: FHIR release of the base definitions.

    Returns:
        The rows from the root down; None where there is no such definition.
    """
    library = definitions.library(release)
    url = next((one for one in library.canonicals() if name in (one, one.rpartition("/")[2])), name)
    tree = tree_of(library, url) or tree_of(library, f"http://hl7.org/fhir/StructureDefinition/{name}")
    return None if tree is None else [*_rows(tree.root, 0)]


def check_definitions(definitions: Definitions, release: str = "R4") -> list[Diagnostic]:
    """What is wrong with the definitions: as resources, against their bases, in what they name."""
    library = definitions.library(release)
    checker = Checker(definitions, release)
    found = list(definitions.problems)
    for kind in ("StructureDefinition", "ValueSet", "CodeSystem"):
        for url in library.canonicals(kind):
            resource = library.local[kind][url]
            as_resource = [one for one in checker.check(resource) if one.severity is not Severity.INFORMATION]
            found.extend(replace(one, source=url) for one in as_resource)
            if kind == "StructureDefinition":
                tree = tree_of(library, url)
                found.extend(_of_tree(library, tree) if tree else ())
            elif kind == "ValueSet":
                found.extend(_of_value_set(library, resource))
    return found


def _rows(element: Element, depth: int) -> Iterator[TreeRow]:
    most = "*" if element.max >= UNBOUNDED else str(element.max)
    name = f"{element.name}:{element.slice_name}" if element.slice_name else element.name
    yield TreeRow(
        depth=depth,
        name=name,
        cardinality=f"{element.min}..{most}" if depth else "",
        types=f"as {element.content}" if element.content else ", ".join(map(_type_text, element.types)),
        rules="; ".join(_rule_texts(element)),
    )
    if element.max == 0:
        return
    for child in (element.children or {}).values():
        if child.name not in _INFRASTRUCTURE or child.slices or child.min or child.max == 0:
            yield from _rows(child, depth + 1)
    for one in element.slices.values():
        yield from _rows(one, depth)


def _type_text(entry: Json) -> str:
    names = [
        str(one).rpartition("/")[2] for one in (*entry.get("targetProfile", ()), *entry.get("profile", ()))
    ]
    code = str(entry.get("code", "")).rpartition("/")[2]
    return f"{code}({' | '.join(names)})" if names else code


def _rule_texts(element: Element) -> Iterator[str]:
    if element.facts.get("mustSupport"):
        yield "must support"
    for name, value in element.facts.items():
        if name.startswith(("fixed", "pattern", "minValue", "maxValue", "maxLength")):
            word = next(text for start, text in _WORDS.items() if name.startswith(start))
            yield f"{word} {shown(value)}"
    binding = element.facts.get("binding") or {}
    if binding.get("valueSet"):
        yield f"{binding.get('strength')} {binding['valueSet'].rpartition('/')[2]}"
    if element.slicing:
        paths = [str(one.get("path")) for one in element.slicing.get("discriminator", ())]
        yield f"{element.slicing.get('rules', 'open')} slices by {', '.join(paths) or 'nothing'}"
    yield from (f"rule {one.get('key')}" for one in element.constraints if one.get("key") not in _EVERYWHERE)


def _of_tree(library: Library, tree: Tree) -> Iterator[Diagnostic]:
    yield from (replace(one, source=tree.url) for one in tree.problems)
    yield from (_fault(tree, fault) for fault in faults_of(library, tree))
    yield from _of_element(library, Terminology(library), tree, tree.root)


def _fault(tree: Tree, fault: Fault) -> Diagnostic:
    code, place, sentence = fault
    return Diagnostic(
        code=code,
        severity=Severity.ERROR,
        message=f"{sentence}.",
        path=place,
        rule=tree.url,
        source=tree.url,
    )


def _of_element(
    library: Library, terminology: Terminology, tree: Tree, element: Element
) -> Iterator[Diagnostic]:
    yield from (_fault(tree, fault) for fault in value_faults(terminology, element))
    for kind, canonical in _named(element):
        look_up = library.value_set if kind == "value set" else library.structure
        if look_up(canonical) is None:
            sentence = f"{element.label} names the {kind} {canonical}, which is not known here"
            yield _problem(tree, "definition-unknown", element, sentence, Severity.WARNING)
    for constraint in element.constraints:
        expression = constraint.get("expression")
        if isinstance(expression, str) and not is_readable(expression):
            sentence = f"{element.label}: the rule {constraint.get('key')} cannot be read: {expression}"
            yield _problem(tree, "invariant-unreadable", element, sentence, Severity.ERROR)
    for one in element.slices.values():
        if one.slice_name != "@default" and not discriminators(library, element.slicing or {}, one):
            sentence = f"{one.label}: nothing in the slice tells its items from others"
            yield _problem(tree, "slice-undecided", one, sentence, Severity.ERROR)
        yield from _of_element(library, terminology, tree, one)
    if sum(one.min for one in element.slices.values()) > element.max:
        sentence = f"{element.label}: its slices ask for more than the {element.max} that it allows"
        yield _problem(tree, "slices-too-many", element, sentence, Severity.ERROR)
    for child in (element.children or {}).values():
        yield from _of_element(library, terminology, tree, child)


def _named(element: Element) -> Iterator[tuple[str, str]]:
    for entry in element.types:
        yield from (("profile", one) for one in entry.get("profile", ()))
        yield from (("profile", one) for one in entry.get("targetProfile", ()))
    binding = element.facts.get("binding") or {}
    if binding.get("valueSet") and binding.get("strength") in ("required", "extensible"):
        yield "value set", binding["valueSet"]


def _of_value_set(library: Library, resource: Json) -> Iterator[Diagnostic]:
    compose = resource.get("compose") or {}
    url = str(resource.get("url"))
    for entry in [*compose.get("include", ()), *compose.get("exclude", ())]:
        for one in entry.get("valueSet", ()):
            if library.value_set(one) is None:
                message = f"It includes the value set {one}, which is not known here."
                yield Diagnostic(
                    code="definition-unknown", severity=Severity.WARNING, message=message, source=url
                )
        yield from _unknown_codes(library, url, entry)


def _unknown_codes(library: Library, url: str, entry: Json) -> Iterator[Diagnostic]:
    system = library.code_system(str(entry.get("system")))
    if system is None or system.get("content") != "complete":
        return
    codes = set(_codes(system.get("concept", ())))
    for concept in entry.get("concept", ()):
        if concept.get("code") not in codes:
            message = (
                f"It lists the code {concept.get('code')!r}, which {entry.get('system')} does not define."
            )
            yield Diagnostic(code="code-unknown", severity=Severity.ERROR, message=message, source=url)


def _codes(concepts: Iterable[Json]) -> Iterator[str]:
    for concept in concepts:
        yield str(concept.get("code"))
        yield from _codes(concept.get("concept", ()))


def _problem(tree: Tree, code: str, element: Element, sentence: str, severity: Severity) -> Diagnostic:
    return Diagnostic(
        code=code,
        severity=severity,
        message=f"{sentence}.",
        path=element.label,
        rule=tree.url,
        source=tree.url,
    )
