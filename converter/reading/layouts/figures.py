"""Reads a stick figure drawn in characters: grades at the joints of a body, arrows at its feet.

Takes the lines of a note; gives drafts for the grades of a figure whose rows can be told, and says of the
others that they were not understood. The viewer's left is the patient's right (common practice, no source);
which joint a row stands for is a setting. Rows that carry names are a table, and left to `tables`.
"""

from dataclasses import dataclass

from converter.model import Diagnostic, Severity, Unread
from converter.reading.grammar.drafting import draft
from converter.reading.grammar.parser import Context, Parser
from converter.reading.grammar.parts import Phrase, Target
from converter.reading.grammar.phrases import take
from converter.reading.lines import Line
from converter.reading.tokens import Token
from converter.reading.written import Pair, Written
from converter.words import Vocabulary


@dataclass(frozen=True, slots=True)
class Figure:
    """A drawn figure.

    Attributes:
        first, last: its first and last line, as indices.
        rows: the two values of each row with grades, as seen from the left.
        feet: the two arrows at the feet, or None.
    """

    first: int
    last: int
    rows: list[tuple[Token, Token]]
    feet: tuple[Token, Token] | None


def figure_at(cleaned: list[Line], drawn: set[int], start: int) -> Figure | None:
    """The figure that begins at a line, if one does.

    Args:
        cleaned: the lines without the strokes of drawings.
        drawn: indices of the lines that held strokes.
        start: index of the first line.
    """
    rows: list[tuple[Token, Token]] = []
    feet: tuple[Token, Token] | None = None
    index = start
    while index < len(cleaned) and (cleaned[index].tokens or index in drawn):
        values = _two_values(cleaned[index].tokens)
        if cleaned[index].tokens and values is None:
            break
        if values is not None:
            if all(isinstance(t.written, Written) and t.written.response for t in values):
                feet = values
            else:
                rows.append(values)
        index += 1
    inside = any(start <= line < index for line in drawn)
    return Figure(start, index - 1, rows, feet) if inside and len(rows) >= 2 else None


def _two_values(tokens: list[Token]) -> tuple[Token, Token] | None:
    if len(tokens) == 1 and isinstance(tokens[0].written, Pair) and "arrow" in tokens[0].flags:
        return None
    if len(tokens) != 2 or any(token.kind != "value" for token in tokens):
        return None
    return tokens[0], tokens[1]


def read_figure(
    text: str, figure: Figure, rows: tuple[str, ...], context: Context, vocabulary: Vocabulary
) -> tuple[Parser, list[Unread], list[Diagnostic]]:
    """Read a figure whose rows can be told; else say which question it leaves."""
    tokens = [token for row in figure.rows for token in row] + list(figure.feet or ())
    parser = Parser(text, tokens, context, vocabulary)
    if len(figure.rows) != len(rows):
        return parser, *_not_told(text, figure)
    for site, values in zip(rows, figure.rows, strict=True):
        _draft_row(parser, site, values)
    if figure.feet is not None:
        _draft_row(parser, "plantar", figure.feet)
    return parser, [], []


def _draft_row(parser: Parser, site: str, values: tuple[Token, Token]) -> None:
    for side, token in zip(("right", "left"), values, strict=True):
        phrase = Phrase()
        take(parser, parser.tokens.index(token), phrase)
        draft(parser, [Target(site, side=side, used=[(token, "site")])], phrase)


def _not_told(text: str, figure: Figure) -> tuple[list[Unread], list[Diagnostic]]:
    for row in figure.rows:
        for token in row:
            token.used = "figure"
    start, end = figure.rows[0][0].start, figure.rows[-1][1].end
    unread = [Unread(start=start, end=end, text=text[start:end], why="ambiguous-layout")]
    question = Diagnostic(
        code="ambiguous-figure",
        severity=Severity.WARNING,
        message=f"Which joints do the {len(figure.rows)} rows of this figure stand for?",
        hint="Name the rows in the note, or set which rows a figure has.",
        start=start,
        end=end,
    )
    return unread, [question]
