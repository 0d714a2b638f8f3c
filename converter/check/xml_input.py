"""Turns FHIR XML into the dict that its JSON would give, by the definitions of its elements.

Takes bytes and a library; gives the resource and what the XML form itself has wrong: unknown elements, order,
repetition, stray text and attributes. The parser resolves no entity and reads no other file.
"""

import re
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from converter.check.elements import Element, type_name_suffix
from converter.check.snapshot import type_tree, unfold
from converter.model import Diagnostic, Severity

if TYPE_CHECKING:
    from lxml.etree import _Element

    from converter.check.library import Library

Json = dict[str, Any]

FHIR = "http://hl7.org/fhir"
XHTML = "http://www.w3.org/1999/xhtml"
_SCHEMA_LOCATION = "{http://www.w3.org/2001/XMLSchema-instance}schemaLocation"
_NUMBERS = frozenset({"integer", "positiveInt", "unsignedInt"})
_INTEGER = re.compile(r"-?(0|[1-9]\d*)", re.ASCII)
_DECIMAL = re.compile(r"-?(0|[1-9]\d*)(\.\d+)?([eE][+-]?\d+)?", re.ASCII)
_RESOURCES = frozenset({"Resource", "DomainResource"})


def resource_from_xml(content: bytes, library: "Library") -> tuple[Json, list[Diagnostic]]:
    """The resource that an XML document holds.

    Raises:
        ValueError: it is not well-formed XML, declares a document type, or holds no FHIR resource.
    """
    from lxml import etree

    parser = etree.XMLParser(
        resolve_entities=False, no_network=True, load_dtd=False, remove_comments=True, remove_pis=True
    )
    try:
        root = etree.fromstring(content, parser)
    except etree.XMLSyntaxError as error:
        raise ValueError(f"is not well-formed XML: {' '.join(error.msg.split())}") from error
    information = root.getroottree().docinfo
    if getattr(information, "doctype", ""):
        raise ValueError("declares a document type, which FHIR does not permit")
    reader = _XmlReader(library)
    namespace, name = _split(root)
    if namespace != FHIR or name not in library.resource_types:
        raise ValueError(f"holds {name} in the namespace {namespace!r}, which is no FHIR resource")
    return reader.resource(root, name), reader.problems


class _XmlReader:
    def __init__(self, library: "Library"):
        self._library = library
        self.problems: list[Diagnostic] = []

    def resource(self, node: "_Element", path: str) -> Json:
        name = _split(node)[1]
        tree = type_tree(self._library, name)
        if tree is None or name not in self._library.resource_types:
            self._report("element-unknown", path, node, f"{name} is not a type of FHIR resource")
            return {"resourceType": name}
        return {"resourceType": name, **self._children(node, tree.root, path)}

    def _children(self, node: "_Element", definition: Element, path: str, primitive: bool = False) -> Json:
        found: Json = {}
        for name, value in ((str(one), str(text)) for one, text in node.attrib.items()):
            own = unfold(self._library, definition).get(name)
            if own is not None and "xmlAttr" in own.facts.get("representation", ()):
                found[name] = value
            elif name != _SCHEMA_LOCATION and not (primitive and name == "value"):
                self._report("element-unknown", path, node, f"the attribute {name} is not known here")
        self._stray_text(node, path)
        last = -1
        order = list(unfold(self._library, definition))
        for child in node:
            name = _split(child)[1]
            place = self._place(child, name, definition)
            if place is None:
                self._report("element-unknown", f"{path}.{name}", child, f"{path} has no element `{name}`")
                continue
            element, code = place
            number = order.index(element.name)
            if number < last:
                message = f"`{name}` stands behind an element that must come after it"
                self._report("element-order", f"{path}.{name}", child, message)
            last = max(last, number)
            self._put(found, child, name, element, code, path)
        return found

    def _place(self, node: "_Element", name: str, definition: Element) -> tuple[Element, str] | None:
        children = unfold(self._library, definition)
        namespace = _split(node)[0]
        if namespace != (XHTML if name == "div" else FHIR):
            return None
        element = children.get(name)
        if element is not None and "xmlAttr" in element.facts.get("representation", ()):
            return None  # written as an attribute, never as an element
        if element is not None and not element.is_choice:
            return element, element.types[0]["code"] if element.types else ""
        for element in children.values():
            if element.is_choice and name.startswith(element.name[:-3]):
                for code in self._codes(element):
                    if type_name_suffix(code) == name[len(element.name) - 3 :]:
                        return element, code
        return None

    def _codes(self, element: Element) -> list[str]:
        codes = [entry["code"] for entry in element.types]
        return sorted(self._library.data_types) if "*" in codes else codes

    def _put(self, found: Json, node: "_Element", name: str, element: Element, code: str, path: str) -> None:
        values = found.get(name)
        place = f"{path}.{name}"
        if element.repeats:
            place += f"[{len(values) if isinstance(values, list) else 0}]"
        elif name in found or f"_{name}" in found:
            self._report("too-many", place, node, f"{place} may be given once only")
            return
        if code in self._library.primitive_types:
            value, extra = self._primitive(node, code, place)
            if value is None and extra is None:
                self._report("empty-value", place, node, f"{place} has neither a value nor extensions")
            _add(found, name, value, extra, element.repeats)
            return
        value = self._object(node, element, code, place)
        if element.repeats:
            found.setdefault(name, []).append(value)
        else:
            found[name] = value

    def _object(self, node: "_Element", element: Element, code: str, place: str) -> Json:
        if code in _RESOURCES:
            inside = list(node)
            if len(inside) != 1:
                self._report("wrong-json-type", place, node, f"{place} must hold one resource")
            return self.resource(inside[0], place) if inside else {}
        return (
            self._children(node, element, place)
            if element.content or element.children is not None
            else (self._children(node, self._typed(element, code), place))
        )

    def _typed(self, element: Element, code: str) -> Element:
        tree = type_tree(self._library, code)
        return tree.root if tree else element

    def _primitive(self, node: "_Element", code: str, place: str) -> tuple[Any, Json | None]:
        if code == "xhtml":
            return _xhtml_text(node), None
        tree = type_tree(self._library, "Element")
        extra = self._children(node, tree.root, place, primitive=True) if tree else {}
        value = node.get("value")
        return (None if value is None else _value(value, code)), extra or None

    def _stray_text(self, node: "_Element", path: str) -> None:
        texts = [node.text, *(child.tail for child in node)]
        if any(text and text.strip() for text in texts):
            self._report("element-unknown", path, node, f"{path} holds text outside any element")

    def _report(self, code: str, path: str, node: "_Element", message: str) -> None:
        self.problems.append(
            Diagnostic(
                code=code,
                severity=Severity.ERROR,
                message=f"Line {node.sourceline}: {message}.",
                line=node.sourceline if isinstance(node.sourceline, int) else None,
                path=path,
            )
        )


def _add(found: Json, name: str, value: Any, extra: Json | None, repeats: bool) -> None:
    """Put a primitive and its extras where JSON has them; lists stay aligned with nulls."""
    if not repeats:
        if value is not None:
            found[name] = value
        if extra is not None:
            found[f"_{name}"] = extra
        return
    values = found.setdefault(name, [])
    values.append(value)
    extras = found.get(f"_{name}")
    if extra is not None and extras is None:
        extras = found[f"_{name}"] = [None] * (len(values) - 1)
    if extras is not None:
        extras.append(extra)


def _value(text: str, code: str) -> Any:
    """A primitive as JSON has it; what does not convert stays text, for the check to report."""
    if code == "boolean" and text in ("true", "false"):
        return text == "true"
    if code in _NUMBERS and _INTEGER.fullmatch(text):
        return int(text)
    if code == "decimal" and _DECIMAL.fullmatch(text):
        return Decimal(text)
    return text


def _xhtml_text(node: "_Element") -> str:
    from lxml import etree

    text = etree.tostring(node, encoding="unicode", with_tail=False)
    return text.replace(f' xmlns:fhir="{FHIR}"', "")


def _split(node: "_Element") -> tuple[str, str]:
    namespace, separator, name = str(node.tag).rpartition("}")
    return (namespace.lstrip("{") if separator else "", name)
