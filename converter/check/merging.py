"""Lays one ElementDefinition of a differential on the element it constrains.

Takes the element of the base and the constraint; changes the element in place and reports what the base
forbids: a wider cardinality, a foreign type, a weaker binding, another fixed value. The base's rule stays.
"""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from converter.check.elements import UNBOUNDED, Element, bound
from converter.check.library import BASE
from converter.check.values import comparable, differs, fits
from converter.model import Diagnostic, Severity

if TYPE_CHECKING:
    from converter.check.library import Library

Json = dict[str, Any]

_R5 = "http://hl7.org/fhir/5.0/StructureDefinition/extension-ElementDefinition."
WRITTEN_FORM = frozenset({"regex", "minLength", "maxDecimalPlaces"})
"""The standard's extensions that say how a primitive is written, by the end of their URL."""
_STRENGTH = {"example": 0, "preferred": 1, "extensible": 2, "required": 3}
_SLICE_OWN = frozenset({"min", "max", "slicing", "sliceName", "type"})
_RESTATED = frozenset(
    {
        *("id", "path", "sliceName", "sliceIsConstraining", "slicing", "min", "max", "base"),
        *("contentReference", "type", "constraint", "binding", "short", "definition", "comment"),
        *("requirements", "alias", "mapping", "example", "label", "code", "condition", "isSummary"),
        *("isModifierReason", "meaningWhenMissing", "orderMeaning", "extension"),
    }
)


class Merger:
    """Lays constraints on elements of one definition."""

    def __init__(self, library: "Library", url: str, problems: list[Diagnostic]):
        self._library = library
        self._url = url
        self._problems = problems

    def merge(self, element: Element, facts: Json, quiet: bool = False, to_slice: bool = False) -> None:
        """Constrain an element.

        Args:
            element: the element, changed in place.
            facts: the ElementDefinition of the differential.
            quiet: the constraint was written for another element and is not reported again.
            to_slice: it was written for the unsliced element and reaches a slice of it, whose own
                cardinality and type are left alone.
        """
        if to_slice:
            facts = {name: value for name, value in facts.items() if name not in _SLICE_OWN}
        found = [
            *self._cardinality(element, facts),
            *self._types(element, facts),
            *self._values(element, facts),
            *self._binding(element, facts),
            *self._slicing(element, facts),
        ]
        keys = {constraint.get("key") for constraint in facts.get("constraint", ())} | {"ele-1"}
        kept = tuple(c for c in element.constraints if c.get("key") not in keys)
        element.constraints = kept + tuple(c for c in facts.get("constraint", ()) if c.get("key") != "ele-1")
        if not quiet:
            self._problems.extend(self._problem(element, facts, sentence) for sentence in found)

    def _cardinality(self, element: Element, facts: Json) -> Iterator[str]:
        least, most = facts.get("min", element.min), bound(facts.get("max", _text(element.max)))
        if most > element.max:
            yield f"max {_text(most)} is wider than the base's max {_text(element.max)}"
            most = element.max
        if least < element.min and element.slice_name is None:
            yield f"min {least} is lower than the base's min {element.min}"
            least = element.min
        if least > most:
            yield f"min {least} is greater than max {_text(most)}"
        element.min, element.max = least, most

    def _types(self, element: Element, facts: Json) -> Iterator[str]:
        stated = facts.get("type")
        if not stated:
            return
        kept = []
        for entry in stated:
            allowed = self._allowed(element, entry.get("code", ""))
            if allowed is None and element.types:
                names = ", ".join(one["code"] for one in element.types)
                yield f"type {entry.get('code')} is not among the base's types ({names})"
                continue
            if allowed:
                yield from self._foreign_targets(allowed, entry)
            kept.append(self._narrowed(allowed, entry) if allowed else entry)
        if kept:
            if element.types and {e["code"] for e in kept} != {e["code"] for e in element.types}:
                element.children = None if element.is_choice or len(kept) == 1 else element.children
            element.types = tuple(kept)

    def _allowed(self, element: Element, code: str) -> Json | None:
        """The type entry of the base that permits a type."""
        for entry in element.types:
            if entry["code"] == code:
                return entry
        for entry in element.types:
            if self._descends(code, entry["code"]):
                return entry
        return None

    def _descends(self, code: str, ancestor: str) -> bool:
        seen = 0
        definition = self._library.type_definition(code)
        while definition is not None and seen < 20:
            if definition.get("type") == ancestor or definition.get("name") == ancestor:
                return True
            definition = self._library.structure(definition.get("baseDefinition") or "")
            seen += 1
        return False

    def _foreign_targets(self, base: Json, entry: Json) -> Iterator[str]:
        """The targets of a reference that the base does not lead to."""
        permitted = {str(one).rpartition("/")[2] for one in base.get("targetProfile", ())}
        if not permitted or "Resource" in permitted:
            return
        wide = permitted | {self._target_type(one) for one in base.get("targetProfile", ())}
        for target in entry.get("targetProfile", ()):
            kind = self._target_type(target)
            if kind is not None and kind not in wide and str(target).rpartition("/")[2] not in permitted:
                yield f"target {target} is not among the base's targets ({', '.join(sorted(permitted))})"

    def _target_type(self, canonical: str) -> str | None:
        definition = self._library.structure(canonical)
        return definition.get("type") if definition else None

    def _narrowed(self, base: Json, entry: Json) -> Json:
        """A type entry with what the base says of the same type and the differential leaves unsaid."""
        carried: Json = {
            name: base[name]
            for name in ("profile", "targetProfile", "aggregation")
            if name in base and name not in entry and base["code"] == entry.get("code")
        }
        return {**carried, **_normal(entry)}

    def _values(self, element: Element, facts: Json) -> Iterator[str]:
        for name, value in {**facts, **value_control(facts)}.items():
            if name in _RESTATED:
                continue
            base = element.facts.get(name)
            if name.startswith("fixed") and base is not None and differs(base, value):
                yield f"{name} differs from the base's fixed value"
                continue
            if name.startswith("pattern") and base is not None and not fits(base, value):
                yield f"{name} does not keep the base's pattern"
                continue
            if name == "mustSupport" and base and not value:
                yield "mustSupport is taken back"
                continue
            if base is not None and _loosens(name, base, value):
                yield f"{name} {value} is wider than the base's {base}"
                continue
            element.facts[name] = value

    def _binding(self, element: Element, facts: Json) -> Iterator[str]:
        stated = facts.get("binding")
        if not stated:
            return
        base = element.facts.get("binding") or {}
        old, new = (_STRENGTH.get(one.get("strength", "example"), 0) for one in (base, stated))
        if new < old:
            yield f"binding {stated.get('strength')} is weaker than the base's {base.get('strength')}"
            return
        value_set = stated.get("valueSet") or base.get("valueSet")
        if str(value_set).startswith("#"):
            value_set = f"{self._url}{value_set}"  # contained in the definition
        element.facts["binding"] = {**stated, "valueSet": value_set}

    def _slicing(self, element: Element, facts: Json) -> Iterator[str]:
        stated = facts.get("slicing")
        if not stated:
            return
        base = element.slicing or {}
        if base.get("rules") == "closed" and stated.get("rules", "closed") != "closed":
            yield "the base's slicing is closed and cannot be opened"
            stated = {**stated, "rules": "closed"}
        element.slicing = {**base, **stated}

    def _problem(self, element: Element, facts: Json, sentence: str) -> Diagnostic:
        place = facts.get("id") or element.label
        return Diagnostic(
            code="profile-contradiction",
            severity=Severity.ERROR,
            message=f"{place}: {sentence}.",
            hint="A profile may only narrow what its base allows.",
            path=place,
            rule=self._url,
        )


def _text(number: int) -> str:
    return "*" if number >= UNBOUNDED else str(number)


def _loosens(name: str, base: Any, value: Any) -> bool:
    if name == "maxLength":
        return bool(value > base)
    pair = comparable(base, value)
    if pair is None:
        return False
    old, new = pair
    return bool((name.startswith("minValue") and new < old) or (name.startswith("maxValue") and new > old))


def value_control(facts: Json) -> Json:
    """Whether a primitive needs a value of its own, as R5 says it and as R4 says it by extension."""
    found: Json = {}
    for extension in facts.get("extension", ()):
        url = extension.get("url", "")
        if url == f"{_R5}mustHaveValue" and extension.get("valueBoolean"):
            found["mustHaveValue"] = True
        elif url == f"{_R5}valueAlternatives":
            found.setdefault("valueAlternatives", []).append(extension.get("valueCanonical"))
    return {**found, **written_form(facts)}


def written_form(facts: Json) -> Json:
    """How a primitive must be written, as the standard's extensions say it: `regex` and the like."""
    found: Json = {}
    types = facts.get("type", ())
    beside_type = types[0].get("extension", ()) if len(types) == 1 else ()
    for extension in (*beside_type, *facts.get("extension", ())):
        name = str(extension.get("url", "")).removeprefix(BASE)
        value = extension.get("valueString") if name == "regex" else extension.get("valueInteger")
        if name in WRITTEN_FORM and isinstance(value, str if name == "regex" else int):
            found[name] = value
    return found


def _normal(entry: Json) -> Json:
    from converter.check.snapshot import normal_type

    return normal_type(entry)
