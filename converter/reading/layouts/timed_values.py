"""Reads lines that give a reflex at several times: "Ankle jerk, right   Last visit: 1+   Today: absent".

Takes a line; gives a parser with drafts, those of all times but the latest of an earlier examination. A line
that says anything else is left to the sentences.
"""

import re
from dataclasses import dataclass, replace
from itertools import pairwise

from converter.reading.grammar.parser import VALUES, Context, Parser
from converter.reading.grammar.rules import read_sentence
from converter.reading.grammar.tendons import grades_tendons
from converter.reading.layouts.table_cells import place_in_time
from converter.reading.layouts.table_times import Times
from converter.reading.lines import Line
from converter.reading.tokens import Token
from converter.words import Vocabulary

_WORD = re.compile(r"[^\s|;]+")
_LONGEST = 3
_FEWEST = 2
_REACH = 40
"""Characters before a value among which its time stands."""
_AFTER = frozenset({"colon", "equals", "dash", "comma", "pipe", "stop", "open", "close"})
_VALUED = VALUES | {"untested", "no"}
_BEGINS = VALUES | {"side", "untested", "no"}
_SPEAKING = frozenset({"trigger", "testing", "toes", "plantars"})
_NAMES = frozenset({"site", "reflex", "side", "region", "condition", "at"}) | _AFTER
_VERBS = {"was": "before", "were": "before", "is": "today"}


@dataclass(frozen=True, slots=True)
class _Label:
    """Where a time is said in a line, and the time in words that order."""

    start: int
    end: int
    said: str


class TimedValues:
    """Reads such lines of one note.

    Args:
        text: the note.
        context: what the note said before.
        vocabulary: words and reflexes.
    """

    def __init__(self, text: str, context: Context, vocabulary: Vocabulary) -> None:
        self.text = text
        self.context = context
        self.vocabulary = vocabulary
        self._times = Times(vocabulary.cells)

    def may_be(self, line: Line) -> bool:
        """Whether a line names a reflex and holds several values; most lines do not."""
        kinds = [token.kind for token in line.tokens]
        return "site" in kinds and sum(kind in _VALUED for kind in kinds) >= _FEWEST

    def line(self, line: Line, *, headed: bool) -> Parser | None:
        """The values of a line with its times; None where it is no such line.

        Args:
            line: the line.
            headed: reflexes were spoken of right above, so that a joint means its reflex.
        """
        labels = self._labels(line)
        if len({label.said for label in labels}) < _FEWEST:
            return None
        name = [token for token in line.tokens if token.start < labels[0].start]
        if not any(t.kind == "site" for t in name) or not all(t.kind in _NAMES for t in name):
            return None
        ends = [*(label.start for label in labels[1:]), line.end]
        values = [
            [t for t in line.tokens if label.end <= t.start < end]
            for label, end in zip(labels, ends, strict=True)
        ]
        told = [*name, *(token for own in values for token in own)]
        speaks = headed or any(not token.flags.isdisjoint(_SPEAKING) for token in name)
        if not (speaks or any(grades_tendons([*name, *own], foreign=self.context.foreign) for own in values)):
            return None
        return self._drafts(told, _name(name), values, labels)

    def _labels(self, line: Line) -> list[_Label]:
        """The times that a line says right before a value, in order; none where its first value has none."""
        labels: list[_Label] = []
        for token, after in pairwise([*line.tokens, None]):
            if token is not None and token.kind in _BEGINS:
                label = self._label(labels[-1].end if labels else line.start, token)
                labels += [label] if label is not None else []
                numbers = after is not None and after.kind == "colon"  # "Day 1: 2+"
                if not labels and token.kind in _VALUED and not numbers:
                    return []
        return labels

    def _label(self, start: int, value: Token) -> _Label | None:
        """The time in the words right before a value."""
        start = max(start, value.start - _REACH)
        words = [(start + m.start(), start + m.end()) for m in _WORD.finditer(self.text[start : value.start])]
        while words and not any(map(str.isalnum, self.text[slice(*words[-1])])):
            words.pop()
        for first, _ in words[-_LONGEST:]:
            end = first + len(self.text[first : words[-1][1]].rstrip(",-–"))
            said = self.text[first:end].rstrip(":=,-–").strip("()")
            said = _VERBS.get(said.lower(), said)
            if self._times.says_time(said):
                return _Label(first, end, said)
        return None

    def _drafts(
        self, tokens: list[Token], name: list[Token], values: list[list[Token]], labels: list[_Label]
    ) -> Parser | None:
        """A parser with the drafts of all values; None where one is not read whole."""
        row = Parser(self.text, tokens, replace(self.context, reflexes=True), self.vocabulary)
        standing = self._times.standing([label.said for label in labels])
        for own, label, place in zip(values, labels, standing, strict=True):
            link = Token("colon", label.start, label.end)
            one = Parser(self.text, [*name, link, *_closed(own)], _fresh(self.context), self.vocabulary)
            read_sentence(one)
            graded = [(t.start, t.end) for draft in one.drafts for t, _ in draft.used]
            if not one.drafts or any(t.kind in _BEGINS and not _inside(t, graded) for t in own):
                for token in tokens:
                    token.used = ""
                return None
            place_in_time(one.drafts, Token("past", label.start, label.end), place)
            row.drafts += one.drafts
        return row


def _inside(token: Token, spans: list[tuple[int, int]]) -> bool:
    return any(start < token.end and token.start < end for start, end in spans)


def _closed(tokens: list[Token]) -> list[Token]:
    """Tokens without the marks around them."""
    kept = [index for index, token in enumerate(tokens) if token.kind not in _AFTER - {"open", "close"}]
    return tokens[kept[0] : kept[-1] + 1] if kept else []


def _name(tokens: list[Token]) -> list[Token]:
    """The tokens of a name; a comma before its side only parts them: "Ankle jerk, right"."""
    closed = _closed(tokens)
    single = sum(token.kind == "site" for token in closed) == 1
    return [token for token in closed if not (single and token.kind in ("comma", "dash"))]


def _fresh(context: Context) -> Context:
    return Context(reflexes=True, pair_order=context.pair_order)
