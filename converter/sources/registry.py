"""The formats that notes are read from, and which one an input is in. A new format joins FORMATS."""

import re
from collections.abc import Iterator

from converter.model import Diagnostic
from converter.sources.decode import guess_encoding
from converter.sources.format import Format, Opened
from converter.sources.options import SourceOptions
from converter.sources.troubles import error, warning

_SEGMENTS = ("MSH", "FHS", "BHS", "PID", "EVN", "PD1", "PV1", "ORC", "OBR", "OBX", "TXA", "NTE")


def _never(_head: bytes, _text: str) -> bool:
    return False


def _always(_head: bytes, _text: str) -> bool:
    return True


def _markup(_head: bytes, text: str) -> bool:
    return text.startswith("<")


def _resources(_head: bytes, text: str) -> bool:
    """FHIR: markup, or JSON that names a type, perhaps with escapes."""
    named = text.startswith(("{", "[")) and ("resourceType" in text or "\\u" in text)
    return named or text.startswith("<")


FORMATS: tuple[Format, ...] = (
    Format(
        name="parquet",
        suffixes=(".parquet", ".pq"),
        module="parquet",
        may_be=lambda head, _text: head.startswith(b"PAR1"),
        binary=True,
    ),
    Format(
        name="rtf",
        suffixes=(".rtf",),
        module="rtf",
        may_be=lambda head, _text: b"{\\rtf" in head,
        binary=True,
    ),
    Format(
        name="hl7",
        suffixes=(".hl7", ".oru", ".mdm"),
        module="hl7v2",
        may_be=lambda _head, text: text.startswith(_SEGMENTS),
    ),
    Format(name="fhir", suffixes=(".fhir",), module="fhir", may_be=_resources),
    Format(name="html", suffixes=(".html", ".htm", ".xhtml"), module="hypertext", may_be=_markup),
    Format(name="cda", suffixes=(".xml", ".cda"), module="cda", may_be=_markup),
    Format(
        name="jsonl",
        suffixes=(".jsonl", ".ndjson", ".json"),
        module="jsonl",
        may_be=lambda _head, text: text.startswith("{"),
    ),
    Format(name="csv", suffixes=(".csv",), module="delimited", may_be=_always),
    Format(name="tsv", suffixes=(".tsv", ".tab"), module="delimited", may_be=_never),
    Format(name="text", suffixes=(".txt", ".text"), module="text", may_be=_never),
)
"""In the order in which an input's content is tried against them."""

_BEFORE = re.compile(r"[\s\ufeff\0]*")
"""What may stand before the first mark of a text."""
_KINDS = {
    b"%PDF": "a PDF document",
    b"\xd0\xcf\x11\xe0": "an old office document",
    b"\x89PNG": "a picture",
    b"\xff\xd8\xff": "a picture",
    b"II*\x00": "a picture",
    b"BZh": "compressed with bzip2",
    b"\xfd7zXZ": "compressed with xz",
}
_CONTROL = bytes(byte for byte in range(32) if byte not in b"\t\n\v\f\r\x1b\x1a\x1c\x1d\x1e")


def choose_format(opened: Opened, suffix: str, named: bool, options: SourceOptions) -> Format | Diagnostic:
    """The format of an input, or why it is not read.

    A format that the caller names counts first, then content that can be nothing else, then the name's end.
    A file of no known kind is plain text if it was named itself; in a folder it is passed over, since it may
    be no note at all.

    Args:
        opened: the open input.
        suffix: end of its name, lower case, without `.gz`.
        named: whether the input itself was named, not found in a folder.
        options: names a format, or does not.
    """
    if options.input_format:
        return by_name(options.input_format)
    sure = next(recognised(opened, options), None)
    if sure is not None and sure.binary:
        return sure
    kind = _not_text(opened.head) if not options.encoding else None
    if kind:
        return error("binary-file", f"The file is not text ({kind}), so it was not read.", opened.name)
    if sure is not None and not (sure.name == "csv" and suffix in by_name("tsv").suffixes):
        return sure
    by_suffix = next((kind for kind in FORMATS if suffix in kind.suffixes), None)
    return by_suffix or (by_name("text") if named else _passed_over(opened))


def recognised(opened: Opened, options: SourceOptions) -> Iterator[Format]:
    """The formats whose marks an input's first bytes bear; the first of them counts."""
    text = "\n".join(opened.first_lines(options))
    before = _BEFORE.match(text)
    text = text[before.end() :] if before else text
    return (kind for kind in FORMATS if kind.may_be(opened.head, text) and kind.recognise(opened, options))


def by_name(name: str) -> Format:
    """The format of a name.

    Raises:
        ValueError: there is no such format; the message lists those there are.
    """
    for kind in FORMATS:
        if kind.name == name:
            return kind
    raise ValueError(f"there is no input format {name}; choose from {', '.join(format_names())}")


def format_names() -> tuple[str, ...]:
    """The names of all formats."""
    return tuple(kind.name for kind in FORMATS)


def _not_text(head: bytes) -> str | None:
    """What a file that is no text seems to be, or None for text."""
    for mark, kind in _KINDS.items():
        if head.startswith(mark):
            return f"it looks like {kind}" if kind.startswith(("a ", "an ")) else f"it is {kind}"
    if guess_encoding(head).startswith(("utf-16", "utf-32")):
        return None
    if b"\0" in head:
        return "it holds zero bytes"
    if len(head.translate(None, _CONTROL)) < len(head) * 0.9:
        return "it holds many control characters"
    return None


def _passed_over(opened: Opened) -> Diagnostic:
    known = ", ".join(suffix for kind in FORMATS for suffix in kind.suffixes)
    return warning(
        "unknown-format",
        "The file was passed over, since neither its name nor its content shows a known format.",
        opened.name,
        hint=f"Name the file itself to read it as plain text, or end its name in one of {known}.",
    )
