"""Walks a resource along the shapes of its profiles and reports every fault, each once.

Takes a resource as a dict and the canonicals of its profiles; gives Findings. What a value of one kind must
keep lives in the modules named after it: `rules`, `slicing`, `references`, `extensions`, `bundles`.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

from converter.check.bundles import check_bundle, check_contained
from converter.check.cardinality import (
    check_one_of,
    check_required,
    check_supported,
    check_valued,
    say_forbidden,
    say_list,
    say_too_many,
)
from converter.check.claims import ROOT_TYPES, shapes_of
from converter.check.contexts import Contexts
from converter.check.definitions_inside import check_code_system
from converter.check.extensions import check_extension
from converter.check.findings import Findings, Scope
from converter.check.implied import is_lenient
from converter.check.keys import check_beside, check_other_key
from converter.check.library import Library
from converter.check.memory import MOST_TRIES, Uses, content_key, place_key, remember
from converter.check.narrative_links import check_links
from converter.check.references import check_reference, entries_of
from converter.check.rules import Rules
from converter.check.shapes import Shape, Shapes, Slot
from converter.check.slicing import check_slices
from converter.check.values_inside import check_inside
from converter.model import Severity

Json = dict[str, Any]

_KNOWN_LIMIT = 4096
_LONGEST = 256


class Walker:
    """Walks resources of one release.

    Attributes:
        shapes: the compiled definitions.
        rules: fixed values, bindings, invariants.
        must_support: whether to report must-support elements that are absent.
    """

    def __init__(self, library: Library, must_support: bool = False):
        self.library = library
        self.shapes = Shapes(library)
        self.uses = Uses()
        self.rules = Rules(library, self.uses, self._conforms_to)
        invariants = self.rules.invariants
        self.contexts = Contexts(library, invariants.told, invariants.selected)
        self.must_support = must_support

    def resource(
        self,
        value: Json,
        path: str,
        found: Findings,
        scope: Scope,
        profiles: Sequence[str] = (),
        structural: bool = True,
    ) -> None:
        """Check a resource against the definition of its type, its `meta.profile` and further profiles.

        Args:
            value: the resource.
            path: its place, e.g. `Observation` or `Bundle.entry[0].resource`.
            found: where faults go.
            scope: where in the nest of resources it stands.
            profiles: canonicals it must conform to besides those it claims.
            structural: whether to check what it claims itself, or only `profiles`.
        """
        kind = value.get("resourceType")
        if not isinstance(kind, str) or kind not in self.library.resource_types:
            found.add("resource-type-unknown", path, f"{path}: {kind!r} is not a type of FHIR resource.")
            return
        shapes = shapes_of(self.shapes, value, kind, profiles, structural, path, found)
        for shape in shapes:
            self.object(shape, value, path, found, scope)
        if structural:
            self._implied(value, path, found, scope, {shape.url for shape in shapes})
        if "contained" in value:
            check_contained(value, path, found)
        if kind == "CodeSystem":
            check_code_system(value, path, found)
        if kind == "Bundle":
            check_bundle(value, path, found, self.library.resource_types)

    def _implied(self, value: Json, path: str, found: Findings, scope: Scope, checked: set[str]) -> None:
        """Check profiles that the standard lays on a resource which does not claim them.

        Source: FHIR R4, https://hl7.org/fhir/R4/observation-vitalsigns.html: Observations with these codes
        "SHALL conform to the vital signs profiles".
        """
        for canonical in self.rules.implied_profiles(value):
            shape = self.shapes.of_profile(canonical)
            if shape is None or shape.url in checked:
                continue
            inner = Findings()
            self.object(shape, value, path, inner, scope)
            for one in inner.diagnostics:
                found.take(replace(one, severity=Severity.WARNING) if is_lenient(one, path) else one)

    def nested(self, slot: Slot, value: Any, path: str, found: Findings, scope: Scope) -> None:
        """Check a resource inside another: contained, a bundle's entry, a parameter."""
        if not isinstance(value, dict):
            found.add("wrong-json-type", path, f"{path} must be a resource, written as an object.")
            return
        kind = value.get("resourceType")
        entry = slot.entries.get(str(kind)) or next(
            (slot.entries[n] for n in ROOT_TYPES if n in slot.entries), None
        )
        if entry is None and isinstance(kind, str):
            wanted = " or ".join(slot.entries)
            found.add("wrong-type", path, f"{path} must be a {wanted}, but is a {kind}.", expected=wanted)
        contained = slot.key == "contained"
        inner = Scope(value, scope.container if contained else value, path, scope.bundles)
        if not contained and scope.resource.get("resourceType") == "Bundle":
            inner = Scope(
                value, value, path, (*scope.bundles, (scope.resource, _full_url(scope.resource, value)))
            )
        profiles = tuple((entry or {}).get("profile", ()))
        if len(profiles) > 1:
            profiles = self._best_profile(value, path, inner, profiles)
        self.resource(value, path, found, inner, profiles)
        if slot.element.children is not None and slot.type in (*ROOT_TYPES, kind):
            for shape in self.shapes.of_slot(slot):
                self.object(shape, value, path, found, inner, open_ended=True)

    def _best_profile(self, value: Json, path: str, scope: Scope, profiles: Iterable[str]) -> tuple[str, ...]:
        profiles = tuple(profiles)
        for canonical in profiles:
            if self.conforms(value, path, scope, canonical):
                return (canonical,)
        return profiles[:1]

    def _conforms_to(self, value: Any, canonical: str, scope: Scope) -> bool | None:
        """`conformsTo` of FHIRPath; None where the definition is not known."""
        if self.shapes.of_profile(canonical) is None:
            return None
        resource = isinstance(value, dict) and "resourceType" in value
        inner = Scope(value, value, scope.path, scope.bundles) if resource else scope
        return self.conforms(value, scope.path, inner, canonical)

    def conforms(self, value: Any, path: str, scope: Scope, canonical: str) -> bool:
        """Whether a resource or element has no error against a definition."""
        attempt = self.attempt(value, path, scope, canonical)
        return attempt is not None and not attempt.failed()

    def attempt(self, value: Any, path: str, scope: Scope, canonical: str) -> Findings | None:
        """What a check of a value against a definition finds; None where it cannot be of that kind at all."""
        shape = self.shapes.of_profile(canonical)
        if shape is None:
            return None
        found = Findings()
        if not isinstance(value, dict):
            slot = self.shapes.of_root(canonical)
            if slot is None:
                return None
            self.value(slot, value, path, found, scope)
            return found
        kind = value.get("resourceType")
        if kind and shape.name not in (*ROOT_TYPES, kind):
            return None
        self.object(shape, value, path, found, scope)
        return found

    def object(
        self, shape: Shape, value: Json, path: str, found: Findings, scope: Scope, open_ended: bool = False
    ) -> None:
        """Check one object against one shape; `open_ended` where further elements belong to its own type."""
        slots = shape.slots
        for key, item in value.items():
            slot = slots.get(key)
            if slot is not None and type(item) is str and not slot.array and item in slot.known:
                continue  # known for this slot alone, and only where nothing else decides
            if slot is None:
                if not open_ended and not (key == "resourceType" and self._is_resource(shape)):
                    check_other_key(self, shape, key, item, value, path, found, scope)
            elif slot.array:
                if type(item) is list:
                    self._list(slot, item, value, path, found, scope)
                else:
                    say_list(slot, path, found, wanted=True)
            elif type(item) is list:
                say_list(slot, path, found, wanted=False)
            elif slot.max == 0:
                say_forbidden(slot, path, found)
            elif not slot.group.sliced:
                self.value(slot, item, f"{path}.{slot.step}", found, scope)
        self._whole(shape, value, path, found, scope)

    def _is_resource(self, shape: Shape) -> bool:
        return shape.name in self.library.resource_types or shape.name in ROOT_TYPES

    def _whole(self, shape: Shape, value: Json, path: str, found: Findings, scope: Scope) -> None:
        """Check what an object must be beyond what each of its keys holds."""
        for group in shape.required:
            for key in group.once:
                if key in value:
                    break
            else:
                check_required(group, value, path, found)
        for group in shape.valued:
            check_valued(group, value, path, found)
        if shape.choices and len(shape.choice_keys & value.keys()) > 1:
            for group in shape.choices:
                check_one_of(group, value, path, found)
        for group in shape.sliced:
            check_slices(self, group, value, path, found, scope)
        for slot in shape.beside:
            check_beside(self, slot, value, path, found, scope)
        if self.must_support:
            check_supported(shape, value, path, found)
        if shape.invariants != ():
            self.rules.check_invariants(shape, value, path, found, scope)

    def _list(
        self, slot: Slot, items: list[Any], parent: Json, path: str, found: Findings, scope: Scope
    ) -> None:
        place = f"{path}.{slot.step}"
        if not items:
            found.add("empty-value", place, f"{place} is an empty list; leave it out instead.")
        if len(items) > slot.max:
            if slot.max == 0:
                say_forbidden(slot, path, found)
                return
            say_too_many(slot, place, len(items), found)
        if slot.group.sliced:
            return
        extras = parent.get(f"_{slot.key}") if slot.check else None
        for index, item in enumerate(items):
            if item is None and isinstance(extras, list) and index < len(extras) and extras[index]:
                continue
            self.value(slot, item, f"{place}[{index}]", found, scope)

    def value(self, slot: Slot, item: Any, path: str, found: Findings, scope: Scope) -> None:
        """Check one value against one slot."""
        if slot.check is not None:
            if type(item) is not str or not slot.pure:
                self._primitive(slot, item, path, found, scope)
            elif item not in slot.known:
                before = found.count
                self._primitive(slot, item, path, found, scope)
                if found.count == before and len(slot.known) < _KNOWN_LIMIT and len(item) < _LONGEST:
                    slot.known.add(item)
            return
        if slot.resource:
            self.nested(slot, item, path, found, scope)
            return
        if type(item) is not dict:
            found.add(
                "wrong-json-type", path, f"{path} must be an object of type {slot.type}.", expected=slot.type
            )
            return
        if not item:
            found.add("empty-value", path, f"{path} is empty; leave it out or give it a value.")
            return
        key = content_key(item) if slot.tries < MOST_TRIES else None
        if key is None:
            self._object_of(slot, item, path, found, scope)
        elif key in slot.known:
            slot.tries -= 1
        else:
            self._remembered(slot, item, key, path, found, scope)

    def _remembered(
        self, slot: Slot, item: Json, key: bytes, path: str, found: Findings, scope: Scope
    ) -> None:
        """Check a value unless it was good in this place before, and remember it if it is good now."""
        kind = scope.resource.get("resourceType")
        if slot.placed and place_key(kind, path, key) in slot.known:
            slot.tries -= 1
            return
        slot.tries += 1
        counts = (found.count, self.uses.scope, self.uses.place)
        self._object_of(slot, item, path, found, scope)
        remember(slot, key, kind, path, self.uses, counts, found)

    def _object_of(self, slot: Slot, item: Json, path: str, found: Findings, scope: Scope) -> None:
        if slot.type == "Extension":
            check_extension(self, slot, item, path, found, scope)
        else:
            self._complex(slot, item, path, found, scope)
        if not slot.plain:
            self.rules.check_value(slot, item, path, found, scope)

    def _complex(self, slot: Slot, item: Json, path: str, found: Findings, scope: Scope) -> None:
        if slot.type == "Reference":
            check_reference(self, slot, item, path, found, scope)
        elif slot.type == "Narrative":
            self.uses.scope += check_links(item.get("div"), path, found, scope)
        elif slot.inside:
            check_inside(slot.type, item, path, found)
            if slot.type == "Coding":
                self.rules.check_coding(item, path, found)
        profiles = slot.entry.get("profile", ())
        self._say_unknown(profiles, path, found)
        if len(profiles) > 1:
            fitting = next((c for c in profiles if self.conforms(item, path, scope, c)), profiles[0])
            shape = self.shapes.of_profile(fitting)
            if shape is not None:
                self.object(shape, item, path, found, scope)
                return
        for shape in self.shapes.of_slot(slot):
            self.object(shape, item, path, found, scope)

    def _say_unknown(self, profiles: Sequence[str], path: str, found: Findings) -> None:
        """Say that nothing is known of the definitions that a value must conform to."""
        if profiles and not any(self.shapes.of_profile(one) for one in profiles):
            found.add(
                "profile-unknown",
                path,
                f"{path} must conform to {' or '.join(profiles)}, which is not known here.",
                hint="Give the folder that holds it with --profiles.",
                rule=profiles[0],
            )

    def _primitive(self, slot: Slot, item: Any, path: str, found: Findings, scope: Scope) -> None:
        if slot.check is None:
            return
        self._say_unknown(slot.entry.get("profile", ()), path, found)
        for canonical in slot.entry.get("profile", ()):
            root = self.shapes.of_root(canonical)
            if root is not None:
                self.value(root, item, path, found, scope)
        if item is None:
            found.add("empty-value", path, f"{path} is null; leave it out instead.")
            return
        expected = slot.check(item)
        if expected is not None:
            code = "empty-value" if item == "" else "wrong-format"
            shown = str(item) if len(str(item)) <= 60 else f"{str(item)[:57]}..."
            found.add(
                code,
                path,
                f"{path} is {shown!r}, which is not a valid {slot.type}.",
                expected=expected,
                rule=slot.type,
            )
            return
        if not slot.plain:
            self.rules.check_value(slot, item, path, found, scope)
        if slot.unique:
            self.uses.scope += 1
            if found.ids.setdefault((scope.path, item), path) != path:
                found.add(
                    "element-id",
                    path,
                    f"{path}: the id {item!r} stands on another element too.",
                    expected="an id of its own",
                )


def _full_url(bundle: Json, resource: Json) -> str | None:
    for entry in entries_of(bundle):
        if entry.get("resource") is resource:
            url = entry.get("fullUrl")
            return url if isinstance(url, str) else None
    return None
