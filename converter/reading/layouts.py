"""Walks the lines of a note for tables and drawn figures, and leaves the other lines to the sentences.

Takes the tokens of a note; gives what was read from layouts, and the tokens of all other lines.
"""

from dataclasses import dataclass, field

from converter.model import Diagnostic, Unread
from converter.reading.changes import change_at
from converter.reading.figures import Figure, figure_at, read_figure
from converter.reading.grammar.parser import Context, Parser
from converter.reading.lines import Line, drawn_lines, lines_of, without_drawing
from converter.reading.piped_lines import parted
from converter.reading.record_tables import RecordTable, record_table_at
from converter.reading.tables import Table, TableReader
from converter.reading.timed_values import TimedValues
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
    reader = TableReader(text, context, vocabulary, lines)
    timed = TimedValues(text, context, vocabulary)
    ends = [token for token in tokens if token.kind == "newline"]
    found = Layouts()
    index, changing = 0, False
    while index < len(lines):
        table = reader.table_at(index)
        if table is not None:
            index = _take_table(found, table)
            for line in table.apart:
                found.left += [*raw[line].tokens, *ends[line : line + 1]]
            continue
        records = record_table_at(text, lines, index, context, vocabulary)
        if records is not None:
            index = _take_records(found, lines[index].start, records)
            continue
        headed = _headed(lines, index) or changing
        change = _change_at(lines[index], timed, headed=headed)
        changing = change is not None
        if change is not None:
            index = _take_line(found, change, index)
            continue
        figure = figure_at(lines, drawn, index) if drawn and headed else None
        if figure is not None:
            _take_figure(found, text, figure, figure_rows, context, vocabulary)
            index = figure.last + 1
            continue
        found.left += parted(text, raw[index].tokens) if index not in drawn else lines[index].tokens
        if index < len(ends):
            found.left.append(ends[index])
        index += 1
    return found


def _change_at(line: Line, timed: TimedValues, *, headed: bool) -> Parser | None:
    """The values of several times that a line says, by an arrow between them or each with its time."""
    arrow = "→" in timed.text
    change = change_at(timed.text, line, timed.context, timed.vocabulary, headed=headed) if arrow else None
    return change or timed.line(line, headed=headed)


def _take_table(found: Layouts, table: Table) -> int:
    found.parsers += table.rows
    found.starts.append(table.start)
    found.unread += table.unread
    return table.after


def _take_line(found: Layouts, line: Parser, index: int) -> int:
    found.parsers.append(line)
    found.starts.append(line.tokens[0].start)
    return index + 1


def _take_records(found: Layouts, start: int, records: RecordTable) -> int:
    found.parsers += records.rows
    found.starts.append(start)
    found.left += records.left
    return records.after


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
