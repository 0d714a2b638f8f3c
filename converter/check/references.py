"""Checks references: where they lead, and whether they may lead there.

Resolution stays inside what is at hand: the resource's own contained resources and the bundles around it.
"""

import re
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from converter.check.findings import Findings, Scope
from converter.check.library import BASE
from converter.model import Severity

if TYPE_CHECKING:
    from converter.check.shapes import Slot
    from converter.check.walk import Walker

Json = dict[str, Any]

_LITERAL = re.compile(
    r"(?:(?P<base>https?://.+)/)?(?P<type>[A-Z][A-Za-z]+)/(?P<id>[A-Za-z0-9.\-]{1,64})(?:/_history/[A-Za-z0-9.\-]+)?$"
)
_WHOLE = frozenset({"document", "message", "transaction", "batch"})
"""Types of bundle in which a reference by URN must lead to an entry; elsewhere it may lead outside."""

_ANY = frozenset({"Resource", "DomainResource"})


def resolve(reference: Any, scope: Scope) -> Json | None:
    """The resource a Reference or a URL leads to, or None where it is not at hand."""
    target = reference.get("reference") if isinstance(reference, dict) else reference
    if not isinstance(target, str) or not target:
        return None
    if target.startswith("#"):
        return _contained(target[1:], scope.container)
    for bundle, full_url in reversed(scope.bundles):
        found = in_bundle(target, bundle, full_url)
        if found is not None:
            return found
    if scope.resource.get("resourceType") == "Bundle":
        return in_bundle(target, scope.resource, None)
    return None


def _contained(identifier: str, container: Json) -> Json | None:
    if not identifier:
        return container
    contained = container.get("contained")
    for resource in contained if isinstance(contained, list) else ():
        if isinstance(resource, dict) and resource.get("id") == identifier:
            return resource
    return None


def entries_of(bundle: Json) -> Iterator[Json]:
    """The entries of a bundle that are objects."""
    entries = bundle.get("entry")
    for entry in entries if isinstance(entries, list) else ():
        if isinstance(entry, dict):
            yield entry


def in_bundle(target: str, bundle: Json, full_url: str | None, strict: bool = False) -> Json | None:
    """The entry of a bundle that a reference leads to, by full URL or, unless `strict`, by type and id."""
    target = target.partition("#")[0].partition("|")[0]
    literal = _LITERAL.match(target)
    plain = re.sub(r"/_history/[^/]+$", "", target)
    wanted = {target, plain}
    if literal and not literal["base"]:
        own = _LITERAL.match(full_url or "")
        if own and own["base"]:
            wanted.add(f"{own['base']}/{literal['type']}/{literal['id']}")
    fallback = None
    for entry in entries_of(bundle):
        resource, url = entry.get("resource"), entry.get("fullUrl")
        if not isinstance(resource, dict):
            continue
        if isinstance(url, str) and url in wanted:
            return resource
        if (
            not strict
            and fallback is None
            and literal
            and not literal["base"]
            and _is_named(resource, literal)
        ):
            fallback = resource
    return fallback


def _is_named(resource: Json, literal: re.Match[str]) -> bool:
    return resource.get("resourceType") == literal["type"] and resource.get("id") == literal["id"]


def type_of(reference: Json, scope: Scope) -> str | None:
    """The type of resource a Reference leads to, as far as it can be told."""
    found = resolve(reference, scope)
    if found is not None:
        kind = found.get("resourceType")
        return kind if isinstance(kind, str) else None
    target, stated = reference.get("reference"), reference.get("type")
    literal = _LITERAL.match(target) if isinstance(target, str) else None
    if literal:
        return literal["type"]
    return stated if isinstance(stated, str) else None


def check_reference(
    walker: "Walker", slot: "Slot", value: Json, path: str, found: Findings, scope: Scope
) -> None:
    """Check one Reference: its target's type and profile, and that what it names inside is there."""
    target = value.get("reference")
    if target is not None:
        walker.uses.scope += 1
    resolved = resolve(value, scope)
    if isinstance(target, str):
        _check_reached(target, resolved, path, found, scope)
    _check_stated_type(value, resolved, path, found)
    targets = slot.entry.get("targetProfile", ())
    kind = type_of(value, scope)
    if kind is not None and kind not in walker.library.resource_types:
        if isinstance(target, str) and target.startswith(f"{kind}/"):
            found.add(
                "reference-target", path, f"{path}: {kind} is not a type of resource.", expected="Resource"
            )
        return
    if targets and kind is not None and kind not in slot.reached:
        before = found.count
        _check_target(walker, targets, kind, resolved, value, path, found, scope)
        if found.count == before and f"{BASE}{kind}" in targets:
            slot.reached.add(kind)  # any resource of this type will do
    _check_aggregation(slot, target, resolved, path, found, scope)


def _check_stated_type(value: Json, resolved: Json | None, path: str, found: Findings) -> None:
    """Check that the type a Reference states is that of what it leads to."""
    stated, target = value.get("type"), value.get("reference")
    literal = _LITERAL.match(target) if isinstance(target, str) else None
    actual = resolved.get("resourceType") if resolved is not None else literal["type"] if literal else None
    if isinstance(stated, str) and isinstance(actual, str) and stated.rpartition("/")[2] != actual:
        found.add(
            "reference-type",
            f"{path}.type",
            f"{path}.type says {stated}, but the reference leads to a {actual}.",
            expected=actual,
        )


def _check_reached(target: str, resolved: Json | None, path: str, found: Findings, scope: Scope) -> None:
    if resolved is not None:
        return
    if target.startswith("#"):
        found.add(
            "reference-unresolved",
            path,
            f"{path}: no contained resource has the id {target[1:]!r}.",
            expected="a contained resource",
            rule="ref-1",
        )
    elif target.startswith(("urn:uuid:", "urn:oid:")) and scope.bundles:
        whole = str(scope.bundles[-1][0].get("type")) in _WHOLE
        found.add(
            "reference-unresolved",
            path,
            f"{path}: no entry of the bundle has the full URL {target}.",
            severity=Severity.ERROR if whole else Severity.WARNING,
            expected="an entry of the bundle",
        )


def _check_target(
    walker: "Walker",
    targets: Any,
    kind: str,
    resolved: Json | None,
    value: Json,
    path: str,
    found: Findings,
    scope: Scope,
) -> None:
    types = {canonical: target_type(walker, canonical) for canonical in targets}
    fitting = [canonical for canonical, name in types.items() if name is None or name == kind or name in _ANY]
    if not fitting:
        names = sorted({name for name in types.values() if name})
        found.add(
            "reference-target",
            path,
            f"{path} leads to a {kind}, but must lead to {' or '.join(names)}.",
            expected=", ".join(names),
            rule="targetProfile",
        )
        return
    if resolved is None:
        return
    if not any(types[canonical] for canonical in fitting):
        found.add(
            "profile-unknown",
            path,
            f"{path}: what it leads to must conform to {' or '.join(fitting)}, which is not known here.",
            hint="Give the folder that holds it with --profiles.",
            rule=fitting[0],
        )
        return
    _check_profile(walker, fitting, types, kind, resolved, path, found, scope)


def _check_profile(
    walker: "Walker",
    fitting: list[str],
    types: dict[str, str | None],
    kind: str,
    resolved: Json,
    path: str,
    found: Findings,
    scope: Scope,
) -> None:
    """Check that what a reference leads to conforms to one of the target profiles that fit its type."""
    profiles = [one for one in fitting if not one.startswith(BASE) or one[len(BASE) :] != kind]
    if len(profiles) == len(fitting):
        known = [one for one in profiles if types[one] is not None and types[one] not in _ANY]
        if known and len(known) == len(profiles) and not _any_conforms(walker, known, resolved, scope):
            found.add(
                "reference-target",
                path,
                f"{path}: the {kind} it leads to does not conform to {' or '.join(known)}.",
                expected=", ".join(known),
                hint=_why(walker, known[0], resolved, scope),
                rule="targetProfile",
            )


def _why(walker: "Walker", profile: str, resolved: Json, scope: Scope) -> str | None:
    """The first thing that keeps a resource from conforming to a profile."""
    inner = Scope(
        resolved, scope.container if resolved is not scope.resource else resolved, "", scope.bundles
    )
    attempt = walker.attempt(resolved, str(resolved.get("resourceType")), inner, profile)
    return (
        next((one.message for one in attempt.diagnostics if one.severity == "error"), None)
        if attempt
        else None
    )


def _any_conforms(walker: "Walker", profiles: list[str], resolved: Json, scope: Scope) -> bool:
    inner = Scope(
        resolved, scope.container if resolved is not scope.resource else resolved, "", scope.bundles
    )
    return any(walker.conforms(resolved, "target", inner, one) for one in profiles)


def target_type(walker: "Walker", canonical: str) -> str | None:
    """The type of resource that a target profile describes; None where it is not known here."""
    definition = walker.library.structure(canonical)
    kind = definition.get("type") if definition else None
    return kind if isinstance(kind, str) else None


def _check_aggregation(
    slot: "Slot", target: Any, resolved: Json | None, path: str, found: Findings, scope: Scope
) -> None:
    """Check that a reference is contained, bundled or outside, where the definition says which."""
    modes = slot.entry.get("aggregation", ())
    if not modes or not isinstance(target, str):
        return
    if not scope.bundles and not target.startswith("#") and set(modes) != {"contained"}:
        return  # a resource checked apart from its bundle does not show what is bundled
    inside = "contained" if target.startswith("#") else "bundled" if resolved is not None else "referenced"
    if inside in modes or (inside == "bundled" and "referenced" in modes):
        return
    found.add(
        "reference-place",
        path,
        f"{path}: the resource must be {' or '.join(modes)}, but is {inside}.",
        expected=", ".join(modes),
    )
