"""Whether a narrative is the restricted XHTML that FHIR permits.

Source: FHIR R4, https://hl7.org/fhir/R4/narrative.html, constraints txt-1 and txt-2, and its schema
`fhir-xhtml.xsd` for the elements and attributes.
"""

import re
from functools import lru_cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from lxml.etree import _Element

_NAMESPACE = "{http://www.w3.org/1999/xhtml}"
_TABLE_PARTS = ("caption", "col", "colgroup", "tbody", "td", "tfoot", "th", "thead", "tr")
_ELEMENTS = frozenset(
    {
        *("a", "abbr", "acronym", "address", "area", "b", "bdo", "big", "blockquote", "br", "cite", "code"),
        *("dd", "dfn", "div", "dl", "dt", "em", "h1", "h2", "h3", "h4", "h5", "h6", "hr", "i", "img"),
        *("kbd", "li", "map", "ol", "p", "pre", "q", "samp", "small", "span", "strong", "sub", "sup"),
        *("table", "tt", "ul", "var", *_TABLE_PARTS),
    }
)
_ANYWHERE = frozenset(
    {
        *("title", "style", "class", "id", "lang", "dir", "accesskey", "tabindex", "span", "width", "align"),
        *("valign", "char", "charoff", "abbr", "axis", "headers", "scope", "rowspan", "colspan"),
    }
)
"""Attributes that are taken on any element; the schema is stricter about those of tables."""

_SHAPED = ("href", "shape", "coords", "alt")
_OWN: dict[str, frozenset[str]] = {
    "a": frozenset({*_SHAPED, "charset", "hreflang", "name", "rel", "rev", "type"}),
    "area": frozenset({*_SHAPED, "nohref"}),
    "blockquote": frozenset({"cite"}),
    "q": frozenset({"cite"}),
    "img": frozenset({"src", "alt", "longdesc", "height", "usemap", "ismap", "border"}),
    "map": frozenset({"name"}),
    "table": frozenset({"summary", "border", "frame", "rules", "cellpadding", "cellspacing"}),
    "td": frozenset({"nowrap"}),
    "th": frozenset({"nowrap"}),
}
_LINKS = frozenset({"href", "src", "cite", "longdesc", "usemap"})
_ACTIVE = ("javascript:", "vbscript:", "data:text/html")


def wrong_xhtml(text: str) -> str | None:
    """What is wrong with a narrative's `div`, in a few words; None if nothing."""
    return _examined(text)[0]


def has_content(text: str) -> bool:
    """Whether a narrative's `div` holds visible text or an image."""
    return _examined(text)[1]


_TEXT = r"(?:[^<&\]\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]|&(?:lt|gt|amp|quot|#x27|#39);)*"
_PLAIN = re.compile(
    rf'<div xmlns="http://www\.w3\.org/1999/xhtml">'
    rf"(?:<(p|h2|h3)>{_TEXT}</\1>|<ul>(?:<li>{_TEXT}</li>)+</ul>)+</div>"
)
_SEEN = re.compile(r"<(?:p|h2|h3|li)>\s*[^\s<&]")
"""Paragraphs, headings and lists without attributes, and that one begins with a visible letter."""


@lru_cache(maxsize=1024)
def _examined(text: str) -> tuple[str | None, bool]:
    """What is wrong with a `div`, and whether it holds anything to see; parsed once for both questions."""
    return (None, True) if is_plain(text) else parsed_by_library(text)


def is_plain(text: str) -> bool:
    """Whether a `div` holds nothing but paragraphs, headings and lists, and something to see."""
    return bool(_PLAIN.fullmatch(text)) and _SEEN.search(text) is not None


def parsed_by_library(text: str) -> tuple[str | None, bool]:
    """What is wrong with a `div`, and whether it holds anything to see, as an XML parser tells."""
    from lxml import etree

    parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False)
    try:
        root = etree.fromstring(text.encode(), parser)
    except UnicodeEncodeError:
        return "it holds characters that are cut in half", False
    except etree.XMLSyntaxError as error:
        return f"it is not well-formed XML ({' '.join(error.msg.split())})", False
    visible = bool("".join(str(part) for part in root.itertext()).strip())
    visible = visible or root.find(f".//{_NAMESPACE}img") is not None
    if _has_doctype(root):
        return "it declares a document type", visible
    if root.tag != f"{_NAMESPACE}div":
        return "it is not one <div> in the XHTML namespace", visible
    return _wrong_part(root), visible


def _has_doctype(root: "_Element") -> bool:
    information = root.getroottree().docinfo
    return bool(getattr(information, "doctype", ""))


def _wrong_part(root: "_Element") -> str | None:
    for element in root.iter():
        if not isinstance(element.tag, str):
            continue
        name = element.tag.removeprefix(_NAMESPACE)
        if name not in _ELEMENTS:
            return f"<{name}> is not permitted"
        for attribute, value in element.attrib.items():
            wrong = _wrong_attribute(name, str(attribute), str(value))
            if wrong:
                return wrong
    return None


def _wrong_attribute(element: str, attribute: str, value: str) -> str | None:
    if attribute.startswith("{http://www.w3.org/XML/1998/namespace}"):
        return None
    if attribute not in _ANYWHERE and attribute not in _OWN.get(element, ()):
        return f"the attribute {attribute} is not permitted on <{element}>"
    if attribute in _LINKS and value.strip().lower().startswith(_ACTIVE):
        return f"the {attribute} of <{element}> holds active content"
    return None
