"""HTML: one note a page, named after its file; its layout becomes lines, its markup goes.

The standard library's reader is used because it tells the place of every piece of text. It runs nothing and
fetches nothing.
"""

import html
import re
from html.parser import HTMLParser

from converter.model import Diagnostic
from converter.sources.format import Format, NoteStream, Opened
from converter.sources.narrative import Narrative
from converter.sources.options import SourceOptions
from converter.sources.origins import Origin
from converter.sources.whole_file import file_too_large, note_of_file
from converter.sources.xml_text import root_name

_CHARSET = re.compile(rb"""<meta[^>]{0,200}charset\s*=\s*["']?\s*([A-Za-z0-9_.:-]+)""", re.IGNORECASE)
_ROOTS = frozenset(("html", "body", "head"))


def text_of_html(source: str, name: str, line: int | None = None) -> tuple[str, Origin, list[Diagnostic]]:
    """The text of HTML, where it stood, and what was left out.

    Args:
        source: the page, or a part of one.
        name: the file, for messages.
        line: its line, for messages.
    """
    reader = _Reader(source)
    reader.feed(source)
    reader.close()
    text, origin = reader.narrative.finish().result()
    return text, origin, list(reader.narrative.troubles(name, line))


class _Reader(HTMLParser):
    """Passes on what it meets, with its place in the source."""

    def __init__(self, source: str) -> None:
        super().__init__(convert_charrefs=False)
        self.narrative = Narrative()
        self._source = source
        self._starts = [0, *(match.end() for match in re.finditer("\n", source))]

    def _at(self) -> int:
        line, column = self.getpos()
        return self._starts[line - 1] + column

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.narrative.start(_bare(tag), dict(attrs))

    def handle_endtag(self, tag: str) -> None:
        self.narrative.end(_bare(tag))

    def handle_data(self, data: str) -> None:
        self.narrative.text(data, self._at())

    def handle_entityref(self, name: str) -> None:
        self._reference(len(name) + 1)

    def handle_charref(self, name: str) -> None:
        self._reference(len(name) + 2)

    def unknown_decl(self, data: str) -> None:
        if data.startswith("CDATA["):
            self.narrative.text(data[6:], self._at() + len("<![CDATA["))

    def _reference(self, length: int) -> None:
        """A character reference; one that stands for nothing is text."""
        at = self._at()
        written = self._source[at : at + length]
        if self._source[at + length : at + length + 1] == ";":
            written += ";"
        meant = html.unescape(written)
        if meant == written:
            self.narrative.text(written, at)
        else:
            self.narrative.character(meant, at)


def _bare(tag: str) -> str:
    """The name of an element without its prefix."""
    return tag.rpartition(":")[2]


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


HTML = Format(name="html", suffixes=(".html", ".htm", ".xhtml"), recognise=recognise_html, read=read_html)
