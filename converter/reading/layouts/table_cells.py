"""Reads one cell of a table: a value, the reason why there is none, the mark of a footnote, a remark.

Takes the tokens of a cell and what its row and column are about; gives drafts. Which cell belongs to which
column is left to `table_rows`.
"""

from dataclasses import replace

from converter.reading.grammar.clonus_places import CLONUS_AT
from converter.reading.grammar.drafting import add_bare, draft
from converter.reading.grammar.parser import VALUES, Context, Parser
from converter.reading.grammar.parts import Draft, Target, Used
from converter.reading.grammar.phrases import phrase_at
from converter.reading.grammar.rules import read_sentence
from converter.reading.grammar.untested import not_tested
from converter.reading.layouts.head_columns import Column
from converter.reading.lines import Cell
from converter.reading.tokens import Token
from converter.reading.written import Written
from converter.words import Vocabulary

_EMPTY = frozenset({"dash", "other_mark", "slash", "stop"})
_OTHER_EXAM = frozenset({"other_exam", "look_alike"})
_MANNER = frozenset({"reinforcement", "manoeuvre", "technique", "position", "quality"})
_BESIDE_MANNER = frozenset({"with", "at", "is", "side", "comma", "stop", "and", "open", "close", "now"})
_OF_REFLEXES = frozenset({"absent", "trace", "diminished", "brisk", "hyperactive"})


class CellReader:
    """Reads the cells of the tables of one note.

    Args:
        text: the note.
        context: what the note said before.
        vocabulary: words and reflexes.
        footnotes: the words of each footnote, by its mark.
    """

    def __init__(
        self, text: str, context: Context, vocabulary: Vocabulary, footnotes: dict[str, list[Token]]
    ) -> None:
        self._text = text
        self._context = context
        self._vocabulary = vocabulary
        self._footnotes = footnotes
        self._order, self._signs = context.pair_order, False

    def use_table(self, order: str | None, *, signed: bool) -> None:
        """Take note of what holds for a whole table.

        Args:
            order: which side the first of two values in a cell belongs to, where the note says so above it.
            signed: a plus alone fills a cell, so that a minus is its opposite.
        """
        self._order, self._signs = order or self._context.pair_order, signed

    def value(self, parser: Parser, cell: Cell, targets: list[Target], column: Column) -> bool:
        """Read a cell; whether it says something, or nothing on purpose."""
        own = self.parser(cell.tokens)
        if own.kind(0) in _OTHER_EXAM:
            return True
        if "cell" in cell.tokens[0].flags and any(target.sign for target in targets):
            return False
        untested = next((at for at, token in enumerate(own.tokens) if token.kind == "untested"), None)
        if untested is not None and own.kind(0) == "reason":  # "amputated, not tested"
            self._not_tested_because(own, targets)
        elif untested is not None and not any(token.kind in VALUES for token in own.tokens):
            not_tested(own, targets, untested)
        elif _says_why_not(own):
            self._not_tested_because(own, targets)
        elif own.kind(0) == "dash" and len(cell.tokens) == 1:
            if _counts_plus_signs(parser) or (self._signs and targets and self._is_there_or_not(targets[0])):
                add_bare(own, targets[0], None, [(cell.tokens[0], "value")], implied="absent")
        elif own.kind(0) == "other_mark" and len(cell.tokens) == 1:
            own = self._by_footnote(cell.tokens[0], targets) or own
        else:
            self._said(own, targets)
        if column.time is not None:
            place_in_time(own.drafts, column.time, column.standing)
        parser.drafts += own.drafts
        return bool(own.drafts) or not targets or all(t.kind in _EMPTY for t in cell.tokens)

    def _is_there_or_not(self, target: Target) -> bool:
        """Whether a plus says that it is there: of a sign, and of the reflexes of the skin."""
        return target.sign or self._vocabulary.reflexes[target.site].kind == "superficial"

    def _said(self, own: Parser, targets: list[Target]) -> None:
        found = phrase_at(own, 0)
        if found is not None:
            if draft(own, targets, found[0]):
                before = len(own.drafts)
                own.index = _past_earlier(own, targets, found[1])
                read_sentence(own)
                _place_clonus(own.drafts[before:], targets)
        elif own.kind(0) == "no" and len(own.tokens) == 1:
            for target in targets:
                add_bare(own, target, None, [(own.tokens[0], "value")], implied="absent", negated=target.sign)

    def _not_tested_because(self, own: Parser, targets: list[Target]) -> None:
        """A cell that only gives the reason: "amputation", "in cast"."""
        reason = next(token for token in own.tokens if token.kind == "reason")
        for target in targets:
            used: Used = [(reason, "detail")]
            add_bare(own, target, None, used, status="not_tested", reason=reason.meaning)

    def _by_footnote(self, mark: Token, targets: list[Target]) -> Parser | None:
        """A cell that holds only the mark of a footnote, "* not tested, leg in cast"."""
        words = self._footnotes.get(self._text[mark.start : mark.end], [])
        own = self.parser([mark, *words])
        at = next((index for index, token in enumerate(own.tokens) if token.kind == "untested"), None)
        if at is None:
            return None
        not_tested(own, [replace(t, used=[*t.used, (mark, "value")]) for t in targets], at)
        for token in words[: at + 1]:
            token.used = token.used or "assertion"
        return own

    def remark(self, row: Parser, cell: Cell, targets: list[Target], side: str | None = None) -> bool:
        """Read a remark beside the values of a row; whether nothing of it about reflexes is left over.

        Args:
            row: the row, with the drafts of its values.
            cell: the remark.
            targets: the reflexes that the row names.
            side: the side that the row names.
        """
        own = self.parser(cell.tokens)
        if any(token.kind in _OTHER_EXAM for token in cell.tokens):
            return True
        if _says_only_manner(cell.tokens):
            return _add_manner(row, cell.tokens)
        joint = _clonus_target(targets)
        counted = own.kind(0) in ("count", "clonus_word") and not any("sign" in t.flags for t in cell.tokens)
        found = phrase_at(own, 0) if counted and joint is not None else None
        if found is not None and joint is not None:
            draft(own, [joint], found[0])
        elif any("trigger" in token.flags or "sign" in token.flags for token in cell.tokens):
            own.context.side = side
            read_sentence(own)
        kept = [made for made in own.drafts if made.target.sign or "trigger" in made.target.flags]
        _place_clonus(kept, targets)
        row.drafts += kept
        return bool(kept) or not any(map(_speaks_of_strength, cell.tokens))

    def parser(self, tokens: list[Token]) -> Parser:
        """A parser for some tokens of a table."""
        context = replace(self._context, reflexes=True, pair_order=self._order)
        return Parser(self._text, tokens, context, self._vocabulary)


def make_earlier(drafts: list[Draft], time: Token) -> None:
    """Give drafts to the earlier examination that a head or the name of a row names."""
    for made in drafts:
        if made.status == "current":
            made.status = "historical"
            made.used = [*made.used, (time, "assertion")]


def keep_apart(drafts: list[Draft], clock: Token) -> None:
    """Give drafts to the examination at a time of day, one of several of the present."""
    for made in drafts:
        made.used = [*made.used, (Token("clock", clock.start, clock.end), "assertion")]


def place_in_time(drafts: list[Draft], time: Token, standing: str) -> None:
    """Give drafts the place that their time has among others: `earlier`, `clock`, or nothing."""
    if standing == "earlier":
        make_earlier(drafts, time)
    elif standing == "clock":
        keep_apart(drafts, time)


def _past_earlier(own: Parser, targets: list[Target], index: int) -> int:
    """As in "2+ (was 3+)": the earlier value in brackets; gives the index after it."""
    said = own.word(index + 1) in ("was", "were", "previously", "prev") or own.kind(index + 1) == "past"
    inside = next((at for at in range(index, len(own.tokens)) if own.kind(at) == "close"), None)
    if own.kind(index) != "open" or inside is None or not said:
        return index
    found = phrase_at(own, index + 2)
    before = len(own.drafts)
    if found is None or found[1] > inside + 1 or not draft(own, targets, found[0]):
        return index
    make_earlier(own.drafts[before:], Token("past", own.tokens[index + 1].start, own.tokens[index + 1].end))
    return inside + 1


def _says_why_not(own: Parser) -> bool:
    """Whether a cell holds nothing but the reason why there is no value."""
    kinds = [token.kind for token in own.tokens]
    named = {token.meaning for token in own.tokens if token.kind == "reason"} - {""}
    return len(named) == 1 and set(kinds) <= {"reason", "at", "side", "open", "close"}


def _clonus_target(targets: list[Target]) -> Target | None:
    """Clonus at the one joint that a row names, where it is sought there."""
    joint = CLONUS_AT.get(targets[0].site) if len(targets) == 1 else None
    return replace(targets[0], site=joint, flags=frozenset({"sign"})) if joint is not None else None


def _place_clonus(drafts: list[Draft], targets: list[Target]) -> None:
    """As in "3+, 2 beats clonus" in a cell: clonus at the joint and on the side that the cell is about."""
    joint = _clonus_target(targets)
    for made in drafts:
        if made.target.site == "clonus_unspecified" and joint is not None:
            made.target = replace(joint, used=[*joint.used, *made.target.used])
            made.used = [*joint.used, *made.used]
            made.side = joint.side or made.side if made.side == "unspecified" else made.side


def _says_only_manner(tokens: list[Token]) -> bool:
    """As in "with reinforcement", "seated": how the reflex was elicited, and nothing else."""
    kinds = {token.kind for token in tokens}
    return bool(kinds & _MANNER) and kinds <= _MANNER | _BESIDE_MANNER


def _add_manner(row: Parser, tokens: list[Token]) -> bool:
    """Add a manner to the values of its row, or to those of the side it names; whether there were any."""
    sides = {token.meaning for token in tokens if token.kind == "side"} & {"left", "right"}
    manner = [token for token in tokens if token.kind in _MANNER]
    graded = [d for d in row.drafts if d.value is not None and (d.side in sides or not sides)]
    for made in graded:
        made.details = replace(made.details)
        for token in manner:
            made.details.note(token)
        made.used = [*made.used, *((token, "detail") for token in manner)]
    for token in tokens if graded else []:
        token.used = token.used or "detail"
    return bool(graded)


def _speaks_of_strength(token: Token) -> bool:
    """Whether a token counts beats, or is a word for the strength of a reflex."""
    worded = isinstance(token.written, Written) and token.written.descriptor in _OF_REFLEXES
    return not token.used and (token.kind == "count" or worded)


def _counts_plus_signs(row: Parser) -> bool:
    """In a row of plus signs a minus says absent; elsewhere it is an empty cell."""
    return any(isinstance(t.written, Written) and t.written.counted for t in row.tokens)
