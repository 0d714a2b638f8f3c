"""HTML: one note a page, named after its file; its layout becomes lines, its markup goes.

Written for this package because every piece of text must keep its place in the source, and because a page
made to take for ever must not. It runs nothing and fetches nothing. Of the HTML standard
(https://html.spec.whatwg.org/multipage/parsing.html) only what matters for the text is read.
"""

import html
import re

from converter.model import Diagnostic
from converter.sources.format import NoteStream, Opened
from converter.sources.narrative import Narrative, give_tag
from converter.sources.options import SourceOptions
from converter.sources.origins import Origin
from converter.sources.whole_file import file_too_large, note_of_file
from converter.sources.xml_text import root_name

_CHARSET = re.compile(rb"""<meta[^>]{0,200}charset\s*=\s*["']?\s*([A-Za-z0-9_.:-]+)""", re.IGNORECASE)
_NAME = re.compile(r"<(?P<end>/?)(?P<name>[A-Za-z][^\s/>]*+)")
_REST = re.compile(r"(?:[^>\"']|\"[^\"]*\"|'[^']*')*+>")
_REFERENCE = re.compile(r"&(?:#[xX]?[0-9A-Fa-f]{1,8}|[A-Za-z][A-Za-z0-9]{0,40});?")
_RAW = frozenset(("script", "style"))
_ROOTS = frozenset(("html", "body", "head"))


def text_of_html(source: str, name: str, line: int | None = None) -> tuple[str, Origin, list[Diagnostic]]:
    """The text of HTML, where it stood, and what was left out.

    Args:
        source: the page, or a part of one.
        name: the file, for messages.
        line: its line, for messages.
    """
    scan = _Scan(source)
    scan.run()
    text, origin = scan.narrative.finish().result()
    return text, origin, list(scan.narrative.troubles(name, line))


class _Scan:
    """Goes through a page once, as the tokenizer of the HTML standard does where it matters for the text.

    Every step moves on, and nothing is looked for twice: the time stays in proportion to the size.
    """

    def __init__(self, source: str) -> None:
        self.narrative = Narrative()
        self._source = source
        self._quotes_hold = True

    def run(self) -> None:
        """Read everything."""
        at = 0
        while at < len(self._source):
            opened = self._source.find("<", at)
            self._text(at, opened if opened >= 0 else len(self._source))
            at = self._markup(opened) if opened >= 0 else len(self._source)

    def _markup(self, at: int) -> int:
        """Read what starts with `<`; gives where it ends."""
        source = self._source
        if source.startswith("<!--", at):
            return self._comment(at)
        if source.startswith("<![CDATA[", at):
            end = source.find("]]>", at)
            end = end if end >= 0 else len(source)
            self.narrative.text(source[at + 9 : end], at + 9)
            return end + 3
        name = _NAME.match(source, at)
        if name is not None:
            return self._tag(name)
        if source.startswith(("<!", "<?"), at):
            return (source.find(">", at) + 1) or self._cut("declaration")
        self.narrative.text("<", at)
        return at + 1

    def _comment(self, at: int) -> int:
        end = self._source.find("-->", at + 2)
        return end + 3 if end >= 0 else self._cut("comment")

    def _cut(self, what: str) -> int:
        """Say that something has no end; a browser shows nothing of what follows."""
        self.narrative.cut_off = what
        return len(self._source)

    def _tag(self, opening: re.Match[str]) -> int:
        """Read a tag; once a quotation mark in one was left open, quotation marks count no more."""
        source = self._source
        rest = _REST.match(source, opening.end()) if self._quotes_hold else None
        end = rest.end() if rest else source.find(">", opening.end()) + 1
        self._quotes_hold = self._quotes_hold and rest is not None
        if not end:
            return self._cut("tag")
        name = opening["name"].rpartition(":")[2].lower()
        give_tag(self.narrative, name, bool(opening["end"]), source[opening.end() : end - 1])
        if name in _RAW and not opening["end"]:
            return self._raw(name, end)
        return end

    def _raw(self, name: str, at: int) -> int:
        """Pass over a script or a style, in which `<` starts no tag."""
        closing = re.compile(rf"</{name}\b", re.IGNORECASE).search(self._source, at)
        return closing.start() if closing else len(self._source)

    def _text(self, start: int, end: int) -> None:
        at = start
        for reference in _REFERENCE.finditer(self._source, start, end):
            meant = html.unescape(reference[0])
            if meant != reference[0]:
                self.narrative.text(self._source[at : reference.start()], at)
                self.narrative.character(meant, reference.start())
                at = reference.end()
        self.narrative.text(self._source[at:end], at)


def read_html(opened: Opened, options: SourceOptions) -> NoteStream:
    """The one note of a page."""
    declared = _CHARSET.search(opened.head)
    lines = opened.lines(options, declared[1].decode("ascii") if declared else None)
    source = lines.everything(options.largest_note)
    yield from lines.last_troubles()
    if source is None:
        yield file_too_large(opened, options)
        return
    text, origin, troubles = text_of_html(source, opened.name)
    yield from troubles
    yield from note_of_file(opened, text, origin, options)


def recognise_html(opened: Opened, options: SourceOptions) -> bool:
    """Whether the first element is that of a page."""
    return (root_name("\n".join(opened.first_lines(options)[:200])) or "").lower() in _ROOTS
