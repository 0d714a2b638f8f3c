"""Lays out the elements of HTML and of a CDA narrative block as plain lines.

Takes the start, the end and the text of elements in order; gives a Flow. Paragraphs and line breaks are
lines, list items have bullets, a table's row is one line with pipes between its cells. Scripts, styles and
wording that is struck out are left out; the latter is counted.
"""

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

from converter.model import Diagnostic
from converter.sources.flow import Flow, row_lines
from converter.sources.troubles import error, warning


def _names(text: str) -> frozenset[str]:
    return frozenset(text.split())


_BLOCKS = _names("""
    address article aside blockquote body caption center dd details dir div dl dt fieldset figcaption figure
    footer form h1 h2 h3 h4 h5 h6 header hr html legend list main menu nav ol optgroup option p paragraph pre
    section summary text ul
""")
_UNSEEN = _names("script style title template object iframe svg math audio video canvas")
_NO_TEXT = _names("audio canvas iframe img input math object rendermultimedia svg textarea video")
_STRUCK = frozenset(("del", "s", "strike"))
_ITEMS = frozenset(("li", "item"))
_CELLS = frozenset(("td", "th"))
_ATTRIBUTE = re.compile(r"""([\w:.-]++)\s*=\s*(?:"([^"]*)"|'([^']*)'|([^\s"'>]++))""")
_WIDEST_SPAN = 50
_DEEPEST_SPAN = 1000
_REPEATED = 80
BULLET = "• "


@dataclass(slots=True)
class _Table:
    """A table that is being read.

    Attributes:
        row: the cells of the open row, None between rows.
        cell: the open cell.
        reaching: column -> (rows it still reaches down into, the cell), for cells that span rows.
    """

    row: list[Flow] | None = None
    cell: Flow | None = None
    width: int = 1
    depth: int = 1
    reaching: dict[int, tuple[int, Flow]] = field(default_factory=dict)


class Narrative:
    """Follows the elements of a document and writes their text.

    Attributes:
        struck: how often wording was left out because it is struck out.
        no_text: how many elements there were whose content is not running text, such as pictures.
        cut_off: what has no end, so that everything after it was left out; or empty.
    """

    def __init__(self, flow: Flow | None = None, *, keep_lines: bool = False) -> None:
        """Begin.

        Args:
            flow: where the text goes on.
            keep_lines: whether white space stays as it is, as in an element that holds nothing but text.
        """
        self.flow = flow or Flow()
        self.struck = 0
        self.no_text = 0
        self.cut_off = ""
        self._tables: list[_Table] = []
        self._skipping = ""
        self._skipped = 0
        self._verbatim = int(keep_lines)

    def start(self, name: str, attributes: Mapping[str, str | None]) -> None:
        """An element begins."""
        if self._skipping:
            self._skipped += name == self._skipping
            return
        self.no_text += name in _NO_TEXT
        struck = name in _STRUCK or attributes.get("revised") == "delete"
        if struck or name in _UNSEEN:
            self.struck += struck
            self._skipping, self._skipped = name, 1
        elif name == "br":
            self._target().break_line()
        elif name in _ITEMS:
            self._target().new_line()
            self._target().mark(BULLET)
        elif name in _CELLS and self._tables:
            self._open_cell(attributes)
        elif name in _STARTS:
            _STARTS[name](self)
        elif name in _BLOCKS:
            self._target().new_line()
            self._verbatim += name == "pre"

    def end(self, name: str) -> None:
        """An element ends."""
        if self._skipping:
            self._skipped -= name == self._skipping
            if not self._skipped:
                self._skipping = ""
        elif name in _CELLS and self._tables:
            self._close_cell()
        elif name in _ENDS:
            _ENDS[name](self)
        elif name in _BLOCKS or name in _ITEMS:
            self._target().new_line()
            self._verbatim -= name == "pre" and self._verbatim > 0

    def text(self, text: str, at: int) -> None:
        """Characters that stand in the source as they are."""
        if self._skipping:
            return
        if self._verbatim:
            self._target().verbatim(text, at)
        else:
            self._target().words(text, at)

    def character(self, text: str, at: int) -> None:
        """What a character reference stands for."""
        if self._skipping:
            return
        if text.isspace() and text != "\xa0":
            self.text(text, at)
        else:
            self._target().character(text, at)

    def finish(self) -> Flow:
        """Close what is still open and give everything."""
        self.cut_off = self.cut_off or (f"element {self._skipping}" if self._skipping else "")
        while self._tables:
            self._end_table()
        return self.flow

    def troubles(self, source: str, line: int | None = None) -> Iterator[Diagnostic]:
        """What was left out, once everything was given."""
        if self.struck:
            yield warning(
                "struck-out",
                f"Wording that is struck out was left out ({self.struck}).",
                source,
                line,
            )
        if self.no_text:
            yield warning(
                "not-text",
                f"Pictures, form fields and the like hold no text to read ({self.no_text}).",
                source,
                line,
            )
        if self.cut_off:
            yield error(
                "element-without-end",
                f"The {self.cut_off} has no end, so what follows it was left out.",
                source,
                line,
            )

    def _target(self) -> Flow:
        """Where text goes now: the innermost open cell."""
        return next((table.cell for table in reversed(self._tables) if table.cell is not None), self.flow)

    def _start_table(self) -> None:
        self._target().new_line()
        self._tables.append(_Table())

    def _end_table(self) -> None:
        if self._tables:
            self._end_row()
            self._tables.pop()
            self._target().new_line()

    def _start_row(self) -> None:
        if self._tables:
            self._end_row()
            self._tables[-1].row = []

    def _end_row(self) -> None:
        if not self._tables:
            return
        self._close_cell()
        table = self._tables[-1]
        if table.row is not None:
            _fill_from_above(table)
            row, table.row = table.row, None
            self._target().add_lines(row_lines(row))

    def _open_cell(self, attributes: Mapping[str, str | None]) -> None:
        self._close_cell()
        table = self._tables[-1]
        table.row = [] if table.row is None else table.row
        _fill_from_above(table)
        table.cell = Flow()
        table.width = min(_span(attributes.get("colspan")), _WIDEST_SPAN)
        table.depth = min(_span(attributes.get("rowspan")), _DEEPEST_SPAN)

    def _close_cell(self) -> None:
        table = self._tables[-1]
        if table.cell is None or table.row is None:
            return
        below = table.cell if _is_short(table.cell) else Flow()
        for extra in range(table.width):
            if table.depth > 1:
                table.reaching[len(table.row)] = (table.depth - 1, Flow() if extra else below)
            table.row.append(Flow() if extra else table.cell)
        table.cell = None


_STARTS: dict[str, Callable[[Narrative], None]] = {
    "table": Narrative._start_table,
    "tr": Narrative._start_row,
}
_ENDS: dict[str, Callable[[Narrative], None]] = {
    "table": Narrative._end_table,
    "tr": Narrative._end_row,
}


def give_tag(narrative: Narrative, name: str, ends: bool, rest: str) -> None:
    """Give a tag to a narrative.

    Args:
        narrative: where it goes.
        name: its name in lower case, without a prefix.
        ends: whether it is an end tag.
        rest: what stands after its name: attributes, and a slash where the element ends at once.
    """
    if ends:
        narrative.end(name)
        return
    told = rest if name in _CELLS or "revised" in rest else ""
    narrative.start(
        name,
        {key.lower(): double or single or bare for key, double, single, bare in _ATTRIBUTE.findall(told)},
    )
    if rest.endswith("/"):
        narrative.end(name)


def _fill_from_above(table: _Table) -> None:
    """Put in the cells of earlier rows that reach down to where the row now stands."""
    row = table.row
    while row is not None and len(row) in table.reaching:
        left, cell = table.reaching.pop(len(row))
        if left > 1:
            table.reaching[len(row)] = (left - 1, cell)
        row.append(cell)


def _is_short(cell: Flow) -> bool:
    """Whether a cell that spans rows is a label or a value, which holds for each row, and not a paragraph."""
    lines = cell.trimmed()
    return len(lines) <= 1 and sum(len(text) for line in lines for text, _ in line) <= _REPEATED


def _span(written: str | None) -> int:
    return (
        max(int(written), 1)
        if written and written.isascii() and written.isdigit() and len(written) < 6
        else 1
    )
