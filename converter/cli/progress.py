"""A bar on the terminal while notes are loaded: how many, how fast, and the time left."""

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING

from converter.cli.running import CannotRunError
from converter.model import Note

if TYPE_CHECKING:
    from converter.archive import RunTotals
    from converter.sources import SourceOptions

Progress = Callable[["RunTotals"], None]


@contextmanager
def progress_bar(inputs: Sequence[str], options: "SourceOptions | None") -> Iterator[Progress]:
    """Give a function that moves the bar; without a terminal on standard error it does nothing.

    The notes are counted beforehand, for the time left, which takes a small part of the time that reading
    takes. Standard input can be taken only once, so there the bar tells number and rate alone.
    """
    if not sys.stderr.isatty():
        yield lambda totals: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    bar = Progress(
        TextColumn("{task.description}"),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("{task.fields[rate]}"),
        TimeRemainingColumn(),
        console=Console(file=sys.stderr),
        transient=True,
    )
    with bar:
        task = bar.add_task("counting notes", total=None, rate="")
        bar.update(task, total=_number_of(inputs, options), description="loading")
        bar.reset(task, total=bar.tasks[0].total)

        def move(totals: "RunTotals") -> None:
            seconds = bar.tasks[0].elapsed or 0
            rate = f"{totals.notes_in / seconds:,.0f} notes a second" if seconds else ""
            bar.update(task, completed=totals.notes_in, rate=rate)

        yield move


def _number_of(inputs: Sequence[str], options: "SourceOptions | None") -> int | None:
    """How many notes the inputs hold, or None where that cannot be told beforehand."""
    from converter.sources import open_notes

    if "-" in inputs:
        return None
    try:
        return sum(isinstance(item, Note) for item in open_notes(inputs, options))
    except ValueError as error:
        raise CannotRunError(str(error)) from error
