"""Reads the heads of a table: which columns hold values, and of which side or reflex.

Takes the lines of a note; gives the columns that a line of heads, or two lines of them, announce. What stands
in the rows is left to `table_rows`.
"""

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise

from converter.reading.grammar.parser import Context, Parser
from converter.reading.grammar.targets import targets_at
from converter.reading.layouts.cell_words import CellWordReader
from converter.reading.layouts.head_cells import label_apart, with_blank_heads, word_by_word
from converter.reading.layouts.head_columns import (
    SIDES,
    Column,
    Heads,
    by_moment,
    group_over,
    grouped,
    sides_differ,
    sides_told,
    with_limbs,
)
from converter.reading.lines import Cell, Line, cells_of
from converter.reading.tokens import Token
from converter.reading.written import Written
from converter.words import Vocabulary

HEAD_KINDS = frozenset(
    {"side", "site", "region", "reflex", "other_exam", "pipe", "other", "open", "close", "slash"}
    | {"look_alike", "comma", "stop", "colon", "is", "other_mark", "side_ref", "legend", "time"}
)
_NAMING = frozenset({"time", "side", "side_ref", "site", "region", "reflex"})
"""Kinds of which heads hold at least one."""
_FOREIGN = frozenset({"other_exam", "other", "look_alike"})
_LONGEST_HEAD = 6


class HeadReader:
    """Reads the heads of the tables of one note."""

    def __init__(self, text: str, context: Context, vocabulary: Vocabulary) -> None:
        self._text = text
        self._context = context
        self._vocabulary = vocabulary
        self._words = CellWordReader(text, vocabulary)

    def heads(self, lines: list[Line], index: int) -> Heads | None:
        """The columns that the lines from `index` announce; None where they are no heads."""
        line = lines[index]
        if not line.tokens or len(line.tokens) > _LONGEST_HEAD * _LONGEST_HEAD:
            return None
        line = self._words.heads(line)
        kinds = {token.kind for token in line.tokens} - {"value"}
        if kinds.isdisjoint(_NAMING) or not (
            kinds <= HEAD_KINDS or ("side" in kinds and _only_sides_behind(cells_of(self._text, line)))
        ):
            return None  # most lines end here, before anything is made of them
        if any(_grades(name, value) for name, value in pairwise(line.tokens)):
            return None
        two = self._two_lines(line, lines[index + 1]) if index + 1 < len(lines) else None
        return two or self.one_line(line)

    def one_line(self, line: Line) -> Heads | None:
        """The columns that one line announces."""
        line = self._words.heads(line)
        for parting, cells in self._partings(line):
            if not cells:
                continue
            heads = self._settled([self._column(cell, line) for cell in cells], cells)
            if heads is not None:
                return replace(heads, parting=parting)
        return None

    def _partings(self, line: Line) -> Iterator[tuple[str, list[Cell]]]:
        """The ways in which a line may fall into cells."""
        cells = cells_of(self._text, line)
        if not (_kinds(line, cells) <= HEAD_KINDS or _only_sides_behind(cells)):
            return
        yield "", with_blank_heads(self._text, line, label_apart(cells))
        if sum(token.kind == "comma" for token in line.tokens) >= 2 and len(cells) == 1:
            yield "comma", cells_of(self._text, line, "comma")
        if len(cells) <= 2:
            yield from (("", cells) for cells in word_by_word(line))

    def _column(self, cell: Cell, line: Line) -> Column:
        tokens = plain(self._text, cell.tokens)
        place = Column(cell.start - line.start, cell.end - line.start)
        order = next((token for token in tokens if token.kind == "side_ref"), None)
        tokens = [token for token in tokens if token is not order]
        tokens = tokens if order is None else [t for t in tokens if t.kind not in ("open", "close")]
        if not tokens:
            return place if order is None else replace(place, side="both", used=[(order, "side")])
        side = _side_of(tokens)
        place = replace(place, side=side[1] if side else None, used=[(side[0], "side")] if side else [])
        time = next((token for token in tokens if token.kind == "time"), None)
        if time is not None:
            return replace(place, time=Token("past", time.start, time.end))
        if all(token.kind == "value" for token in tokens):
            return replace(place, foreign=True, alike=_says_alike(tokens))
        foreign = any(token.kind in _FOREIGN for token in tokens)
        parser = Parser(self._text, tokens, replace(self._context, reflexes=True), self._vocabulary)
        targets, end = targets_at(parser, 0, after_value=False)
        named = [target for target in targets if target.specific and "infant" not in target.flags]
        whole = end == len(tokens) and len(named) == len(targets) == 1 and len(tokens) <= _LONGEST_HEAD
        if whole and not foreign:
            return replace(place, side=named[0].side, targets=named, used=named[0].used)
        noun = next((token for token in tokens if token.kind == "reflex"), None)
        unknown = all(token.kind == "other" for token in tokens)
        return replace(place, general=noun is not None, noun=noun, foreign=foreign, unknown=unknown)

    def _settled(self, columns: list[Column], cells: list[Cell]) -> Heads | None:
        timed = self._beside_earlier(columns) or self._by_time(columns)
        if timed is not None:
            return timed
        if self._words.times.heads_times(self._text[cells[0].start : cells[0].end]):
            subject = self._by_subject(columns, cells)
            if subject is not None:
                return subject
        columns = with_limbs(grouped(columns), cells)
        kept = [column for column in columns if not column.foreign]
        about = _named_alone(columns)
        sided = [column for column in kept if column.side and not column.targets]
        sited = [column for column in kept if column.targets and column not in about]
        first = next((i for i, c in enumerate(columns) if (c.side or c.targets) and c not in about), None)
        if first is not None and sides_differ(sided) and all(_is_clonus(column) for column in sited):
            return Heads(first, columns[first:], about=[t for c in about for t in c.targets])
        labelled = first is not None and first <= 1 and not (first == 1 and columns[0].targets)
        rest = columns[first:] if first is not None else []
        if len(sited) >= 2 and labelled and all(c in sited or c.foreign for c in rest):
            return Heads(first or 0, rest)
        return self._without_sides(columns, cells) or self._by_subject(columns, cells)

    def _by_time(self, columns: list[Column]) -> Heads | None:
        """As in "Day 1  Day 2", and in "12 Jan R  12 Jan L  26 Jan R  26 Jan L"."""
        timed = [column for column in columns if column.time]
        first = next((i for i, column in enumerate(columns) if column.time), 0)
        rest = columns[first:]
        if len(timed) < 2 or first > 1 or any(c.targets or (c.side and not c.time) for c in rest):
            return None
        label = columns[0] if first else Column(0)
        side = (label.used[0][0], label.side) if label.side and not label.targets else None
        rest = self._ordered([column if column.time else replace(column, foreign=True) for column in rest])
        if any(column.side for column in timed) and not sides_told(by_moment(self._text, rest)):
            return None
        return Heads(first, rest, side=side, about=label.targets)

    def _beside_earlier(self, columns: list[Column]) -> Heads | None:
        """As in "R  L  Previous R  Previous L": sides of today, beside those of an earlier examination.

        Beside a later one, as "Post-op R", nothing says when the sides without a time were examined.
        """
        told = [column for column in columns if column.side and not column.targets and column.noun is None]
        sided = [column for column in told if not column.time]
        timed = [column.time for column in columns if column.time]
        first = next((i for i, column in enumerate(columns) if column in told or column.time), 0)
        if not timed or not sides_differ(sided) or first > 1 or any(c.targets for c in columns[first:]):
            return None
        before = all(self._words.times.is_before(self._text[t.start : t.end]) for t in timed)
        values = [
            column
            if column.time is None
            else replace(column, standing="earlier" if before else "", unknown=not before, foreign=not before)
            for column in columns[first:]
        ]
        return Heads(first, values, about=columns[0].targets if first else [])

    def _ordered(self, columns: list[Column]) -> list[Column]:
        """Columns with the place of their time among those of the others."""
        said = [self._text[c.time.start : c.time.end] for c in columns if c.time]
        times = list(dict.fromkeys(said))
        standing = dict(zip(times, self._words.times.standing(times), strict=True))
        return [
            replace(c, standing=standing[self._text[c.time.start : c.time.end]] if c.time else "")
            for c in columns
        ]

    def _by_subject(self, columns: list[Column], cells: list[Cell]) -> Heads | None:
        """As in "Limb  Tone  Reflexes  Plantar" and "Time  BP  DTR  Clonus": the rows say where or when."""
        if columns[0].targets or columns[0].general:
            return None
        others = columns if columns[0].foreign and not columns[0].unknown else columns[1:]
        asked = [column for column in others if column.targets or column.general]
        rest = [column for column in others if column not in asked]
        timely = self._words.times.heads_times(self._text[cells[0].start : cells[0].end])
        sided = any(column.side and not column.general and not column.targets for column in others)
        if not asked or sided or not (len(asked) > 1 or timely):
            return None
        if not all(column.foreign or column.unknown or not column.used for column in rest):
            return None
        return Heads(len(columns) - len(others), others, what=True)

    def _without_sides(self, columns: list[Column], cells: list[Cell]) -> Heads | None:
        """As in "RIGHT  MMT  DTR", and in "| Reflex | Side | Grade |"."""
        others = columns[1:]
        if not others or any(column.targets or column.side for column in others):
            return None
        general = [column for column in others if column.general and not column.foreign]
        if len(general) == 1:
            side = _side_of(plain(self._text, cells[0].tokens))
            return Heads(1, others, side=side)
        if columns[0].general and len(others) >= 2 and all(not c.general for c in others):
            return Heads(1, [replace(column, foreign=column.alike) for column in others], open=True)
        return None

    def _two_lines(self, above: Line, below: Line) -> Heads | None:
        """As in "Strength  Reflexes" or "12 Jan  26 Jan" over "R  L  R  L"."""
        kinds_below = self._sides_over_kinds(above, below)
        if kinds_below is not None:
            return kinds_below
        speaks = any(token.kind in ("reflex", "time") for token in above.tokens)
        if not _kinds(above, []) <= HEAD_KINDS or not speaks:
            return None
        groups = [self._column(cell, above) for cell in cells_of(self._text, above)]
        timed = [group for group in groups if group.time]
        if not any(group.general for group in groups) and len(timed) < 2:
            return None
        cells = cells_of(self._text, below)
        if len(timed) == len(groups) - bool(groups[0].general) == len(cells) > 1 and all(
            map(self._pairs, cells)
        ):
            return Heads(1, self._ordered(timed), lines=2)
        columns = [self._column(cell, below) for cell in cells]
        first = next((i for i, column in enumerate(columns) if column.side), len(columns))
        sided = columns[first:]
        groups = timed if len(timed) > 1 else [group for group in groups if group.general or group.foreign]
        if first > 1 or len(sided) <= 2 or len(groups) < 2 or any(not c.side or c.targets for c in sided):
            return None
        wide = len(sided) // len(groups)
        even = wide * len(groups) == len(sided)
        over = [groups[i // wide] if even else group_over(groups, column) for i, column in enumerate(sided)]
        grouped = [
            replace(column, foreign=group.foreign, time=group.time)
            for column, group in zip(sided, over, strict=True)
        ]
        told = [sides_differ(group) for group in by_moment(self._text, grouped)] if timed else []
        if not (all(told) if told else sides_differ([c for c in grouped if not c.foreign])):
            return None
        return Heads(first, self._ordered(grouped) if told else grouped, lines=2)

    def _pairs(self, cell: Cell) -> bool:
        """Whether a head names both sides for the pairs under it: "R / L"."""
        return "".join(self._text[cell.start : cell.end].lower().split()) in ("r/l", "l/r")

    def _sides_over_kinds(self, above: Line, below: Line) -> Heads | None:
        """As in "Right  Left" over "Power  DTR  Power  DTR"."""
        if not any(token.kind == "reflex" for token in below.tokens):
            return None
        over = [self._column(cell, above) for cell in cells_of(self._text, above)]
        sides = [column for column in over if column.side and not column.targets]
        if not sides_differ(sides) or len(sides) != 2:
            return None
        columns = [self._column(cell, below) for cell in cells_of(self._text, below)]
        told = [column for column in columns if column.general or column.foreign]
        first, half = columns.index(told[0]), len(told) // 2
        parts = told[:half], told[half:]
        alike = [[column.general for column in part] for part in parts]
        if first > 1 or len(told) != len(columns) - first or len(told) % 2 or alike[0] != alike[1]:
            return None
        sided = [
            replace(column, side=side.side, used=side.used, foreign=not column.general, general=False)
            for side, part in zip(sides, parts, strict=True)
            for column in part
        ]
        return Heads(first, sided, lines=2)


def head_kinds(tokens: list[Token]) -> set[str]:
    """The kinds of tokens in a line of heads, without the number that ends a range of roots: "(C5-6)"."""
    return {
        token.kind
        for at, token in enumerate(tokens)
        if not (token.kind == "value" and at > 0 and "root" in tokens[at - 1].flags)
    }


def _kinds(line: Line, cells: list[Cell]) -> set[str]:
    kinds = head_kinds(line.tokens)
    label = {token.kind for token in cells[0].tokens} if cells else set()
    asked = any(_says_alike(cell.tokens) for cell in cells[1:])
    return kinds - {"value"} if {"open", "reflex"} <= label or "legend" in kinds or asked else kinds


def _says_alike(tokens: list[Token]) -> bool:
    """Whether a head is nothing but a word for sides that are alike: "Symmetric"."""
    return len(tokens) == 1 and getattr(tokens[0].written, "descriptor", None) == "symmetric"


def _only_sides_behind(cells: list[Cell]) -> bool:
    """As in "Foot check  Right  Left  Normal": the first head may say anything, the others not."""
    heads = [cell.tokens[0] for cell in cells if len(cell.tokens) == 1]
    sides = sorted(token.meaning for token in heads if token.kind == "side")
    words = [token for token in heads if isinstance(token.written, Written) and not token.written.graded]
    return sides == ["left", "right"] and len(sides) + len(words) >= len(cells) - 1


def plain(text: str, tokens: list[Token]) -> list[Token]:
    """The tokens without marks of emphasis and a closing colon."""
    return [t for t in tokens if t.kind not in ("colon", "stop") and text[t.start] not in "*_"]


def _grades(name: Token, value: Token) -> bool:
    """As in "KJ 3+, AJ 3+ (bilat)": a line that grades what it names heads nothing."""
    written = value.written if name.kind == "site" else None
    return isinstance(written, Written) and written.graded and (written.plus != "none" or written.counted)


def _side_of(tokens: list[Token]) -> tuple[Token, str] | None:
    """The one side that a head names: "R", "Left side", "RUE"."""
    sides = [(t, t.meaning) for t in tokens if t.kind == "side" and t.meaning in SIDES]
    sides += [(t, t.meaning.partition(":")[2]) for t in tokens if t.kind == "region" and ":" in t.meaning]
    return sides[0] if len(sides) == 1 and sides[0][1] in SIDES else None


def _is_clonus(column: Column) -> bool:
    """A column beside the sides that asks for clonus at each joint."""
    return [target.site for target in column.targets] == ["clonus_unspecified"]


def _named_alone(columns: list[Column]) -> list[Column]:
    """As in "Triceps jerk  R  L": a first head that names what the whole table is about."""
    sides = [column.side for column in columns[1:] if not column.targets]
    alone = (
        bool(columns[0].targets) and columns[0].side is None and sorted(map(str, sides)) == ["left", "right"]
    )
    return columns[:1] if alone and len(sides) == len(columns) - 1 else []
