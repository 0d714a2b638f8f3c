"""Resources as a transaction Bundle of conditional updates: sending it twice changes nothing.

References between resources of the bundle become their `urn:uuid:` addresses; references to a resource of
ours that is not in it become searches by our identifier.
"""

from collections.abc import Iterable
from typing import Any
from urllib.parse import quote

from converter.fhir.identity import IDENTIFIER_SYSTEMS, TAGS, identifier_system
from converter.fhir.options import FhirOptions
from converter.fhir.terms import code_system

_WITHOUT_REFERENCES = frozenset(
    {"resourceType", "meta", "text", "extension", "identifier", "status", "category", "code"}
    | {"bodySite", "valueCodeableConcept", "component"}
)
"""The bulky elements, which in our resources never hold a reference."""


def transaction(resources: Iterable[dict[str, Any]], options: FhirOptions) -> dict[str, Any]:
    """A Bundle of type transaction.

    Args:
        resources: as `resources_of` gives them; a resource that comes twice is sent once.
        options: says under which canonical base our identifiers stand.

    Returns:
        Entries in the order of the resources, each `PUT Type?identifier=system|value`. The bodies carry no
        id: the server keeps its own.
    """
    by_id = {f"{resource['resourceType']}/{resource['id']}": resource for resource in resources}
    entries = [_entry(resource, by_id.keys(), options.base) for resource in by_id.values()]
    bundle: dict[str, Any] = {"resourceType": "Bundle", "type": "transaction"}
    return bundle | ({"entry": entries} if entries else {})


def conditional_url(resource_type: str, uuid: str, base: str) -> str:
    """The search that finds a resource of ours and nothing else."""
    if resource_type in TAGS:
        return f"{resource_type}?_tag={_token(code_system(base, TAGS[resource_type]), uuid)}"
    return f"{resource_type}?identifier={_token(identifier_system(base, resource_type), uuid)}"


def _entry(resource: dict[str, Any], inside: Iterable[str], base: str) -> dict[str, Any]:
    resource_type, uuid = resource["resourceType"], resource["id"]
    body = {
        name: value if name in _WITHOUT_REFERENCES else _rewritten(value, inside, base)
        for name, value in resource.items()
        if name != "id"
    }
    return {
        "fullUrl": f"urn:uuid:{uuid}",
        "resource": body,
        "request": {"method": "PUT", "url": conditional_url(resource_type, uuid, base)},
    }


def _rewritten(value: Any, inside: Iterable[str], base: str) -> Any:
    if isinstance(value, list):
        return [_rewritten(part, inside, base) for part in value]
    if not isinstance(value, dict):
        return value
    return {
        name: _address(part, inside, base)
        if name == "reference" and isinstance(part, str)
        else _rewritten(part, inside, base)
        for name, part in value.items()
    }


def _address(reference: str, inside: Iterable[str], base: str) -> str:
    resource_type, _, uuid = reference.partition("/")
    if reference in inside:
        return f"urn:uuid:{uuid}"
    if resource_type in IDENTIFIER_SYSTEMS and uuid:
        return conditional_url(resource_type, uuid, base)
    return reference


def _token(system: str, value: str) -> str:
    return f"{quote(system, safe='/:')}|{quote(value, safe='')}"
