"""Writes diagnostics to standard error, one line each, and keeps the exit status."""

import sys
from collections import Counter
from collections.abc import Iterable
from typing import Self

from converter.cli.running import CLEAN, INPUT_ERRORS
from converter.model import Diagnostic, Note, Severity

_SHOWN = 20
"""Warnings of one kind that are shown; more of them are counted. Errors are all shown."""


class Troubles:
    """What went wrong during a command.

    Attributes:
        errors: number of errors so far.
    """

    def __init__(self) -> None:
        self.errors = 0
        self._lesser: Counter[str] = Counter()

    @property
    def status(self) -> int:
        """The exit status that the errors so far call for."""
        return INPUT_ERRORS if self.errors else CLEAN

    def show(self, trouble: Diagnostic, note: Note | None = None) -> None:
        """Write one diagnostic, with the note's place where it has none of its own."""
        if is_error(trouble):
            self.errors += 1
        else:
            self._lesser[trouble.code] += 1
            if self._lesser[trouble.code] > _SHOWN:
                return
        sys.stderr.write(f"{line_of(trouble, note)}\n")

    def show_all(self, troubles: Iterable[Diagnostic], note: Note | None = None) -> None:
        """Write several diagnostics."""
        for trouble in troubles:
            self.show(trouble, note)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        """Say how many warnings were not shown."""
        for code, count in self._lesser.items():
            if count > _SHOWN:
                sys.stderr.write(f"information: {count - _SHOWN} more like these are not shown ({code})\n")
        self._lesser.clear()


def is_error(trouble: Diagnostic) -> bool:
    """Whether a diagnostic says that something was lost or is wrong, and not only repaired or doubtful."""
    return trouble.severity in (Severity.ERROR, Severity.FATAL)


def line_of(trouble: Diagnostic, note: Note | None = None) -> str:
    """A diagnostic as one line: `severity file:line: sentence (code) hint`."""
    source = trouble.source or (note.source if note else None)
    line = trouble.line if trouble.source else (note.line if note else None)
    places = [
        f"{source}:{line}" if source and line else source,
        f"note {note.id}" if note and not trouble.source else None,
        trouble.path,
    ]
    place = ", ".join(part for part in places if part and not trouble.message.startswith(part))
    hint = f" {trouble.hint}" if trouble.hint else ""
    start = f"{trouble.severity} {place}: " if place else f"{trouble.severity}: "
    return visible(f"{start}{trouble.message} ({trouble.code}){hint}")


def visible(text: str) -> str:
    """Text from outside made safe for a terminal: white space becomes spaces, control characters dots."""
    if text.isprintable():
        return text
    return "".join(" " if one.isspace() else one if one.isprintable() else "\u00b7" for one in text)
