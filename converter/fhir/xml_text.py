"""FHIR XML as text, from the same dicts as the JSON: element order, ids and extensions of primitives kept.

Follows the XML format of FHIR R4: a primitive is an attribute `value`, `id` and `url` of an element and of an
extension are attributes, narrative is XHTML as it stands.
"""

from collections.abc import Iterator
from decimal import Decimal
from typing import Any

_NAMESPACE = "http://hl7.org/fhir"
_ATTRIBUTES = {
    "&": "&amp;",
    "<": "&lt;",
    ">": "&gt;",
    '"': "&quot;",
    "\n": "&#10;",
    "\r": "&#13;",
    "\t": "&#9;",
}
_ESCAPES = str.maketrans(_ATTRIBUTES)


def xml_text(resource: dict[str, Any]) -> str:
    """A resource as an XML document on one line.

    Raises:
        TypeError: a value is none of the kinds that FHIR has.
    """
    return '<?xml version="1.0" encoding="UTF-8"?>' + "".join(_resource(resource, namespace=True))


def _resource(resource: dict[str, Any], *, namespace: bool) -> Iterator[str]:
    name = resource["resourceType"]
    yield f'<{name} xmlns="{_NAMESPACE}">' if namespace else f"<{name}>"
    yield from _children({part: value for part, value in resource.items() if part != "resourceType"})
    yield f"</{name}>"


def _children(element: dict[str, Any]) -> Iterator[str]:
    for name, value in element.items():
        if name.startswith("_"):
            if name[1:] not in element:
                yield from _named(name[1:], None, value)
        else:
            yield from _named(name, value, element.get(f"_{name}"))


def _named(name: str, value: Any, beside: Any) -> Iterator[str]:
    """One element, or one for each entry of a list; `beside` is what JSON keeps under the name with `_`."""
    if isinstance(value, list) or isinstance(beside, list):
        values, others = value or [], beside or []
        for index in range(max(len(values), len(others))):
            yield from _one(name, _at(values, index), _at(others, index))
    else:
        yield from _one(name, value, beside)


def _at(values: list[Any], index: int) -> Any:
    return values[index] if index < len(values) else None


def _one(name: str, value: Any, beside: Any) -> Iterator[str]:
    if name == "div" and isinstance(value, str):
        yield value
    elif isinstance(value, dict) and "resourceType" in value:
        yield f"<{name}>"
        yield from _resource(value, namespace=False)
        yield f"</{name}>"
    elif isinstance(value, dict):
        yield from _element(name, "", value)
    else:
        said = "" if value is None else f' value="{_primitive(value)}"'
        yield from _element(name, said, beside or {})


def _element(name: str, value: str, inside: dict[str, Any]) -> Iterator[str]:
    """An element with its attributes; `id` of an element and `url` of an extension are such."""
    attributes = ["id"] + (["url"] if name in ("extension", "modifierExtension") else [])
    shown = "".join(f' {key}="{_primitive(inside[key])}"' for key in attributes if key in inside)
    children = "".join(_children({key: part for key, part in inside.items() if key not in attributes}))
    yield f"<{name}{shown}{value}>{children}</{name}>" if children else f"<{name}{shown}{value}/>"


def _primitive(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str | int | float | Decimal):
        return str(value).translate(_ESCAPES)
    raise TypeError(f"a {type(value).__name__} has no place in FHIR XML")
