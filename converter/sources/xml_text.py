"""XML as text: its root, its elements with their places, and its safe parsing.

lxml decides whether a document is well formed and what its elements say, with entities, document types and
the network shut off. Where each element and each piece of text stands is found by a scan of the
source, which is sound only for a document that lxml has passed.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from converter.sources.narrative import Narrative, give_tag

if TYPE_CHECKING:
    from lxml.etree import _Element

DEEPEST = 200
"""Elements nested more deeply than this are refused: no clinical document comes near."""

_PROLOG = re.compile(r"(?:[\s\ufeff\0]|<\?.*?\?>|<!--.*?-->)*+", re.DOTALL)
_DOCTYPE = re.compile(r"<!DOCTYPE\b[^\[>]*+(?:\[.*?\]\s*)?>", re.DOTALL | re.IGNORECASE)
_ROOT = re.compile(r"<(?:[\w.-]+:)?([\w.-]+)")
_ENCODING = re.compile(rb"""<\?xml[^>]{0,100}?\bencoding\s*=\s*["']([A-Za-z0-9_.:-]+)["']""")
_TOKEN = re.compile(
    r"<!--.*?-->|<!\[CDATA\[(?P<raw>.*?)\]\]>|<\?.*?\?>"
    r"|<(?P<end>/?)(?P<name>[^\s/>!?]++)(?P<rest>(?:[^>\"']|\"[^\"]*\"|'[^']*')*+)>",
    re.DOTALL,
)
_REFERENCE = re.compile(r"&(#x?)?(\w+);")
_NAMED = {"lt": "<", "gt": ">", "amp": "&", "quot": '"', "apos": "'"}


@dataclass(frozen=True, slots=True)
class Region:
    """What stands between the tags of an element: from `start` up to `end` in the source."""

    start: int
    end: int


@dataclass(frozen=True, slots=True)
class NotParsed:
    """Why XML was not taken, as the end of a sentence, and the line where that shows."""

    code: str
    reason: str
    line: int | None = None


def root_name(text: str) -> str | None:
    """The name of the first element, without its prefix; None for what is no XML or HTML."""
    start = _PROLOG.match(text)
    at = start.end() if start else 0
    doctype = _DOCTYPE.match(text, at)
    if doctype:
        after = _PROLOG.match(text, doctype.end())
        at = after.end() if after else doctype.end()
    found = _ROOT.match(text, at)
    if found:
        return found[1]
    kind = re.compile(r"<!DOCTYPE\s+([\w.-]+)", re.IGNORECASE).match(text, at)
    return kind[1] if kind else None


def looks_like_xml(text: str) -> bool:
    """Whether a text starts as only XML does."""
    return text.lstrip("\ufeff \t\r\n").startswith("<?xml")


def declared_encoding(head: bytes) -> str | None:
    """The encoding that an XML declaration names."""
    found = _ENCODING.match(head.lstrip())
    return found[1].decode("ascii") if found else None


def parse_xml(source: str) -> "_Element | NotParsed":
    """The root of a document, or why it is not taken.

    Comments and processing instructions are gone. Nothing is fetched, no entity is expanded: a document that
    declares a document type is refused as a whole, since CDA and FHIR have none.
    """
    from lxml import etree

    start = _PROLOG.match(source)
    at = start.end() if start else 0
    if source[at : at + 9].upper() == "<!DOCTYPE":
        return NotParsed(
            "xml-doctype",
            "declares a document type, which can make it grow without limit or fetch other files",
            source.count("\n", 0, at) + 1,
        )
    parser = etree.XMLParser(
        encoding="utf-8",
        resolve_entities=False,
        no_network=True,
        load_dtd=False,
        huge_tree=False,
        remove_comments=True,
        remove_pis=True,
    )
    try:
        root = etree.fromstring(source.encode("utf-8", "replace"), parser)
    except etree.XMLSyntaxError as trouble:
        if "depth" in (trouble.msg or "").lower():
            return NotParsed("nested-too-deeply", "is nested too deeply", trouble.lineno)
        return NotParsed("not-xml", "is not well-formed XML", trouble.lineno)
    if _depth(root) > DEEPEST:
        return NotParsed("nested-too-deeply", "is nested too deeply", None)
    return root


def _depth(root: "_Element") -> int:
    """How many elements stand inside one another."""
    from lxml import etree

    deepest = depth = 0
    for event, _ in etree.iterwalk(root, events=("start", "end")):
        depth += 1 if event == "start" else -1
        deepest = max(deepest, depth)
    return deepest


def text_inside(element: "_Element") -> str:
    """All text in an element."""
    return "".join(str(piece) for piece in element.itertext())


def line_of(element: "_Element") -> int | None:
    """The line where an element starts."""
    line: object = element.sourceline
    return line if isinstance(line, int) else None


def regions(root: "_Element", source: str) -> "dict[_Element, Region]":
    """Where the content of each element stands in the source that it was parsed from."""
    elements = list(root.iter("{*}*"))
    found: list[Region | None] = []
    opened: list[tuple[int, int]] = []
    for token in _TOKEN.finditer(source):
        if token["name"] is None:
            continue
        if token["end"]:
            index, start = opened.pop()
            found[index] = Region(start, token.start())
        elif token["rest"].endswith("/"):
            found.append(Region(token.end(), token.end()))
        else:
            opened.append((len(found), token.end()))
            found.append(None)
    assert len(found) == len(elements), "the scan and the parser must agree on the elements"
    return {element: region for element, region in zip(elements, found, strict=True) if region is not None}


def narrate(source: str, region: Region, narrative: Narrative) -> None:
    """Give the elements and the text of a region to a narrative, in order."""
    at = region.start
    for token in _TOKEN.finditer(source, region.start, region.end):
        _text(source, at, token.start(), narrative)
        at = token.end()
        if token["raw"] is not None:
            narrative.text(token["raw"], token.start("raw"))
        elif token["name"] is not None:
            name = token["name"].rpartition(":")[2].lower()
            give_tag(narrative, name, bool(token["end"]), token["rest"])
    _text(source, at, region.end, narrative)


def _text(source: str, start: int, end: int, narrative: Narrative) -> None:
    at = start
    for reference in _references(source, start, end):
        narrative.text(source[at : reference.start()], at)
        narrative.character(_meant(reference), reference.start())
        at = reference.end()
    narrative.text(source[at:end], at)


def _references(source: str, start: int, end: int) -> Iterator[re.Match[str]]:
    return _REFERENCE.finditer(source, start, end)


def _meant(reference: re.Match[str]) -> str:
    """What a reference stands for; the document was parsed, so that it stands for something."""
    kind, name = reference[1], reference[2]
    if kind is None:
        return _NAMED[name]
    return chr(int(name, 16 if kind == "#x" else 10))
