"""Reads "same" as what was said of the other side: "KJ R 3+, L same", "R: KJ 2. Left same", "AJ same".

Takes the text and the tokens of a note; gives the tokens with, in the place of such a word, what it repeats.
Where that has not just been said, the word stays what it was. Common practice, no source.
"""

import re
from collections.abc import Iterator
from dataclasses import replace

from converter.reading.tokens import Token

_SAME = r"(?:(?:the[ \t]+)?same|as above|likewise|ditto|idem|=)(?![\w=])"
_BEHIND = re.compile(rf"[ \t]*[:,–-]?[ \t]*(?:(?:is|was|are|were)[ \t]+)?(?P<same>{_SAME})", re.IGNORECASE)
_BEFORE = re.compile(
    rf"[ \t]*(?P<same>{_SAME})[ \t]+(?:(?:on|in|at|for)[ \t]+)?(?:the[ \t]+)?", re.IGNORECASE
)
_WORD = re.compile(_SAME, re.IGNORECASE)
_OPPOSITE = {"left": "right", "right": "left"}
_VALUES = frozenset({"value", "count", "untested"})
_GRADES = _VALUES | {"pair"}
_COMPARED = _GRADES | {"side"}
_PARTS = frozenset({"comma", "slash", "and", "but", "colon", "is", "dash", "open", "close"})
_NAMES = frozenset({"site", "reflex", "region"})
_ENDS = frozenset({"stop", "newline"})
_SAID = _NAMES | _VALUES | {"pair", "comma", "colon", "is", "and", "slash", "dash", "equals", "bullet"}
_SAID_OF_ONE = _VALUES | {"pair", "side", "is", "colon", "comma"}
_LEADS = frozenset({"bullet", "reflex", "colon", "dash"})
_MARKS_BETWEEN = 4
"""Pieces back, marks among them, in which the other side is looked for."""

Span = tuple[int, int]


def with_same_sides_read(
    text: str, tokens: list[Token], repeated: dict[int, Token]
) -> tuple[list[Token], list[Span]]:
    """The tokens of a note with "same" as what it repeats, and where those words stand.

    Args:
        text: the note.
        tokens: its tokens.
        repeated: filled in: for each token that stands for such a word, by its identity, what it repeats.
    """
    if _WORD.search(text) is None:
        return tokens, []
    read = _Reading(text, repeated)
    pieces = list(_pieces(tokens))
    for place, piece in enumerate(pieces):
        said = [one for one in pieces[max(0, place - _MARKS_BETWEEN) : place] if one[0].kind not in _ENDS]
        pieces[place] = read.piece(piece, said[-1] if said else [])
    return [token for piece in pieces for token in piece], read.spans


def _pieces(tokens: list[Token]) -> Iterator[list[Token]]:
    """Runs of tokens up to the mark that ends them, and those marks."""
    current: list[Token] = []
    for token in tokens:
        if token.kind in _ENDS:
            yield from ([current] if current else [])
            yield [token]
            current = []
        else:
            current.append(token)
    yield from ([current] if current else [])


class _Reading:
    """Reads the pieces of one note."""

    def __init__(self, text: str, repeated: dict[int, Token]) -> None:
        self._text = text
        self._repeated = repeated
        self.spans: list[Span] = []

    def piece(self, tokens: list[Token], before: list[Token]) -> list[Token]:
        """A piece with what it repeats, of itself or of the piece before."""
        whole = self._whole_side(tokens, before) or self._rest(tokens, before)
        if whole is not None:
            return whole
        index = 0
        while index < len(tokens):
            side = tokens[index]
            if side.kind == "side" and side.meaning in _OPPOSITE:
                first, span = self._same_beside(tokens, index)
                value = self._other_value(tokens, first, _OPPOSITE[side.meaning]) if span else None
                if span is not None and value is not None:
                    tokens = self._instead(tokens, span, [value])
            elif side.kind == "site" and (said := _said_of_last(tokens, index)):
                span = self._same_behind(tokens, index)
                worded = span is not None and self._text[span[0]] != "="
                tokens = self._instead(tokens, span, said) if span is not None and worded else tokens
            index += 1
        return tokens

    def _same_beside(self, tokens: list[Token], index: int) -> tuple[int, Span | None]:
        """The index before which the other side was said, and where "same" stands beside a side."""
        span = self._same_behind(tokens, index)
        if span is not None or index < 2:
            return index, span
        first = index - (tokens[index - 1].kind == "at")
        first -= _WORD.fullmatch(self._text, tokens[first - 1].start, tokens[first - 1].end) is not None
        match = _BEFORE.fullmatch(self._text, tokens[first - 1].end, tokens[index].start)
        return first, match.span("same") if match is not None else None

    def _same_behind(self, tokens: list[Token], index: int) -> Span | None:
        """Where "same" stands right behind a side, if no value follows it."""
        match = _BEHIND.match(self._text, tokens[index].end)
        if match is None:
            return None
        after = next((t for t in tokens[index + 1 :] if t.start >= match.end()), None)
        compared = after is not None and after.kind in _COMPARED
        return None if compared else match.span("same")

    def _other_value(self, tokens: list[Token], index: int, other: str) -> Token | None:
        """The value of the other side, right before a side: "R 3+, L", "3+ R, L", "R KJ 3+, L"."""
        said = index - 1
        while said >= 0 and tokens[said].kind in _PARTS:
            said -= 1
        if said < 1:
            return None
        last, first = tokens[said], tokens[said - 1]
        if last.kind in _VALUES:
            while said > 1 and first.kind in ("colon", "is", "dash", "equals", "site"):
                said, first = said - 1, tokens[said - 2]
            return last if first.kind == "side" and first.meaning == other else None
        sided = last.kind == "side" and last.meaning == other
        first = tokens[said - 2] if first.kind == "at" and said > 1 else first
        return first if sided and first.kind in _VALUES else None

    def _whole_side(self, tokens: list[Token], before: list[Token]) -> list[Token] | None:
        """As in "R: KJ 2, AJ 1. Left same": all that was said of the other side."""
        sides = [token for token in tokens if token.kind == "side"]
        if len(sides) != 1 or not (said := self._of_other_side(before, sides[0])):
            return None
        alone = self._text[tokens[0].start : tokens[-1].end]
        side = self._text[sides[0].start : sides[0].end]
        match = _WORD.fullmatch(alone.replace(side, "", 1).strip(" \t:,-–"))
        if match is None:
            return None
        start = tokens[0].start + alone.lower().index(match[0].lower())
        leads = [sides[0]] if sides[0].start < start else self._copies([sides[0]], (start, start))
        span = (start, start + len(match[0]))
        self.spans.append(span)
        return [*leads, Token("colon", start, start), *self._copies(said, span)]

    def _rest(self, tokens: list[Token], before: list[Token]) -> list[Token] | None:
        """As in "Left: Pat 1+, rest same": what was said of the other side and is not named here."""
        last = tokens[-2:]
        if len(last) < 2 or last[0].kind != "otherwise" or tokens[0].kind != "side":
            return None
        span = last[1].start, last[1].end
        if _WORD.fullmatch(self._text, *span) is None or not (said := self._of_other_side(before, tokens[0])):
            return None
        named = {token.meaning for token in tokens if token.kind == "site"}
        rest = [t for group in _groups(said) if not any(one.meaning in named for one in group) for t in group]
        self.spans.append(span)
        return [*tokens[:-2], *self._copies(rest, span)]

    def _of_other_side(self, before: list[Token], side: Token) -> list[Token]:
        """What a piece says of the side that it begins with, which is the other one; else nothing."""
        first = next((i for i, token in enumerate(before) if token.kind not in _LEADS), len(before))
        said = before[first + 1 :]
        led = first < len(before) and before[first].kind == "side" and side.meaning in _OPPOSITE
        plain = led and all(token.kind in _SAID for token in said)
        if not plain or before[first].meaning != _OPPOSITE[side.meaning]:
            return []
        valued = any(token.kind in _VALUES for token in said)
        return [token for token in said if token.kind != "colon"] if valued else []

    def _instead(self, tokens: list[Token], span: Span, said: list[Token]) -> list[Token]:
        """The tokens with what is repeated in the place of a word."""
        self.spans.append(span)
        before = [token for token in tokens if token.end <= span[0]]
        behind = [token for token in tokens if token.start >= span[1]]
        return [*before, *self._copies(said, span), *behind]

    def _copies(self, tokens: list[Token], span: Span) -> list[Token]:
        made = [replace(token, start=span[0], end=span[1], used="") for token in tokens]
        self._repeated.update((id(copy), token) for copy, token in zip(made, tokens, strict=True))
        return made


def _said_of_last(tokens: list[Token], index: int) -> list[Token]:
    """What was said of the reflex before a name: the value and sides of "KJ brisk b/l, AJ ditto"."""
    comma = index - 1
    while comma >= 0 and tokens[comma].kind in ("comma", "and", "but"):
        comma -= 1
    last = next((at for at in range(comma, -1, -1) if tokens[at].kind == "site"), None)
    said = tokens[last + 1 : comma + 1] if last is not None and comma < index - 1 else []
    plain = all(token.kind in _SAID_OF_ONE for token in said)
    return said if plain and any(token.kind in _GRADES for token in said) else []


def _groups(tokens: list[Token]) -> Iterator[list[Token]]:
    """Names with the values behind them."""
    group: list[Token] = []
    for token in tokens:
        if token.kind in _NAMES and any(one.kind in _VALUES for one in group):
            yield group
            group = []
        group.append(token)
    yield from ([group] if group else [])
