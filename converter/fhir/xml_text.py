"""FHIR XML as text, from the same dicts as the JSON: element order, ids and extensions of primitives kept.

Follows the XML format of FHIR R4: a primitive is an attribute `value`, `id` and `url` of an element and of an
extension are attributes, narrative is XHTML as it stands.
"""

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
_EXTENSIONS = ("extension", "modifierExtension")

Json = dict[str, Any]


def xml_text(resource: Json) -> str:
    """A resource as an XML document on one line.

    Raises:
        TypeError: a value is none of the kinds that FHIR has.
    """
    pieces = ['<?xml version="1.0" encoding="UTF-8"?>']
    _resource(resource, pieces, f' xmlns="{_NAMESPACE}"')
    return "".join(pieces)


def _resource(resource: Json, pieces: list[str], attribute: str = "") -> None:
    name = resource["resourceType"]
    pieces.append(f"<{name}{attribute}>")
    _children(resource, pieces, ("resourceType",))
    pieces.append(f"</{name}>")


def _children(element: Json, pieces: list[str], without: tuple[str, ...]) -> None:
    """The parts of an element, each primitive together with what JSON keeps under its name with `_`."""
    for name, value in element.items():
        if name in without:
            continue
        if not name.startswith("_"):
            _named(name, value, element.get(f"_{name}"), pieces)
        elif name[1:] not in element:
            _named(name[1:], None, value, pieces)


def _named(name: str, value: Any, beside: Any, pieces: list[str]) -> None:
    """One element, or one for each entry of a list."""
    if not isinstance(value, list) and not isinstance(beside, list):
        _one(name, value, beside, pieces)
        return
    values, others = value or [], beside or []
    for index in range(max(len(values), len(others))):
        _one(name, _at(values, index), _at(others, index), pieces)


def _at(values: list[Any], index: int) -> Any:
    return values[index] if index < len(values) else None


def _one(name: str, value: Any, beside: Any, pieces: list[str]) -> None:
    if isinstance(value, dict):
        if "resourceType" in value:
            pieces.append(f"<{name}>")
            _resource(value, pieces)
            pieces.append(f"</{name}>")
        else:
            _element(name, "", value, pieces)
    elif name == "div" and isinstance(value, str):
        pieces.append(value)
    else:
        said = "" if value is None else f' value="{_primitive(value)}"'
        _element(name, said, beside or {}, pieces)


def _element(name: str, value: str, inside: Json, pieces: list[str]) -> None:
    """An element with its attributes; `id` of an element and `url` of an extension are such."""
    attributes = ("id", "url") if name in _EXTENSIONS else ("id",)
    shown = "".join([f' {key}="{_primitive(inside[key])}"' for key in attributes if key in inside])
    if len(inside) == sum(key in inside for key in attributes):
        pieces.append(f"<{name}{shown}{value}/>")
        return
    pieces.append(f"<{name}{shown}{value}>")
    _children(inside, pieces, attributes)
    pieces.append(f"</{name}>")


def _primitive(value: object) -> str:
    if isinstance(value, str):
        return value.translate(_ESCAPES)
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | float | Decimal):
        return str(value)
    raise TypeError(f"a {type(value).__name__} has no place in FHIR XML")
