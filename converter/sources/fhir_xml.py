"""FHIR in XML as the same plain values that its JSON gives.

Every element becomes a list under its name, which `fhir_values` goes through as through single values; a
narrative stays the XHTML that the source holds.
"""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from lxml.etree import _Element

    from converter.sources.xml_text import Region

NAMESPACE = "http://hl7.org/fhir"
_HOLDERS = frozenset(("resource", "contained"))


def resource_of(root: "_Element", source: str, places: "dict[_Element, Region]") -> dict[str, Any]:
    """A resource as plain values.

    Args:
        root: the resource's element.
        source: the document.
        places: where each element's content stands in it.
    """
    return {"resourceType": _name(root), **_children(root, source, places)}


def _children(element: "_Element", source: str, places: "dict[_Element, Region]") -> dict[str, Any]:
    found: dict[str, Any] = {}
    for child in element:
        found.setdefault(_name(child), []).append(_value(child, source, places))
    return found


def _value(element: "_Element", source: str, places: "dict[_Element, Region]") -> Any:
    name = _name(element)
    if name == "div":
        region = places[element]
        return source[region.start : region.end]
    if name in _HOLDERS and len(element) == 1 and not element.get("value"):
        return resource_of(element[0], source, places)
    if element.get("value") is not None:
        return element.get("value")
    inner = _children(element, source, places)
    return {**inner, "id": element.get("id")} if element.get("id") else inner


def _name(element: "_Element") -> str:
    return str(element.tag).rpartition("}")[2]
