"""Tells to which slice an item belongs.

Takes a slicing's discriminators and a slice; gives a test for each discriminator on which the slice says
something. A discriminator on which a slice is silent does not decide for that slice.
Source: FHIR R4, https://hl7.org/fhir/R4/profiling.html#discriminator.
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from converter.check.elements import Element
from converter.check.findings import Scope
from converter.check.library import Library
from converter.check.path_values import member
from converter.check.references import resolve, target_type, type_of
from converter.check.snapshot import tree_of, unfold
from converter.check.values import differs, fits

if TYPE_CHECKING:
    from converter.check.slicing import Item
    from converter.check.walk import Walker

Json = dict[str, Any]

_STEP = re.compile(
    r"\s*(\$this|resolve\(\)|ofType\(([A-Za-z0-9.]+)\)|extension\(['\"](.+?)['\"]\)|[A-Za-z0-9]+(?:\[x\])?)\s*(?:\.|$)"
)

_DEEPEST = 6

Test = Callable[..., bool]
"""From walker, value, type of the value where known, and scope."""


@dataclass(slots=True)
class Step:
    """One step of a discriminator's path: `member`, `resolve`, `type` or `extension`, and its argument."""

    kind: str
    name: str


@dataclass(slots=True)
class Discriminator:
    """One test of an item.

    Attributes:
        steps: the way from the item to the value that decides.
        test: whether that value (with its type, where known) decides for the slice.
        absent: the answer where there is no such value.
        profiles: the definitions that the value must conform to, where it is those that decide.
        beyond: whether more than that value decides: another resource, or a whole profile.
    """

    steps: list[Step]
    test: Test
    absent: bool = False
    beyond: bool = False
    profiles: tuple[str, ...] = ()

    def holds(self, walker: "Walker", item: "Item", scope: Scope) -> bool:
        """Whether an item passes."""
        values = list(values_of(item, self.steps, scope))
        if not values:
            return self.absent
        return any(self.test(walker, value, kind, scope) for value, kind in values)


def discriminators(library: Library, slicing: Json, element: Element) -> list[Discriminator]:
    """The tests by which a slice takes items; empty where it cannot be told from others."""
    tests: list[Discriminator] = []
    for one in slicing.get("discriminator", ()):
        steps = parsed_steps(one.get("path", "$this"))
        tests.extend(_tests(library, one.get("type", "value"), steps, element))
    return tests


def parsed_steps(path: str) -> list[Step]:
    """The steps of a discriminator's path; `$this` is no step."""
    steps: list[Step] = []
    place = 0
    while place < len(path):
        match = _STEP.match(path, place)
        if not match:
            return steps
        word = match.group(1)
        if word == "resolve()":
            steps.append(Step("resolve", ""))
        elif match.group(2):
            steps.append(Step("type", match.group(2)))
        elif match.group(3):
            steps.append(Step("extension", match.group(3)))
        elif word != "$this":
            steps.append(Step("member", word.removesuffix("[x]")))
        place = match.end()
    return steps


def values_of(item: "Item", steps: list[Step], scope: Scope) -> Iterator[tuple[Any, str]]:
    """The values that a way leads to from an item, each with its type where known."""
    kind = item.slot.type
    if item.slot.resource and isinstance(item.value, dict):
        kind = str(item.value.get("resourceType"))
    return _values(item.value, kind, steps, scope)


def _values(value: Any, kind: str, steps: list[Step], scope: Scope) -> Iterator[tuple[Any, str]]:
    if not steps:
        yield value, kind
        return
    step, rest = steps[0], steps[1:]
    if step.kind == "resolve":
        found = resolve(value, scope)
        if found is not None:
            yield from _values(found, str(found.get("resourceType")), rest, scope)
        elif not rest and isinstance(value, dict):
            told = type_of(value, scope)
            if told:
                yield {"resourceType": told, "": "unresolved"}, told
    elif step.kind == "type":
        yield from _values(value, step.name, rest, scope)
    elif step.kind == "extension":
        for one in member("extension")(value):
            if isinstance(one, dict) and one.get("url") == step.name:
                yield from _values(one, "Extension", rest, scope)
    else:
        for one, told in _members(value, step.name):
            yield from _values(one, told, rest, scope)


def _members(value: Any, name: str) -> Iterator[tuple[Any, str]]:
    for one in member(name)(value):
        told = ""
        if isinstance(one, dict) and isinstance(one.get("resourceType"), str):
            told = one["resourceType"]
        elif isinstance(value, dict) and name not in value:
            told = next((key[len(name) :] for key, item in value.items() if item is one), "")
        yield getattr(one, "value", one), told


def _targets(library: Library, element: Element, steps: list[Step]) -> Iterator[Element]:
    """The elements of a slice's definition that a discriminator's path leads to."""
    if not steps:
        yield element
        return
    step, rest = steps[0], steps[1:]
    if step.kind == "resolve":
        for entry in element.types:
            for canonical in entry.get("targetProfile", ()):
                tree = tree_of(library, canonical)
                if tree is not None:
                    yield from _targets(library, tree.root, rest)
    elif step.kind == "type":
        fitting = [one for one in element.slices.values() if any(t["code"] == step.name for t in one.types)]
        yield from _targets(library, fitting[0] if fitting else element, rest)
    elif step.kind == "extension":
        extensions = unfold(library, element).get("extension")
        for one in extensions.slices.values() if extensions else ():
            if _extension_url(library, one) == step.name:
                yield from _targets(library, one, rest)
    else:
        children = unfold(library, element)
        child = children.get(step.name) or children.get(f"{step.name}[x]")
        if child is not None:
            required = [one for one in child.slices.values() if one.min > 0]
            yield from _targets(library, child, rest)
            for one in required:
                yield from _targets(library, one, rest)


def _extension_url(library: Library, element: Element) -> str | None:
    for entry in element.types:
        for profile in entry.get("profile", ()):
            return str(profile).partition("|")[0]
    url = unfold(library, element).get("url")
    return url.facts.get("fixedUri") if url else None


def _tests(library: Library, kind: str, steps: list[Step], element: Element) -> Iterator[Discriminator]:
    if kind in ("type", "profile") and steps and steps[-1].kind == "resolve":
        for target in _targets(library, element, steps[:-1]):
            canonicals = [c for entry in target.types for c in entry.get("targetProfile", ())]
            if canonicals:
                test = _target_type_test(canonicals) if kind == "type" else _conforms_test(canonicals)
                yield Discriminator(steps, test, beyond=True)
        return
    unknown = _unknown_extension(library, element) if [step.name for step in steps] == ["url"] else None
    if kind == "value" and unknown:
        yield Discriminator(steps, lambda walker, value, told, scope: value == unknown)
        return
    tests = [
        test for target in _targets(library, element, steps) for test in _target_tests(library, kind, target)
    ]
    if any(step.kind == "resolve" for step in steps):
        if tests:
            yield Discriminator(steps, lambda *given: any(test(*given) for test, _ in tests), beyond=True)
        return
    for test, absent in tests[:1] if kind == "exists" else tests:
        profiles = _profiles(library, element, steps) if kind == "profile" else ()
        yield Discriminator(steps, test, absent, beyond=kind == "profile", profiles=profiles)


def _unknown_extension(library: Library, element: Element) -> str | None:
    """The address of the extension that a slice holds, where its definition is not at hand."""
    named = [str(one) for entry in element.types for one in entry.get("profile", ())]
    if len(named) != 1 or library.structure(named[0]) is not None:
        return None
    return named[0].partition("|")[0]


def _profiles(library: Library, element: Element, steps: list[Step]) -> tuple[str, ...]:
    return tuple(
        canonical
        for target in _targets(library, element, steps)
        for entry in target.types
        for canonical in entry.get("profile", ())
    )


def _target_tests(library: Library, kind: str, target: Element) -> Iterator[tuple[Test, bool]]:
    """What one element of the slice asks, and the answer where the item has no such value."""
    if kind in ("value", "pattern"):
        test = _value_test(library, target)
        if test is not None:
            yield test, False
    elif kind == "exists":
        if target.max == 0:
            yield (lambda *_: False), True
        elif target.min > 0:
            yield (lambda *_: True), False
    elif kind == "type":
        yield _type_test(target), False
    elif kind == "profile":
        canonicals = [c for entry in target.types for c in entry.get("profile", ())]
        if canonicals:
            yield _conforms_test(canonicals), False


def _value_test(library: Library, element: Element) -> Test | None:
    """A test of a value by what the slice fixes at an element or below it; None where it fixes nothing."""
    asked = list(_asked(library, element, 0))
    if asked:
        return lambda walker, value, kind, scope: all(ask(walker, value, kind) for ask in asked)
    return None


def _asked(library: Library, element: Element, depth: int) -> Iterator[Callable[["Walker", Any, str], bool]]:
    for name, stated in element.facts.items():
        if name.startswith("fixed"):
            yield _stated_test(stated, lambda wanted, value: not differs(wanted, value))
            return
        if name.startswith("pattern"):
            yield _stated_test(stated, fits)
            return
    below = False
    for name, child in (element.children or {}).items() if depth < _DEEPEST else ():
        for target in (child, *(one for one in child.slices.values() if one.min > 0)):
            for ask in _asked(library, target, depth + 1):
                below = True
                yield _member_test(name.removesuffix("[x]"), ask)
    binding = element.facts.get("binding") or {}
    if not below and depth == 0 and binding.get("strength") == "required" and binding.get("valueSet"):
        yield _binding_test(binding["valueSet"], element.types[0].get("code", "") if element.types else "")


def _stated_test(stated: Any, agrees: Callable[[Any, Any], bool]) -> Callable[["Walker", Any, str], bool]:
    return lambda walker, value, kind: agrees(stated, value)


def _member_test(
    name: str, below: Callable[["Walker", Any, str], bool]
) -> Callable[["Walker", Any, str], bool]:
    return lambda walker, value, kind: any(below(walker, one, told) for one, told in _members(value, name))


def _binding_test(value_set: str, code: str) -> Callable[["Walker", Any, str], bool]:
    def test(walker: "Walker", value: Any, kind: str) -> bool:
        return walker.rules.in_value_set(value, kind or code, value_set) is True

    return test


def _type_test(element: Element) -> Test:
    names = {entry.get("code", "").rpartition("/")[2] for entry in element.types}
    names |= {name[:1].lower() + name[1:] for name in names} | {name[:1].upper() + name[1:] for name in names}

    def test(walker: "Walker", value: Any, kind: str, scope: Scope) -> bool:
        return bool(names & {"Resource", "DomainResource"}) or kind in names

    return test


def _target_type_test(canonicals: list[str]) -> Test:
    def test(walker: "Walker", value: Any, kind: str, scope: Scope) -> bool:
        types = {target_type(walker, canonical) for canonical in canonicals}
        return kind in types or "Resource" in types

    return test


def _conforms_test(canonicals: list[str]) -> Test:
    def test(walker: "Walker", value: Any, kind: str, scope: Scope) -> bool:
        if isinstance(value, dict) and "" in value:
            return False
        resource = isinstance(value, dict) and "resourceType" in value
        inner = Scope(value, value, "", scope.bundles) if resource else scope
        return any(walker.conforms(value, "item", inner, one) for one in canonicals)

    return test
