"""Reads the rows of a table: the name of the row, and what stands under each head.

Takes a line and the heads of its table; gives a parser with drafts. Where a cell cannot be given to one
column, the row is left unread rather than guessed.
"""

from dataclasses import dataclass, replace

from converter.reading.grammar.clonus_places import CLONUS_AT
from converter.reading.grammar.parser import VALUES, Context, Parser
from converter.reading.grammar.parts import Target, Used
from converter.reading.grammar.rules import read_sentence
from converter.reading.grammar.targets import targets_at
from converter.reading.layouts.cell_words import CellWordReader
from converter.reading.layouts.head_columns import SIDES, Column, Heads
from converter.reading.layouts.table_cells import CellReader
from converter.reading.layouts.table_columns import aligned, gap, is_mirrored, parted_values
from converter.reading.layouts.table_heads import plain
from converter.reading.layouts.table_row_names import (
    begins_with_value,
    behind_roots,
    joined_names,
    labels_of,
    names_itself,
    says_only,
    split_side,
    time_of,
    without_order,
)
from converter.reading.lines import Cell, Line, cells_of
from converter.reading.notation.marks import tokens_of_note
from converter.reading.tokens import Token
from converter.reading.written import Pair, Written
from converter.words import Vocabulary

_BESIDE_A_LABEL = VALUES | {"end", "untested", "equals", "dash", "close"}
_EMPTY = frozenset({"dash", "other_mark", "slash", "stop"})
_OTHER_EXAM = frozenset({"other_exam", "look_alike"})


@dataclass(frozen=True, slots=True)
class Row:
    """One row that was read.

    Attributes:
        parser: its drafts.
        unclear: a value could not be given to one column.
        apart: the line stands among the rows and is a sentence: "Jaw jerk: normal".
        time: when its examination was made, where its name says so.
        strange: cells that could not be read, and grades under heads that say nothing that is known.
    """

    parser: Parser
    unclear: bool = False
    apart: bool = False
    time: Token | None = None
    strange: tuple[Cell, ...] = ()


MIDLINE = frozenset({"jaw", "anal_wink", "bulbocavernosus"})
"""Reflexes without sides."""
_YES = frozenset({"y", "yes", "+", "x", "✓", "✔", "√", "symmetric", "symmetrical", "equal", "sym", "symm"})
"""What a cell says that agrees."""


class RowReader:
    """Reads the rows of the tables of one note.

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
        self._cell = CellReader(text, context, vocabulary, footnotes)
        self._words = CellWordReader(text, vocabulary)
        self._letters = self._words.letters_of_rows([])
        self._values = False
        self._abdomen: Token | None = None

    def use_table(self, order: str | None, lines: list[Line], above: list[Line]) -> None:
        """Take note of what holds for a whole table.

        Args:
            order: which side the first of two values in a cell belongs to, where the note says so above it.
            lines: the lines that may be its rows.
            above: its heads and the lines right above them.
        """
        self._letters = self._words.letters_of_rows(lines)
        self._abdomen = self._words.abdomen([*above, *lines])
        self._values = not self._words.says_no(lines)
        self._cell.use_table(order, signed=self._words.has_plus(lines))

    def row(self, line: Line, heads: Heads) -> Row | None:
        """Read one line of cells; None if the line is no row of this table."""
        if not self._has_commas(line, heads):
            line = self._words.row(
                line, letters=self._letters, values=self._values, abdomen=self._abdomen is not None
            )
        line, cells = self._cells(line, heads)
        if not any(cell.tokens for cell in cells):
            return None
        named = [column for column in heads.values if not column.foreign]
        if is_mirrored(line, named):
            return self._mirrored(line, named)
        named_twice = joined_names(cells) if not heads.labels else cells
        if not heads.labels and len(named_twice) == len(named) and all(map(names_itself, named_twice)):
            return self._by_cell(line, named_twice, named)
        sited = any(c.targets for c in named) and not any(c.side and not c.targets for c in named)
        if sited or heads.what:
            return self._by_side(line, cells, heads)
        if heads.about and cells[0].tokens and says_only(cells[0].tokens, "time", "side"):
            return self._by_name(line, cells, heads, heads.about)
        return self._by_name(line, cells, heads)

    def _has_commas(self, line: Line, heads: Heads) -> bool:
        """Whether commas part the cells of a row as they do its heads; blanks may part them as well."""
        return heads.parting == "comma" and "," in self._text[line.start : line.end]

    def _cells(self, line: Line, heads: Heads) -> tuple[Line, list[Cell]]:
        """The cells of a row; between commas `2,2` is two values and no decimal number."""
        if not self._has_commas(line, heads):
            return line, cells_of(self._text, line, heads.parting if heads.parting != "comma" else "")
        cells, start = [], line.start
        for piece in self._text[line.start : line.end].split(","):
            own = tokens_of_note(piece, self._vocabulary)
            moved = [replace(t, start=t.start + start, end=t.end + start) for t in own]
            cells.append(Cell(start, start + len(piece), moved))
            start += len(piece) + 1
        return replace(line, tokens=[token for cell in cells for token in cell.tokens]), cells

    def _by_name(
        self, line: Line, cells: list[Cell], heads: Heads, about: list[Target] | None = None
    ) -> Row | None:
        """A row that names its reflex: "Biceps  2+  1+"; or a time or side of what the table is about."""
        named = (about, cells[1:]) if about is not None else self._label(cells, heads)
        if named is None:
            return None
        targets, rest = named
        parser = self._cell.parser(line.tokens)
        if len(rest) == 1 < len(heads.values):
            values = len(parted_values(rest, len(heads.values)))
            if values == 1 and all(target.site in MIDLINE for target in targets):
                self._cell.value(parser, rest[0], targets, Column(0))
                return Row(parser)
            if values < len(heads.values) and self._runs_on(line, rest[0], cells[0], heads, targets):
                return Row(parser, apart=True)
        columns = aligned(line, rest, heads, self._text)
        if columns is None:
            return Row(parser, unclear=True)
        side, strange = self._side_cell(columns) if heads.open else heads.side, _strange(columns)
        if about is not None:
            side = next(((t, t.meaning) for t in cells[0].tokens if t.meaning in SIDES), side)
        for column, cell in columns:
            if column.general and _names_reflex(cell) and self._by_itself(parser, cell, column):
                continue
            if not column.foreign and cell.tokens and cell.tokens != ([side[0]] if side else []):
                told = _clonus_at(targets, column) if column.targets else targets
                if not self._cell.value(
                    parser, cell, [_with_side(target, column, side) for target in told], column
                ):
                    strange.append(cell)
        if heads.open and not parser.drafts:
            return None
        strange += [cell for column, cell in columns if column.alike and not self._alike(parser, cell)]
        beyond = rest[len(heads.values) :] if len(columns) == len(heads.values) else []
        strange += self._remarks(parser, columns, targets, side[1] if side else None, beyond)
        for target in targets:
            parser.mark(target.used)
        return Row(parser, time=time_of(cells[0]), strange=tuple(strange))

    def _alike(self, parser: Parser, cell: Cell) -> bool:
        """Read a cell under "Symmetric": yes is both sides, nothing says nothing; whether it was read."""
        said = self._words.plain((cell.start, cell.end))
        for draft in parser.drafts if said in _YES else ():
            draft.side = "both" if draft.side == "unspecified" else draft.side
            draft.used = [*draft.used, *((token, "side") for token in cell.tokens)]
        return said in _YES or not said

    def _remarks(
        self,
        parser: Parser,
        columns: list[tuple[Column, Cell]],
        targets: list[Target],
        side: str | None,
        beyond: list[Cell],
    ) -> list[Cell]:
        """Read the cells under heads that say nothing known, and beyond them; gives what was left over."""
        under = [cell for column, cell in columns if column.unknown and cell.tokens]
        remarks = [cell for cell in under if not _only_grade(cell)]
        remarks += [cell for cell in beyond if cell.tokens]
        return [cell for cell in remarks if not self._cell.remark(parser, cell, targets, side)]

    def _mirrored(self, line: Line, columns: list[Column]) -> Row | None:
        """A row whose name stands between its values: "2+ BJ 1+" under "R  |  L"."""
        parser = self._cell.parser(line.tokens)
        targets, _ = targets_at(parser, 1, after_value=True)
        for column, token in zip(columns, line.tokens[::2], strict=True):
            about = [_with_side(target, column, None) for target in targets]
            self._cell.value(parser, Cell(token.start, token.end, [token]), about, column)
        return Row(parser) if parser.drafts else None

    def _by_cell(self, line: Line, cells: list[Cell], columns: list[Column]) -> Row | None:
        """A row whose cells name their reflexes: "BJ 2+" under "Right", and again under "Left"."""
        parser = self._cell.parser(line.tokens)
        for column, cell in zip(columns, cells, strict=True):
            self._by_itself(parser, cell, column)
        return Row(parser) if parser.drafts else None

    def _by_itself(self, parser: Parser, cell: Cell, column: Column) -> bool:
        """Read a cell that names its reflex; whether it says anything."""
        own = self._cell.parser(cell.tokens)
        own.context.side = column.side
        read_sentence(own)
        for made in own.drafts:
            made.used = [*made.used, *column.used]
        parser.drafts += own.drafts
        return bool(own.drafts)

    def _label(self, cells: list[Cell], heads: Heads) -> tuple[list[Target], list[Cell]] | None:
        """The reflexes that a row is about, and the cells behind its name."""
        for place in range(max(heads.labels, 1)):
            if place >= len(cells) or not cells[place].tokens:
                continue
            label = self._cell.parser(behind_roots(without_order(plain(self._text, cells[place].tokens))))
            targets, end = targets_at(label, 0, after_value=False)
            root = len(targets) == 1 and "root" in targets[0].flags and place + 1 < heads.labels
            if (
                root
                or not targets
                or targets[0].foreign
                or (targets[0].general and not _counts_as_row(cells, place))
            ):
                continue
            if self._abdomen is not None and targets[0].site == "abdominal":
                targets[0].used = [(self._abdomen, "header"), *targets[0].used]
            whole = end >= len(label.tokens)
            rest = (
                cells[labels_of(cells, heads, place) :] if whole else _behind_label(cells, place, label, end)
            )
            return (targets, rest) if rest and label.kind(end) in _BESIDE_A_LABEL else None
        return None

    def _by_side(self, line: Line, cells: list[Cell], heads: Heads) -> Row | None:
        """A row under the names of reflexes: "Right  2+  2+  1+", "Day 2  2+  1+", or only values."""
        cells = split_side(cells)
        labelled = len(cells) > len(heads.values) or not begins_with_value(cells[0])
        label = cells[0].tokens if labelled else []
        sides = [t for t in label if t.kind == "side" and t.meaning in SIDES]
        limb, asked = self._limb(label), self._asked_of_limbs(label, heads)
        if len(sides) > 1 or (not asked and any(t.kind in ("site", "value", "pair") for t in label)):
            return None
        stated = all(column.side for column in heads.values if column.targets)
        known = sides or limb or asked or stated or any(t.kind in ("reflex", "time") for t in label)
        if label and not known:
            return None
        parser = self._cell.parser(line.tokens)
        columns = aligned(line, cells[1:] if labelled else cells, heads, self._text)
        if columns is None:
            return Row(parser, unclear=True)
        side = (sides[0], sides[0].meaning) if sides else None
        parser.mark([(token, "header") for token in label if token.kind == "reflex"])
        strange = _strange(columns)
        for column, cell in columns:
            told = self._at_limb(asked, column) if asked else self._asked(column, limb)
            about = [_with_side(target, column, side) for target in told]
            if about and cell.tokens and not self._cell.value(parser, cell, about, column):
                strange.append(cell)
        strange += self._remarks(parser, columns, [], side[1] if side else None, [])
        time = time_of(cells[0]) if labelled else None
        return Row(parser, time=time, strange=tuple(strange)) if parser.drafts or (known and label) else None

    def _limb(self, label: list[Token]) -> Target | None:
        """The limb that names a row: "RUE", "Left arm"."""
        if not any(token.kind == "region" for token in label):
            return None
        own = self._cell.parser(plain(self._text, label))
        targets, end = targets_at(own, 0, after_value=False)
        return targets[0] if len(targets) == 1 and targets[0].region and end == len(own.tokens) else None

    def _asked_of_limbs(self, label: list[Token], heads: Heads) -> list[Target]:
        """What a row asks of the limbs in the heads: "Plantar" under "RLE  LLE"."""
        if not any(t.kind == "site" for t in label) or not any(
            t.region for c in heads.values for t in c.targets
        ):
            return []
        own = self._cell.parser(plain(self._text, label))
        targets, end = targets_at(own, 0, after_value=False)
        return targets if end == len(own.tokens) and all(target.specific for target in targets) else []

    def _at_limb(self, asked: list[Target], column: Column) -> list[Target]:
        """What a row asks, at the limb of a column; nothing where the limb has no such reflex."""
        limbs = self._vocabulary.reflexes
        return [
            replace(target, side=target.side or limb.side, used=[*target.used, *limb.used])
            for target in asked
            for limb in column.targets
            if limbs[target.site].limb in (None, limbs[limb.site].limb)
        ]

    def _asked(self, column: Column, limb: Target | None) -> list[Target]:
        """What a column asks of the limb that a row names."""
        if column.noun is not None and not column.foreign and not column.targets:
            header = (column.noun, "header")
            if limb is not None:
                return [replace(limb, used=[header, *limb.used])]
            return [Target("unspecified", general=True, side=column.side, used=[header, *column.used])]
        if limb is None:
            return column.targets
        limbs = self._vocabulary.reflexes
        return [
            replace(target, side=target.side or limb.side, used=[*target.used, *limb.used])
            for target in column.targets
            if limbs[target.site].limb in (None, limbs[limb.site].limb)
        ]

    def _runs_on(self, line: Line, cell: Cell, label: Cell, heads: Heads, targets: list[Target]) -> bool:
        """Whether a single value belongs to the name before it and to no column: "Jaw jerk: normal"."""
        if "|" not in self._text[line.start : line.end] and any(t.kind == "side" for t in cell.tokens):
            return True
        between = self._text[label.end : cell.start]
        if (
            heads.parting
            or "|" in self._text[line.start : line.end]
            or between.strip(" ")
            or len(between) > 1
        ):
            return False
        unpaired = not all(self._vocabulary.reflexes[target.site].paired for target in targets)
        if unpaired or any(t.kind == "colon" and t.start < cell.start for t in line.tokens):
            return True
        return all(gap(column, cell, line) > 0 for column in heads.values)

    def _side_cell(self, aligned: list[tuple[Column, Cell]]) -> tuple[Token, str] | None:
        """The one cell of a row that holds nothing but a side."""
        sides = [cell.tokens[0] for _, cell in aligned if [t.kind for t in cell.tokens] == ["side"]]
        return (sides[0], sides[0].meaning) if len(sides) == 1 and sides[0].meaning in SIDES else None


def _names_reflex(cell: Cell) -> bool:
    """As in "triceps 1+/2+" under "Reflex", in a row of the root C7."""
    return bool(cell.tokens) and cell.tokens[0].kind == "site" and "root" not in cell.tokens[0].flags


def _counts_as_row(cells: list[Cell], place: int) -> bool:
    """As in "Reflexes  2+  1+" among rows of strength: the noun alone names a row of values."""
    noun = all(token.kind in ("reflex", "colon") for token in cells[place].tokens)
    return noun and place + 1 < len(cells) and all(map(begins_with_value, cells[place + 1 :]))


def _clonus_at(targets: list[Target], column: Column) -> list[Target]:
    """Clonus at the joints that a row names; none at a joint where it is not sought."""
    joints = [(target, CLONUS_AT.get(target.site)) for target in targets]
    named = column.targets[0].used
    return [replace(t, site=joint, used=[*t.used, *named]) for t, joint in joints if joint is not None]


def _with_side(target: Target, column: Column, side: tuple[Token, str] | None) -> Target:
    """A target with the side that its column, its row or the whole table says."""
    used: Used = [*target.used]
    used += [pair for pair in column.used if pair not in used and not column.targets]
    said = target.side or column.side
    if said is None and side is not None:
        said, used = side[1], [*used, (side[0], "side")]
    return replace(target, side=said, used=used)


def _strange(aligned: list[tuple[Column, Cell]]) -> list[Cell]:
    """Cells that hold nothing but a reflex grade or an arrow, under a head that is not known."""
    return [cell for column, cell in aligned if column.unknown and _only_grade(cell)]


def _only_grade(cell: Cell) -> bool:
    written = cell.tokens[0].written if len(cell.tokens) == 1 else None
    first = written.first if isinstance(written, Pair) else written
    return isinstance(first, Written) and (first.plus == "trailing" or first.response is not None)


def _behind_label(cells: list[Cell], place: int, label: Parser, end: int) -> list[Cell]:
    """The cells behind a name that runs into the first value: "brachioradialis 2+"."""
    end = label.skip(end, "equals", "close")
    tokens = label.tokens[end:]
    return [*([Cell(tokens[0].start, cells[place].end, tokens)] if tokens else []), *cells[place + 1 :]]
