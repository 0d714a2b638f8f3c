"""Parts a line of heads into its cells: a label before a colon, heads one blank apart, heads without words.

Takes a line with its cells; gives cells. What the heads say is left to `table_heads`.
"""

from collections.abc import Iterator

from converter.reading.lines import Cell, Line, pieces_of
from converter.reading.tokens import Token

_LABEL_KINDS = frozenset({"reflex", "other", "other_exam"})
_BETWEEN = frozenset({"colon", "comma", "open", "close"})
_BOTH = 2


def label_apart(cells: list[Cell]) -> list[Cell]:
    """A label may stand one blank before the first head: "Site: biceps  triceps  knee"."""
    tokens = cells[0].tokens if len(cells) > _BOTH else []
    colon = next((place for place, token in enumerate(tokens[:-1]) if token.kind == "colon"), 0)
    if not colon or not all(t.kind in _LABEL_KINDS for t in tokens[:colon]):
        return cells
    label, rest = tokens[: colon + 1], tokens[colon + 1 :]
    apart = [Cell(cells[0].start, label[-1].end, label), Cell(rest[0].start, cells[0].end, rest)]
    return [*apart, *cells[1:]]


def word_by_word(line: Line) -> Iterator[list[Cell]]:
    """Heads one blank or a comma apart: "DTRs R L", "Reflex: Bi Tri Br Pat Ach", "DTR (B, T, K, A)"."""
    tokens = [token for token in line.tokens if token.kind not in _BETWEEN]
    sides = [token for token in tokens[-2:] if token.kind == "side"]
    names = [token for token in tokens if token.kind in ("site", "region")]
    heads = sides if len(sides) == 2 else names
    label = tokens[: len(tokens) - len(heads)]
    apart = heads and tokens[-len(heads) :] == heads and (len(heads) > 2 or heads is sides)
    if apart and len(label) <= 2 and all(t.kind in _LABEL_KINDS for t in label):
        parts = [label, *([head] for head in heads)] if label else [[head] for head in heads]
        yield [Cell(part[0].start, part[-1].end, part) for part in parts]


def with_blank_heads(text: str, line: Line, cells: list[Cell]) -> list[Cell]:
    """The heads of a line, also those whose words say nothing, so that no column takes another's values."""
    if len(cells) < 2 or any(token.kind == "pipe" for token in line.tokens):
        return cells
    own = [(cell.tokens[0].start, cell.tokens[-1].end) for cell in cells if cell.tokens]
    blank = [
        Cell(start, end, [Token("other", start, end)])
        for start, end in pieces_of(text, line)
        if end - start > 1 and not any(low < end and start < high for low, high in own)
    ]
    return sorted([*cells, *blank], key=lambda cell: cell.start)
