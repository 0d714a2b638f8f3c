"""Whether everything in a document belongs to it: reached from its Composition, by references either way.

Takes a Bundle of type document; adds entries that nothing ties to the Composition to Findings.
Source: FHIR R4, https://hl7.org/fhir/R4/documents.html#content.
"""

from collections.abc import Iterator
from typing import Any

from converter.check.findings import Findings
from converter.check.references import entries_of, in_bundle

Json = dict[str, Any]


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
