"""The text of a document that is packed into another one: plain text, HTML or RTF, often in base64."""

import base64
import binascii
import re
from dataclasses import dataclass

from converter.model import Diagnostic
from converter.sources.decode import decoded
from converter.sources.fields import Place
from converter.sources.hypertext import text_of_html
from converter.sources.origins import Origin
from converter.sources.rtf import text_of_rtf
from converter.sources.troubles import error

_CHARSET = re.compile(r"charset\s*=\s*\"?([\w.:-]+)", re.IGNORECASE)
_TYPE = re.compile(r"[\w.+-]{1,40}/[\w.+-]{1,60}(?:\s*;\s*charset=[\w-]{1,20})?")
_KINDS = {
    "text/plain": "plain",
    "text/html": "html",
    "application/xhtml+xml": "html",
    "text/rtf": "rtf",
    "application/rtf": "rtf",
    "application/x-rtf": "rtf",
}


@dataclass(frozen=True, slots=True)
class Taken:
    """What was taken out of a document.

    Attributes:
        text: its text, None where it could not be read.
        origin: where that stood.
        troubles: what went wrong or was left out.
    """

    text: str | None
    origin: Origin = ()
    troubles: tuple[Diagnostic, ...] = ()


def kind_of(content_type: str) -> str | None:
    """How a content type is read: `plain`, `html`, `rtf`, or None for one that holds no text for us."""
    return _KINDS.get(content_type.partition(";")[0].strip().lower())


def from_base64(packed: str, content_type: str, place: Place) -> Taken:
    """The text of a document in base64 (RFC 4648), white space in it allowed.

    Args:
        packed: the document.
        content_type: its type, with a charset where it names one.
        place: where it stands, for messages.
    """
    try:
        data = base64.b64decode("".join(packed.split()), validate=True)
    except (binascii.Error, ValueError):
        trouble = error("bad-base64", "The attached document is not in base64, so it was left out.",
                        place.source, place.line)  # fmt: skip
        return Taken(None, troubles=(trouble,))
    return from_bytes(data, content_type, place)


def from_bytes(data: bytes, content_type: str, place: Place) -> Taken:
    """The text of a document of a content type; one that names none is judged by how it starts."""
    kind = _kind_of_content(data) if not content_type else kind_of(content_type)
    if kind is None:
        return Taken(None, troubles=(_not_text(content_type, place),))
    if kind == "rtf":
        text, origin, troubles = text_of_rtf(data, place.source, place.line)
        return Taken(text, origin, tuple(troubles))
    named = _CHARSET.search(content_type)
    source, trouble = decoded(data, place.source, named[1] if named else None, place.line)
    taken = from_text(source, kind, place)
    return Taken(taken.text, taken.origin, (*trouble, *taken.troubles))


def from_text(source: str, kind: str, place: Place) -> Taken:
    """The text of a document that is decoded already, of the kind `plain` or `html`."""
    if kind == "html":
        text, origin, troubles = text_of_html(source, place.source, place.line)
        return Taken(text, origin, tuple(troubles))
    return Taken(source)


def _kind_of_content(data: bytes) -> str | None:
    if data.lstrip().startswith(b"{\\rtf"):
        return "rtf"
    if re.match(rb"\s*<(!doctype\s+html|html)\b", data, re.IGNORECASE):
        return "html"
    return None if b"\0" in data or data.startswith(b"%PDF") else "plain"


def _not_text(content_type: str, place: Place) -> Diagnostic:
    shown = f"the type {content_type}" if _TYPE.fullmatch(content_type) else "an unknown type"
    return error(
        "attachment-not-text",
        f"The attached document is of {shown}, which holds no text to read, so it was left out.",
        place.source,
        place.line,
    )
