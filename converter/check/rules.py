"""What a definition asks of one value: fixed and pattern values, ranges, lengths, bindings, invariants.

Takes a value and its Slot or Shape; adds what is wrong to Findings.
"""

from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from converter.check.bindings import check_binding, codes_of
from converter.check.findings import Findings, Scope
from converter.check.implied import implied_profiles
from converter.check.invariants import ConformsTo, Invariant, Invariants
from converter.check.library import Library
from converter.check.memory import Uses, content_key
from converter.check.shapes import Shape, Slot
from converter.check.terminology import Terminology, plain_name
from converter.check.values import above, below, decimal_places, differs, fits, matches
from converter.model import Severity

Json = dict[str, Any]

_SEVERITY = {"error": Severity.ERROR, "warning": Severity.WARNING}
_MOST_KNOWN = 4096
_LONGEST_KEY = 8000
_VARIED = frozenset({"id", "text", "identifier", "extension", "contained", "subject"})
"""Elements that differ from resource to resource, so that nothing is gained by remembering their content."""
_BEST_PRACTICE = frozenset({"dom-6"})
"""Warnings that the standard flags as best practice, here information: narrative is not for data exchange."""


class Rules:
    """The rules of one library, each made ready once."""

    def __init__(self, library: Library, uses: Uses, conforms_to: ConformsTo):
        self.uses = uses
        self.terminology = Terminology(library)
        self.invariants = Invariants(library, self.member_of, conforms_to)

    def implied_profiles(self, resource: Json) -> tuple[str, ...]:
        """The profiles that the standard itself lays on a resource by its content."""
        return implied_profiles(resource)

    def in_value_set(self, value: Any, kind: str, value_set: str) -> bool | None:
        """Whether a coded value has a code of a ValueSet; None where that cannot be told here."""
        codes = codes_of(kind, value) or []
        answers = [self.terminology.holds(value_set, system, code) for system, code in codes]
        return True if True in answers else None if None in answers else False

    def member_of(self, value: Any, value_set: str) -> bool | None:
        """`memberOf` of FHIRPath, for a value whose type shows in its content."""
        kind = "code"
        if isinstance(value, dict):
            kind = "CodeableConcept" if "coding" in value or "code" not in value else "Coding"
        return self.in_value_set(value, kind, value_set)

    def check_value(self, slot: Slot, value: Any, path: str, found: Findings, scope: Scope) -> None:
        """Check what the element asks of its value beyond type and content."""
        rule = slot.group.url
        if slot.fixed and differs(slot.fixed[1], value):
            self._say(found, "fixed-value", path, "must be exactly", slot.fixed[1], value, rule)
        if slot.pattern and not fits(slot.pattern[1], value):
            self._say(found, "pattern-value", path, "must hold", slot.pattern[1], value, rule)
        for name, limit in slot.ranges:
            if name.startswith("minValue") and below(value, limit):
                self._say(found, "below-minimum", path, "must be at least", limit, value, rule)
            elif name.startswith("maxValue") and above(value, limit):
                self._say(found, "above-maximum", path, "must be at most", limit, value, rule)
        self._check_length(slot, value, path, found)
        if slot.check is not None:
            self._check_written(slot, value, path, found)
        if slot.binding and not (slot.prescribed and slot.binding.get("strength") == "preferred"):
            check_binding(self.terminology, slot.binding, slot.type, value, path, found, rule)
        if slot.invariants is None:
            slot.invariants = self.invariants.of(slot.constraints)
        if slot.invariants:
            self._check_all(slot.invariants, slot.type, value, path, found, scope)

    def check_coding(self, value: Json, path: str, found: Findings) -> None:
        """Check that a code exists in its code system, where that system is at hand in full."""
        system, code = value.get("system"), value.get("code")
        if not isinstance(system, str) or not isinstance(code, str):
            return
        if self.terminology.defines(system, code) is False:
            found.add(
                "code-unknown",
                path,
                f"{path}: the code system {system} has no code {code!r}.",
                expected=system,
                rule=system,
            )
        self._check_display(system, code, value.get("display"), path, found)

    def _check_display(self, system: str, code: str, display: Any, path: str, found: Findings) -> None:
        names = self.terminology.names(system, code) if isinstance(display, str) else None
        if names and plain_name(display) not in names:
            found.add(
                "display-wrong",
                f"{path}.display",
                f"{path}.display does not name the code {code!r} of {system}.",
                expected=" or ".join(sorted(names)),
                rule=system,
            )

    def check_invariants(self, shape: Shape, value: Json, path: str, found: Findings, scope: Scope) -> None:
        """Check the invariants of an object as a whole.

        On a resource by itself most of them depend on a few elements that repeat from resource to resource;
        where all of those held for the same content before, they hold again.
        """
        if shape.invariants is None:
            self._prepare(shape)
        if not shape.invariants:
            return
        if not (shape.reads and value is scope.resource and value is scope.container):
            self._check_all(shape.invariants, shape.name, value, path, found, scope)
            return
        key = content_key([(name, value[name]) for name in shape.reads if name in value], _LONGEST_KEY)
        if shape.always:
            self._check_all(shape.always, shape.name, value, path, found, scope)
        if key is not None and key in shape.known:
            return
        before = found.count
        self._check_all(shape.repeated, shape.name, value, path, found, scope)
        if key is not None and found.count == before and len(shape.known) < _MOST_KNOWN:
            shape.known.add(key)

    def _prepare(self, shape: Shape) -> None:
        """Compile a shape's invariants and tell those that read what repeats from the others."""
        every = shape.invariants = self.invariants.of(shape.constraints)
        repeated = [one for one in every if one.reads is not None and not one.reads & _VARIED]
        shape.repeated = tuple(repeated)
        shape.always = tuple(one for one in every if one not in repeated)
        names = frozenset[str]().union(*(one.reads or () for one in repeated))
        shape.reads = shape.keys_of(names)

    def _check_all(
        self, invariants: Iterable[Invariant], kind: str, value: Any, path: str, found: Findings, scope: Scope
    ) -> None:
        environment = self.invariants.environment(kind, value, scope)
        for invariant in invariants:
            if invariant.contextual:
                self.uses.scope += 1
            holds = self.invariants.holds(invariant, environment, scope)
            if holds is not True:
                self._say_broken(invariant, holds is None, path, found)

    def _say_broken(self, invariant: Invariant, unknown: bool, path: str, found: Findings) -> None:
        if unknown:
            readable = invariant.readable
            verb = "could not be evaluated" if readable else "of the profile is no expression"
            found.add(
                "invariant-not-checked" if readable else "invariant-unreadable",
                path,
                f"{path}: the rule {invariant.key} {verb}: {invariant.expression}",
                severity=Severity.INFORMATION if readable else Severity.ERROR,
                expected=invariant.expression,
                rule=invariant.key,
            )
        else:
            found.add(
                "invariant",
                path,
                f"{path} breaks the rule {invariant.key}: {invariant.human or invariant.expression}",
                severity=_severity(invariant),
                expected=invariant.expression,
                rule=invariant.key,
            )

    def _check_length(self, slot: Slot, value: Any, path: str, found: Findings) -> None:
        longest = slot.element.facts.get("maxLength")
        if longest is not None and isinstance(value, str) and len(value) > longest:
            found.add(
                "too-long",
                path,
                f"{path} has {len(value)} characters; {longest} are allowed.",
                expected=f"at most {longest} characters",
                rule=slot.group.url,
            )

    def _check_written(self, slot: Slot, value: Any, path: str, found: Findings) -> None:
        """Check how a primitive is written, where the definition says so by extension."""
        facts, rule = slot.element.facts, slot.group.url
        if "regex" in facts and matches(facts["regex"], value) is False:
            self._say(found, "wrong-format", path, "must be written as", facts["regex"], value, rule)
        least = facts.get("minLength")
        if least is not None and isinstance(value, str) and len(value) < least:
            self._say(found, "too-short", path, "must have as many characters as", least, value, rule)
        most = facts.get("maxDecimalPlaces")
        if most is not None and decimal_places(value) > most:
            self._say(found, "too-precise", path, "must have no more decimal places than", most, value, rule)

    def _say(
        self, found: Findings, code: str, path: str, verb: str, wanted: Any, value: Any, rule: str
    ) -> None:
        text = shown(wanted)
        message = f"{path} {verb} {text}, but is {shown(value)}."
        found.add(code, path, message, expected=text, rule=rule)


def _severity(invariant: Invariant) -> Severity:
    if invariant.key in _BEST_PRACTICE:
        return Severity.INFORMATION
    return _SEVERITY.get(invariant.severity, Severity.ERROR)


def shown(value: Any) -> str:
    """A value as a message shows it: compact JSON, cut where long."""
    import json

    text = json.dumps(value, ensure_ascii=False, default=_number)
    return text if len(text) <= 200 else f"{text[:197]}..."


def _number(value: object) -> object:
    return float(value) if isinstance(value, Decimal) else str(value)
