"""Resources of R4 as R5 has them: moved elements, lists, types and extension addresses.

Takes resources as the builders of this package make them; gives new dicts in the order of R5. Our profiles
are profiles of R4, so R5 output claims none. Source: https://hl7.org/fhir/R5/diff.html and the page of each
resource.
"""

from collections.abc import Callable
from typing import Any

Json = dict[str, Any]

_LOCATION = "http://hl7.org/fhir/StructureDefinition/event-location"
"""Where a facility stands on a document in R5, which has no element for it."""
_WEIGHTS = {
    "http://hl7.org/fhir/StructureDefinition/ordinalValue": (
        "http://hl7.org/fhir/StructureDefinition/itemWeight"
    ),
}
"""Extensions that R5 renamed."""


def as_r5(resource: Json) -> Json:
    """A resource of ours as R5 has it; one that is of R5 already comes back alike."""
    change = _CHANGES.get(resource["resourceType"])
    changed = change(resource) if change else resource
    return {name: part for name, value in changed.items() if (part := _part(name, value)) != {}}


def as_r4_identity(stub: Json) -> Json:
    """The identifying elements of a Composition as R4 has them, where R5 has lists."""
    single = ("identifier", "subject")
    return {
        name: value[0] if name in single and isinstance(value, list) else value
        for name, value in stub.items()
    }


def _part(name: str, value: Any) -> Any:
    if name == "meta":
        return {key: one for key, one in value.items() if key != "profile"}
    if name in ("valueCodeableConcept", "component"):
        return _with_new_addresses(value)
    return value


def _with_new_addresses(value: Any) -> Any:
    if isinstance(value, list):
        return [_with_new_addresses(one) for one in value]
    if not isinstance(value, dict):
        return value
    return {
        name: _WEIGHTS.get(one, one) if name == "url" and isinstance(one, str) else _with_new_addresses(one)
        for name, one in value.items()
    }


def _document(resource: Json) -> Json:
    """The master identifier is one of the identifiers; the context stands at the top level."""
    if isinstance(resource["content"][0]["attachment"]["size"], str):
        return resource
    context = resource.get("context", {})
    identifiers = [*resource["identifier"]]
    if "masterIdentifier" in resource:
        identifiers.append({"use": "official", **resource["masterIdentifier"]})
    facility = [{"url": _LOCATION, "valueReference": one} for one in context.get("related", ())]
    first = ("resourceType", "id", "meta", "text")
    return _without_empty(
        {name: resource.get(name) for name in first}
        | {
            "extension": facility,
            "identifier": identifiers,
            "status": resource["status"],
            "type": resource.get("type"),
            "subject": resource.get("subject"),
            "context": context.get("encounter"),
            "period": context.get("period"),
            "author": resource.get("author"),
            "content": [_content(one) for one in resource["content"]],
        }
    )


def _content(content: Json) -> Json:
    """R5 counts the bytes of an attachment in 64 bits, which JSON writes as text."""
    attachment = content["attachment"]
    return content | {"attachment": attachment | {"size": str(attachment["size"])}}


def _composition(resource: Json) -> Json:
    lists = ("identifier", "subject")
    return {
        name: [value] if name in lists and not isinstance(value, list) else value
        for name, value in resource.items()
    }


def _device(resource: Json) -> Json:
    changed = {}
    for name, value in resource.items():
        if name == "deviceName":
            changed["name"] = [{"value": one["name"], "type": one["type"]} for one in value]
        elif name == "type" and not isinstance(value, list):
            changed["type"] = [value]
        else:
            changed[name] = value
    return changed


def _without_empty(resource: Json) -> Json:
    return {name: value for name, value in resource.items() if value not in (None, [])}


_CHANGES: dict[str, Callable[[Json], Json]] = {
    "DocumentReference": _document,
    "Composition": _composition,
    "Device": _device,
}
