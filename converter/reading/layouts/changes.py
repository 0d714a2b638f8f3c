"""Reads lines that say how a reflex changed: "R knee  1+ → 2+", the value before and the value now.

Takes a line; gives a parser with drafts, the first of them of an earlier examination. Only a line that holds
nothing else is read so.
"""

from converter.reading.grammar.drafting import draft
from converter.reading.grammar.parser import Context, Parser
from converter.reading.grammar.parts import Phrase
from converter.reading.grammar.phrases import take
from converter.reading.grammar.targets import targets_at
from converter.reading.layouts.table_cells import make_earlier
from converter.reading.lines import Line
from converter.reading.tokens import Token
from converter.reading.written import Written
from converter.words import Vocabulary

_VALUES_AND_ARROW = 3
_WORDS = frozenset({"absent", "trace"})


def change_at(
    text: str, line: Line, context: Context, vocabulary: Vocabulary, *, headed: bool
) -> Parser | None:
    """The change that a line says, if it says one.

    Args:
        text: the note.
        line: the line.
        context: what the note said before.
        vocabulary: words and reflexes.
        headed: reflexes were spoken of right above, so that a joint means its reflex.
    """
    tokens = line.tokens
    if len(tokens) <= _VALUES_AND_ARROW or not _says_change(text, tokens[-_VALUES_AND_ARROW:]):
        return None
    if not (headed or any("trigger" in token.flags for token in tokens)):
        return None
    parser = Parser(text, tokens, Context(reflexes=True, pair_order=context.pair_order), vocabulary)
    targets, end = targets_at(parser, 0, after_value=False)
    start = len(tokens) - _VALUES_AND_ARROW
    if not targets or not all(target.specific for target in targets) or parser.skip(end, "colon") != start:
        return None
    for index in (start, start + 2):
        phrase = Phrase()
        take(parser, index, phrase)
        draft(parser, targets, phrase)
        if index == start:
            make_earlier(parser.drafts, Token("dash", tokens[start + 1].start, tokens[start + 1].end))
    return parser if len(parser.drafts) == 2 * len(targets) else None


def _says_change(text: str, tokens: list[Token]) -> bool:
    before, arrow, after = tokens
    return text[arrow.start : arrow.end] == "→" and _is_strength(before) and _is_strength(after)


def _is_strength(token: Token) -> bool:
    written = token.written
    return isinstance(written, Written) and (written.graded or written.descriptor in _WORDS)
