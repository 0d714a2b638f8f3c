"""Reads ditto marks: under "R biceps 3+" the line `L " 2+` grades the biceps as well.

Takes the text and the tokens of a note; gives the tokens with, in the place of each mark, what it repeats
from the line above, and the lines whose marks cannot be told. Forms of the mark: common practice, no source.
"""

import re
from dataclasses import dataclass, field, replace

from converter.model import Unread
from converter.reading.grammar.parts import Draft
from converter.reading.lines import Line, lines_of
from converter.reading.notation.same_sides import with_same_sides_read
from converter.reading.notation.slashed_names import with_slashed_names_read
from converter.reading.tokens import Token

_MARK = re.compile(
    r"(?<![^\s|:])(?<!\d )"
    r"(?:(?:[-–—]{1,3} ?)?(?:[\"“”″〃]|''|’’|´´|,,)(?: ?[-–—]{1,3})?|(?i:ditto|idem|do)\.?)(?![^\s|])"
)
_CLASSES = {"side": "side", "site": "name", "reflex": "name", "region": "name", "condition": "name"}
_CLASSES |= dict.fromkeys(("value", "pair", "count", "run", "untested", "no"), "value")
_BETWEEN = frozenset(
    {"comma", "colon", "equals", "dash", "pipe", "open", "close", "is", "bullet", "slash", "stop"}
)
_DITTO = "ditto"


@dataclass(frozen=True, slots=True)
class _Unit:
    """Tokens of a line that say one thing: a name, a side, a value, or a ditto mark."""

    what: str
    tokens: list[Token]


@dataclass(slots=True)
class Dittos:
    """What the ditto marks of a note repeat.

    Attributes:
        tokens: those of the note, with what is repeated in the place of the marks.
        unread: lines whose marks could not be told.
        repeated: for each token that stands for a mark, by its identity, the token that it repeats.
    """

    tokens: list[Token]
    unread: list[Unread] = field(default_factory=list)
    repeated: dict[int, Token] = field(default_factory=dict)

    def settle(self, drafts: list[Draft]) -> None:
        """Give findings the words that their marks repeat; a repeated value is written there alone."""
        for draft in drafts if self.repeated else ():
            for token, role in list(draft.used):
                source = self.repeated.get(id(token))
                if source is not None:
                    draft.used = [*draft.used, (source, role)]
                    if token.start == token.end:  # a name put before its grade
                        draft.used = [(t, r) for t, r in draft.used if t is not token]
                    elif role == "value":
                        draft.used = [(t, "detail" if t is token else r) for t, r in draft.used]


def with_dittos_read(text: str, tokens: list[Token]) -> Dittos:
    """The tokens of a note with ditto marks as what they repeat."""
    found = Dittos([])
    tokens = with_slashed_names_read(text, tokens, found.repeated)
    tokens, read = with_same_sides_read(text, tokens, found.repeated)
    if _MARK.search(text) is None:
        found.tokens = tokens
        return found
    ends = [token for token in tokens if token.kind == "newline"]
    above: list[Token] = []
    for number, line in enumerate(lines_of(text, tokens)):
        marks = [match.span() for match in _MARK.finditer(text, line.start, line.end)]
        marks = [mark for mark in marks if not any(start < mark[1] and mark[0] < end for start, end in read)]
        above = _line(text, line, marks, above, found) if marks else line.tokens
        found.tokens += [*above, *ends[number : number + 1]]
    return found


def _line(
    text: str, line: Line, marks: list[tuple[int, int]], above: list[Token], found: Dittos
) -> list[Token]:
    """The tokens of a line with marks in it."""
    own = [t for t in line.tokens if not any(start <= t.start < end for start, end in marks)]
    marked = sorted([*own, *(Token(_DITTO, *mark) for mark in marks)], key=lambda token: token.start)
    units, before = _units(marked), _units(above)
    if units is None:
        return line.tokens
    told = _told([unit.what for unit in units], before) if before else None
    if told is None:
        valued = any(unit.what == "value" for unit in units)
        speaks = any(t.flags & {"trigger", "joint"} for t in [*above, *own])
        if valued and speaks and not any(t.kind == "other_exam" for t in above):
            start, end = marked[0].start, marked[-1].end
            found.unread.append(Unread(start=start, end=end, text=text[start:end], why="ambiguous-layout"))
        return line.tokens
    instead = {unit.tokens[0].start: sources for unit, sources in zip(units, told, strict=True)}
    made: list[Token] = []
    for token in marked:
        sources = instead[token.start] if token.kind == _DITTO else []
        copies = [replace(each, start=token.start, end=token.end, used="") for each in sources]
        found.repeated.update(
            (id(copy), found.repeated.get(id(each), each)) for copy, each in zip(copies, sources, strict=True)
        )
        made += copies or [token]
    return made


def _units(tokens: list[Token]) -> list[_Unit] | None:
    """The names, sides and values of a line in order; None where it says anything else."""
    units: list[_Unit] = []
    for token in tokens:
        what = _DITTO if token.kind == _DITTO else _CLASSES.get(token.kind)
        if what is None and token.kind not in _BETWEEN:
            return None
        if what == "name" and units and units[-1].what == what:
            units[-1].tokens.append(token)
        elif what is not None:
            units.append(_Unit(what, [token]))
    return units


def _told(units: list[str], above: list[_Unit]) -> list[list[Token]] | None:
    """For each unit of a line the tokens above that it repeats; None where that cannot be told.

    A mark stands for what is at its place in the line above; at the end of a line for all that is left there,
    as in "Left ditto"; before the only value for the one name there, and before a name for the side there.
    """
    if set(units) == {_DITTO}:
        return None
    if len(units) == len(above) and all(
        what in (_DITTO, unit.what) for what, unit in zip(units, above, strict=True)
    ):
        return [unit.tokens for unit in above]
    first = units.index(_DITTO)
    marks, left = len(units) - first, above[first:]
    leads = units[:first] == [unit.what for unit in above[:first]]
    if leads and set(units[first:]) == {_DITTO} and left and len(left) % marks == 0:
        size = len(left) // marks
        parts = [left[at : at + size] for at in range(0, len(left), size)]
        if len({tuple(unit.what for unit in part) for part in parts}) == 1:
            return [[]] * first + [[t for unit in part for t in unit.tokens] for part in parts]
    if first == 0 and units.count(_DITTO) == 1 and units[1:2] == ["name"] and above[0].what == "side":
        return [above[0].tokens, *([[]] * (len(units) - 1))]
    names = [unit for unit in above if unit.what == "name"]
    if units.count(_DITTO) == 1 and "name" not in units and "value" in units[first:] and len(names) == 1:
        return [names[0].tokens if what == _DITTO else [] for what in units]
    return None
