"""Small tables for people: drawn on a terminal, plain aligned columns in a pipe or a file."""

from collections.abc import Sequence
from typing import TextIO

from converter.cli.troubles import visible

_WIDEST = 60


def show_table(stream: TextIO, columns: Sequence[str], rows: Sequence[Sequence[object]]) -> None:
    """Write a table.

    Args:
        stream: where to write; on a terminal the table is drawn with rules and colour.
        columns: the headings.
        rows: the cells; None is an empty cell.
    """
    cells = [["" if cell is None else visible(str(cell)) for cell in row] for row in rows]
    if stream.isatty():
        _drawn(stream, columns, cells)
    else:
        _plain(stream, columns, cells)


def counted(number: int, noun: str) -> str:
    """A number with its noun, e.g. `1 note`, `2 notes`."""
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def shortened(text: str | None, longest: int = _WIDEST) -> str:
    """Text for a narrow cell, its middle left out where it is too long."""
    flat = " ".join((text or "").split())
    if len(flat) <= longest:
        return flat
    half = (longest - 3) // 2
    return f"{flat[:half]} \u2026 {flat[-half:]}"


def _drawn(stream: TextIO, columns: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    from rich.box import SIMPLE_HEAD
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    table = Table(*columns, box=SIMPLE_HEAD, header_style="bold", pad_edge=False)
    for row in rows:
        table.add_row(*(Text(cell) for cell in row))
    Console(file=stream, highlight=False).print(table)


def _plain(stream: TextIO, columns: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
    widths = [max(len(row[at]) for row in [columns, *rows]) for at in range(len(columns))]
    for row in [columns, *rows]:
        line = "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True))
        stream.write(f"  {line.rstrip()}\n")
