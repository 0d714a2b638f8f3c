"""Whether a code belongs to a ValueSet, as far as the definitions at hand can tell.

Takes ValueSets (include, exclude, filter, nested ValueSets, ready expansions) and CodeSystems of the library;
answers yes, no, or None where a code system is not at hand. Nothing is looked up elsewhere.
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from converter.check.library import Library

Json = dict[str, Any]

_SYNTAX = {
    "urn:ietf:bcp:13": re.compile(r"[A-Za-z0-9!#$&^_.+-]+/[A-Za-z0-9!#$&^_.+*-]+(\s*;.*)?"),
    "urn:iso:std:iso:4217": re.compile(r"[A-Z]{3}"),
    "urn:ietf:bcp:47": re.compile(r"[A-Za-z]{1,8}(-[A-Za-z0-9]{1,8})*"),
}
"""Code systems that are not at hand and of which only the written form is checked."""


@dataclass(slots=True)
class Concepts:
    """The codes of one CodeSystem.

    Attributes:
        complete: whether every code of the system is here.
        parents: by code, the codes above it.
        properties: by code, its properties.
        sensitive: whether upper and lower case differ.
        displays: by code, what it may be called, in small letters and single blanks; where that is at hand.
    """

    complete: bool
    parents: dict[str, set[str]] = field(default_factory=dict)
    properties: dict[str, dict[str, list[Any]]] = field(default_factory=dict)
    sensitive: bool = True
    displays: dict[str, frozenset[str]] = field(default_factory=dict)

    def has(self, code: str) -> bool:
        """Whether the system defines a code."""
        return code in self.parents or (not self.sensitive and code.lower() in self._lowered())

    def below(self, code: str) -> set[str]:
        """Every code under one, at any depth."""
        found: set[str] = set()
        waiting = [code]
        while waiting:
            above = waiting.pop()
            for one, parents in self.parents.items():
                if above in parents and one not in found:
                    found.add(one)
                    waiting.append(one)
        return found

    def _lowered(self) -> set[str]:
        return {one.lower() for one in self.parents}


@dataclass(slots=True)
class _Part:
    """One include or exclude: the codes of a system, all of it, or those its ValueSets share."""

    system: str | None
    codes: frozenset[str] | None = None
    whole: bool = False
    value_sets: tuple["ValueSetCodes", ...] = ()
    unknown: bool = False

    def holds(self, terminology: "Terminology", system: str | None, code: str) -> bool | None:
        if self.system is not None:
            if system is not None and system != self.system:
                return False
            own = self._own(terminology, code)
            if own is False:
                return False
        elif self.value_sets:
            own = True
        else:
            own = None if self.unknown else False
        answers = [own, *(one.holds(terminology, system, code) for one in self.value_sets)]
        if False in answers:
            return False
        return None if None in answers else True

    def _own(self, terminology: "Terminology", code: str) -> bool | None:
        if self.codes is not None:
            return code in self.codes or (None if self.unknown else False)
        if self.unknown or not self.whole:
            return None
        return terminology.defines(self.system or "", code)


@dataclass(slots=True)
class ValueSetCodes:
    """What is known of one ValueSet's codes.

    Attributes:
        url: the ValueSet's address.
        includes, excludes: its parts.
        found: whether the ValueSet itself is at hand.
        asked: whether it is being asked just now, through another that includes it.
        inactive: whether it holds codes that their code system calls inactive.
    """

    url: str
    includes: list[_Part] = field(default_factory=list)
    excludes: list[_Part] = field(default_factory=list)
    found: bool = True
    asked: bool = False
    inactive: bool = True

    def holds(self, terminology: "Terminology", system: str | None, code: str) -> bool | None:
        """Whether the ValueSet holds a code, without a system in any; None where that cannot be told."""
        if not self.found or self.asked:
            return False if self.found else None  # a ValueSet adds nothing to itself
        self.asked = True
        answer = self._answer(terminology, system, code)
        self.asked = False
        return answer

    def _answer(self, terminology: "Terminology", system: str | None, code: str) -> bool | None:
        excluded = [part.holds(terminology, system, code) for part in self.excludes]
        if True in excluded:
            return False
        if not self.inactive and terminology.retired(system, code):
            return False
        answers = [part.holds(terminology, system, code) for part in self.includes]
        if True in answers:
            return None if None in excluded else True
        return None if None in answers else False

    def listed(self, limit: int = 12) -> list[str]:
        """Some codes of the ValueSet, for a message; empty where they are not listed or too many."""
        codes: list[str] = []
        for part in self.includes:
            if part.codes is None:
                return []
            codes.extend(sorted(part.codes))
        return codes if len(codes) <= limit else []


class Terminology:
    """Answers for the ValueSets and CodeSystems of one library; each is prepared once."""

    def __init__(self, library: Library):
        self._library = library
        self._value_sets: dict[str, ValueSetCodes] = {}
        self._systems: dict[str, Concepts | None] = {}
        self._answers: dict[tuple[str, str | None, str], bool | None] = {}

    def holds(self, value_set: str, system: str | None, code: str) -> bool | None:
        """Whether the ValueSet at an address holds a code; None where that cannot be told here."""
        key = (value_set, system, code)
        if key in self._answers:
            return self._answers[key]
        answer = self.value_set(value_set).holds(self, system, code)
        if len(self._answers) < 50_000:
            self._answers[key] = answer
        return answer

    def defines(self, system: str, code: str) -> bool | None:
        """Whether a code system defines a code; None where the system is not at hand in full."""
        if system in _SYNTAX:
            return bool(_SYNTAX[system].fullmatch(code))
        concepts = self.system(system)
        if concepts is None:
            return None
        if concepts.has(code):
            return True
        return False if concepts.complete else None

    def retired(self, system: str | None, code: str) -> bool:
        """Whether a code system at hand calls a code inactive, by the properties that the standard names."""
        concepts = self.system(system) if system else None
        stated = concepts.properties.get(code, {}) if concepts else {}
        return True in stated.get("inactive", ()) or "retired" in stated.get("status", ())

    def names(self, system: str, code: str) -> frozenset[str]:
        """What a code system calls a code, as `plain_name` writes it; empty where that is not at hand."""
        concepts = self.system(system)
        return concepts.displays.get(code, frozenset()) if concepts else frozenset()

    def value_set(self, canonical: str) -> ValueSetCodes:
        """A ValueSet made ready for questions."""
        if canonical not in self._value_sets:
            codes = ValueSetCodes(canonical)
            self._value_sets[canonical] = codes  # first, so that a ValueSet that includes itself ends
            definition = self._library.value_set(canonical)
            if definition is None:
                codes.found = False
            else:
                self._prepare(codes, definition)
        return self._value_sets[canonical]

    def system(self, url: str) -> Concepts | None:
        """The concepts of a code system, or None where it is not at hand."""
        url = url.partition("|")[0]
        if url not in self._systems:
            definition = self._library.code_system(url)
            known = definition is not None and definition.get("content") not in ("not-present", "supplement")
            self._systems[url] = _concepts(definition) if known and definition else None
        return self._systems[url]

    def _prepare(self, codes: ValueSetCodes, definition: Json) -> None:
        compose, expansion = definition.get("compose"), definition.get("expansion")
        if expansion and expansion.get("contains"):
            codes.includes = list(_expanded(expansion["contains"]))
            total = expansion.get("total")
            if (
                not compose
                or not isinstance(total, int)
                or total <= sum(len(p.codes or ()) for p in codes.includes)
            ):
                return
        compose = compose or {}
        codes.inactive = compose.get("inactive") is not False
        codes.includes = [self._part(entry) for entry in compose.get("include", ())]
        codes.excludes = [self._part(entry) for entry in compose.get("exclude", ())]

    def _part(self, entry: Json) -> _Part:
        part = _Part(entry.get("system"))
        part.value_sets = tuple(self.value_set(one) for one in entry.get("valueSet", ()))
        if entry.get("concept"):
            part.codes = frozenset(concept["code"] for concept in entry["concept"])
        elif entry.get("filter") and part.system:
            part.codes, part.unknown = self._filtered(part.system, entry["filter"])
        else:
            part.whole = True
        return part

    def _filtered(self, system: str, filters: Iterable[Json]) -> tuple[frozenset[str] | None, bool]:
        concepts = self.system(system)
        if concepts is None:
            return None, True
        codes = set(concepts.parents)
        unknown = not concepts.complete
        for one in filters:
            chosen = _chosen(concepts, one.get("property", ""), one.get("op", ""), one.get("value", ""))
            if chosen is None:
                return None, True
            codes &= chosen
        return frozenset(codes), unknown


def _chosen(concepts: Concepts, name: str, op: str, value: str) -> set[str] | None:
    """The codes a filter picks, or None for a filter that the definitions at hand cannot answer."""
    every = set(concepts.parents)
    if op in ("is-a", "descendent-of", "is-not-a"):
        below = concepts.below(value)
        if op == "is-not-a":
            return every - below - {value}
        return below | ({value} if op == "is-a" else set())
    if op == "generalizes":
        return {one for one in every if value in concepts.below(one)} | {value}
    if name in ("parent", "child") and op == "=":
        return {one for one in every if value in concepts.parents[one]} if name == "parent" else None
    if name in ("code", "concept"):
        return _by_text(every, {one: [one] for one in every}, op, value)
    values = {one: concepts.properties.get(one, {}).get(name, []) for one in every}
    if not any(values.values()):
        return None
    return _by_text(every, values, op, value)


def _by_text(every: set[str], values: dict[str, list[Any]], op: str, value: str) -> set[str] | None:
    wanted = {part.strip() for part in value.split(",")}
    match op:
        case "=":
            return {one for one in every if any(_text(v) == value for v in values[one])}
        case "in":
            return {one for one in every if any(_text(v) in wanted for v in values[one])}
        case "not-in":
            return {one for one in every if not any(_text(v) in wanted for v in values[one])}
        case "exists":
            return {one for one in every if bool(values[one]) is (value == "true")}
        case "regex":
            pattern = re.compile(value)
            return {one for one in every if any(pattern.fullmatch(_text(v)) for v in values[one])}
    return None


def _text(value: Any) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)


def _expanded(contains: Iterable[Json]) -> Iterator[_Part]:
    systems: dict[str | None, set[str]] = {}
    waiting = list(contains)
    while waiting:
        entry = waiting.pop()
        if "code" in entry and not entry.get("abstract"):
            systems.setdefault(entry.get("system"), set()).add(entry["code"])
        waiting.extend(entry.get("contains", ()))
    for system, codes in systems.items():
        yield _Part(system, frozenset(codes))


def plain_name(display: str) -> str:
    """A display without what does not count: case and the number of blanks."""
    return " ".join(display.split()).casefold()


def _names(concept: Json) -> Iterator[str]:
    yield plain_name(concept["display"])
    for one in concept.get("designation", ()):
        if isinstance(one.get("value"), str):
            yield plain_name(one["value"])


def _concepts(definition: Json) -> Concepts:
    concepts = Concepts(definition.get("content", "complete") == "complete")
    concepts.sensitive = definition.get("caseSensitive", True) is not False
    waiting: list[tuple[Json, str | None]] = [(entry, None) for entry in definition.get("concept", ())]
    children: list[tuple[str, str]] = []
    while waiting:
        entry, parent = waiting.pop()
        code = entry["code"]
        above = concepts.parents.setdefault(code, set())
        if isinstance(entry.get("display"), str):
            concepts.displays[code] = frozenset(_names(entry))
        if parent is not None:
            above.add(parent)
        for one in entry.get("property", ()):
            value = next((v for name, v in one.items() if name.startswith("value")), None)
            value = value.get("code") if isinstance(value, dict) else value
            if one["code"] in ("subsumedBy", "parent") and isinstance(value, str):
                above.add(value)
            elif one["code"] == "child" and isinstance(value, str):
                children.append((value, code))
            concepts.properties.setdefault(code, {}).setdefault(one["code"], []).append(value)
        waiting.extend((child, code) for child in entry.get("concept", ()))
    for child, parent in children:
        concepts.parents.setdefault(child, set()).add(parent)
    return concepts
