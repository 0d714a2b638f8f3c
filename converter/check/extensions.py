"""Checks extensions against their definitions: known address, permitted place, value or parts, not both."""

from typing import TYPE_CHECKING, Any

from converter.check.findings import Findings, Scope
from converter.check.snapshot import tree_of
from converter.model import Severity

if TYPE_CHECKING:
    from converter.check.shapes import Slot
    from converter.check.walk import Walker

Json = dict[str, Any]

_VALUE_KEYS = ("value", "_value")


def check_extension(
    walker: "Walker", slot: "Slot", value: Json, path: str, found: Findings, scope: Scope
) -> None:
    """Check one extension, from its address to its content."""
    url = value.get("url")
    _check_content(value, path, found)
    profiles = slot.entry.get("profile", ())
    shape = walker.shapes.of_profile(profiles[0]) if len(profiles) == 1 else None
    definition = None
    if isinstance(url, str) and ":" in url:
        definition = walker.library.structure(url)
        if definition is None or definition.get("type") != "Extension":
            asked = url in [str(one).partition("|")[0] for one in profiles]
            _unknown(url, slot.key == "modifierExtension", asked, path, found)
        elif shape is None:
            shape = walker.shapes.of_profile(url)
    elif (
        isinstance(url, str) and url and not profiles and slot.element.children is None and not _nested(path)
    ):
        found.add(
            "extension-url",
            f"{path}.url",
            f"{path}.url is {url!r}; the address of an extension must be absolute.",
            expected="an absolute URL",
        )
    if definition is not None and shape is not None:
        _check_modifier(walker, slot, str(url), path, found)
    if definition is not None and definition.get("context"):
        walker.uses.place += 1
        if definition.get("contextInvariant") or any(
            isinstance(one, dict) and one.get("type") == "fhirpath" for one in definition["context"]
        ):
            walker.uses.scope += 1
        walker.contexts.check(definition, path, slot, found, scope)
    shapes = (shape,) if shape is not None else walker.shapes.of_slot(slot)
    for one in shapes:
        walker.object(one, value, path, found, scope)
    if shape is not None and slot.element.children is not None:
        for one in walker.shapes.of_slot(slot):
            walker.object(one, value, path, found, scope)


def _check_modifier(walker: "Walker", slot: "Slot", url: str, path: str, found: Findings) -> None:
    """Check that an extension that changes the meaning stands as `modifierExtension`, and no other does."""
    tree = tree_of(walker.library, url)
    modifies = bool(tree and tree.root.facts.get("isModifier"))
    if modifies is not (slot.key == "modifierExtension"):
        wanted = "modifierExtension" if modifies else "extension"
        found.add(
            "extension-modifier",
            path,
            f"{path}: the extension {url} must stand as `{wanted}`.",
            expected=wanted,
            rule=url,
        )


def _check_content(value: Json, path: str, found: Findings) -> None:
    """Check that an extension has a value or parts, and not both (ext-1)."""
    has_value = False
    for key in value:
        if key.startswith(_VALUE_KEYS):
            has_value = True
            break
    if has_value is bool(value.get("extension")):
        what = "not both" if has_value else "one of the two"
        found.add(
            "invariant",
            path,
            f"{path} breaks the rule ext-1: an extension has a value or extensions of its own, {what}.",
            expected="extension.exists() != value.exists()",
            rule="ext-1",
        )


def _nested(path: str) -> bool:
    """Whether an extension stands inside another, where relative addresses are the rule."""
    return ".extension[" in path.rpartition(".")[0] or ".modifierExtension[" in path.rpartition(".")[0]


def _unknown(url: str, modifier: bool, asked: bool, path: str, found: Findings) -> None:
    """Say that an extension is not known: an error where it changes the meaning or a profile asks for it.

    HL7 publishes extensions apart from the base definitions, so one of theirs may be right though unknown.
    """
    official = url.startswith("http://hl7.org/fhir/StructureDefinition/")
    grave = modifier or (asked and not official)
    found.add(
        "extension-unknown",
        path,
        f"{path}: the extension {url} is not known here, so its content was not checked.",
        severity=Severity.ERROR if grave else Severity.WARNING if official else Severity.INFORMATION,
        hint="Give the folder that holds its definition with --profiles.",
        rule=url,
    )
