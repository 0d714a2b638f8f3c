"""Walks the lines of a note for tables and drawn figures, and leaves the other lines to the sentences.

Takes the tokens of a note; gives what was read from layouts, and the tokens of all other lines.
"""

from dataclasses import dataclass, field

from converter.model import Diagnostic, Unread
from converter.reading.grammar.parser import Context, Parser
from converter.reading.layouts.changes import change_at
from converter.reading.layouts.figures import Figure, figure_at, read_figure
from converter.reading.layouts.piped_lines import parted
from converter.reading.layouts.record_tables import record_table_at
from converter.reading.layouts.tables import TableReader
from converter.reading.layouts.ticked_tables import ticked_table_at
from converter.reading.layouts.timed_values import TimedValues
from converter.reading.lines import Line, drawn_lines, lines_of, without_drawing
from converter.reading.tokens import Token
from converter.words import Vocabulary

_HEADING_NEAR = 3


@dataclass(slots=True)
class Layouts:
    """What was read from tables and figures.

    Attributes:
        parsers: one for each row of a table and each figure, with its drafts.
        starts: places in the note where tables and figures begin.
        unread: grades of figures whose rows cannot be told.
        diagnostics: the questions that leaves.
        left: the tokens of all other lines.
    """

    parsers: list[Parser] = field(default_factory=list)
    starts: list[int] = field(default_factory=list)
    unread: list[Unread] = field(default_factory=list)
    diagnostics: list[Diagnostic] = field(default_factory=list)
    left: list[Token] = field(default_factory=list)


def read_layouts(
    text: str, tokens: list[Token], figure_rows: tuple[str, ...], context: Context, vocabulary: Vocabulary
) -> Layouts:
    """Read the tables and figures of a note."""
    raw = lines_of(text, tokens)
    drawn = drawn_lines(text, raw)
    lines = without_drawing(text, raw)
    timed = TimedValues(text, context, vocabulary)
    ends = [token for token in tokens if token.kind == "newline"]
    tables = _Tables(text, context, vocabulary, raw, lines, ends)
    found = Layouts()
    arrows = "→" in text
    index, changing = 0, False
    while index < len(lines):
        after = tables.take(found, index)
        if after is not None:
            index = after
            continue
        said = arrows or timed.may_be(lines[index])
        headed = (said or bool(drawn)) and (_headed(lines, index) or changing)
        change = _change_at(lines[index], timed, headed=headed) if said else None
        changing = change is not None
        if change is not None:
            index = _take_change(found, index, change)
            continue
        figure = figure_at(lines, drawn, index) if drawn and headed else None
        if figure is not None:
            _take_figure(found, text, figure, figure_rows, context, vocabulary)
            index = figure.last + 1
            continue
        found.left += parted(text, raw, index) if index not in drawn else lines[index].tokens
        if index < len(ends):
            found.left.append(ends[index])
        index += 1
    return found


def _change_at(line: Line, timed: TimedValues, *, headed: bool) -> Parser | None:
    """The values of several times that a line says, by an arrow between them or each with its time."""
    arrow = "→" in timed.text
    change = change_at(timed.text, line, timed.context, timed.vocabulary, headed=headed) if arrow else None
    return change or (timed.line(line, headed=headed) if timed.may_be(line) else None)


class _Tables:
    """The tables of one note, in their three kinds."""

    def __init__(
        self,
        text: str,
        context: Context,
        vocabulary: Vocabulary,
        raw: list[Line],
        lines: list[Line],
        ends: list[Token],
    ) -> None:
        self._text, self._context, self._vocabulary = text, context, vocabulary
        self._raw, self._lines, self._ends = raw, lines, ends
        self._reader = TableReader(text, context, vocabulary, lines)

    def take(self, found: Layouts, index: int) -> int | None:
        """Take the table whose heads stand in a line; gives the index of the first line after it."""
        place = self._text, self._lines, index, self._context, self._vocabulary
        ticked = ticked_table_at(*place)
        if ticked is not None:
            self._begin(found, index, ticked.rows)
            found.unread += ticked.unread
            return ticked.after
        table = self._reader.table_at(index)
        if table is not None:
            self._begin(found, index, table.rows)
            found.unread += table.unread
            found.left += table.left
            for line in table.apart:
                found.left += [*self._raw[line].tokens, *self._ends[line : line + 1]]
            return table.after
        records = record_table_at(*place)
        if records is None:
            return None
        self._begin(found, index, records.rows)
        found.left += records.left
        return records.after

    def _begin(self, found: Layouts, index: int, rows: list[Parser]) -> None:
        found.parsers += rows
        found.starts.append(self._lines[index].tokens[0].start)


def _take_change(found: Layouts, index: int, change: Parser) -> int:
    found.parsers.append(change)
    found.starts.append(change.tokens[0].start)
    return index + 1


def _take_figure(
    found: Layouts,
    text: str,
    figure: Figure,
    rows: tuple[str, ...],
    context: Context,
    vocabulary: Vocabulary,
) -> None:
    parser, unread, questions = read_figure(text, figure, rows, context, vocabulary)
    found.parsers.append(parser)
    found.starts.append(parser.tokens[0].start)
    found.unread += unread
    found.diagnostics += questions


def _headed(lines: list[Line], index: int) -> bool:
    """Whether a reflex heading stands right above a line."""
    above = lines[max(0, index - _HEADING_NEAR) : index]
    return any(token.kind == "reflex" for line in above for token in line.tokens)
