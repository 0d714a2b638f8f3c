"""Whether a document holds all that its Composition names and nothing untied to it, a message its focus.

Takes a Bundle of type document or message; adds what is missing, and entries that nothing ties to the
Composition, to Findings.
Source: FHIR R4, https://hl7.org/fhir/R4/documents.html#content and https://hl7.org/fhir/R4/messageheader.html.
"""

from collections.abc import Iterator
from typing import Any

from converter.check.findings import Findings
from converter.check.references import entries_of, in_bundle

Json = dict[str, Any]

_NAMED = {
    "Composition": ("subject", "encounter", "author", "custodian", "attester.party", "event.detail"),
    "MessageHeader": ("focus",),
}
"""By what stands first in a bundle, the references whose targets the bundle must hold; of sections all."""


def check_included(bundle: Json, path: str, found: Findings) -> None:
    """Check that what the first entry names as its content is in the bundle."""
    first = next(entries_of(bundle), {})
    resource, url = first.get("resource"), first.get("fullUrl")
    if not isinstance(resource, dict):
        return
    own_url = url if isinstance(url, str) else None
    for place, target in _named(resource):
        if in_bundle(target, bundle, own_url, strict=True) is None:
            where = f"{path}.entry[0].resource.{place}"
            found.drop("reference-unresolved", where)
            found.add(
                "bundle-document",
                where,
                f"{where}: {target} must be in the bundle, but is not.",
                expected="an entry of the bundle",
            )


def _named(resource: Json) -> Iterator[tuple[str, str]]:
    """The places and addresses of the references whose targets must be at hand."""
    for way in _NAMED.get(str(resource.get("resourceType")), ()):
        yield from _addresses(resource, way.split("."), "")
    yield from _of_sections(resource, "")


def _of_sections(value: Json, prefix: str) -> Iterator[tuple[str, str]]:
    sections = value.get("section")
    for number, section in enumerate(sections if isinstance(sections, list) else ()):
        if isinstance(section, dict):
            place = f"{prefix}section[{number}]."
            for name in ("author", "focus", "entry"):
                yield from _addresses(section, [name], place)
            yield from _of_sections(section, place)


def _addresses(value: Json, way: list[str], prefix: str) -> Iterator[tuple[str, str]]:
    held = value.get(way[0])
    several = isinstance(held, list)
    for number, one in enumerate(held if isinstance(held, list) else [held]):
        place = f"{prefix}{way[0]}[{number}]" if several else f"{prefix}{way[0]}"
        if not isinstance(one, dict):
            continue
        if len(way) > 1:
            yield from _addresses(one, way[1:], f"{place}.")
        elif isinstance(one.get("reference"), str) and not one["reference"].startswith("#"):
            yield place, one["reference"]


def check_reached(bundle: Json, path: str, found: Findings) -> None:
    """Check that each entry is tied to the first one."""
    entries = list(entries_of(bundle))
    resources = [entry.get("resource") for entry in entries]
    if not resources or not isinstance(resources[0], dict):
        return
    ties = _ties(bundle, entries)
    reached, waiting = {0}, [0]
    while waiting:
        for other in ties[waiting.pop()] - reached:
            reached.add(other)
            waiting.append(other)
    for number, resource in enumerate(resources):
        if number in reached or not isinstance(resource, dict) or resource.get("resourceType") == "Binary":
            continue
        place = f"{path}.entry[{number}]"
        message = f"{place}: nothing ties this entry to the document's Composition."
        found.add("bundle-document", place, message, expected="a reference from or to it")


def _ties(bundle: Json, entries: list[Json]) -> list[set[int]]:
    """The entries that each entry refers to or is referred to by."""
    ties: list[set[int]] = [set() for _ in entries]
    places = {id(entry.get("resource")): number for number, entry in enumerate(entries)}
    for number, entry in enumerate(entries):
        url = entry.get("fullUrl")
        for target in _references(entry.get("resource")):
            found = in_bundle(target, bundle, url if isinstance(url, str) else None)
            other = places.get(id(found)) if found is not None else None
            if other is not None:
                ties[number].add(other)
                ties[other].add(number)
    return ties


def _references(value: Any) -> Iterator[str]:
    if isinstance(value, list):
        for one in value:
            yield from _references(one)
    elif isinstance(value, dict):
        target = value.get("reference")
        if isinstance(target, str) and target and not target.startswith("#"):
            yield target
        for one in value.values():
            yield from _references(one)
