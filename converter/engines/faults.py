"""The faults that an engine tells of, each one plain sentence with the place of the note."""

import signal

from converter.model import Diagnostic, Note, Severity


def work_failed(note: Note, error: str) -> Diagnostic:
    """The work raised an error on a note: a fault of the program, told by kind and not by its words."""
    return Diagnostic(
        code="note-not-done",
        severity=Severity.ERROR,
        message=f"The program failed on this note ({error}); please report it.",
        source=note.source,
        line=note.line,
    )


def worker_died(note: Note | None, exit_code: int | None) -> Diagnostic:
    """A worker ended without having been told to; its notes are done again."""
    at = f" while it worked on note {note.id}" if note is not None else ""
    return Diagnostic(
        code="worker-lost",
        severity=Severity.WARNING,
        message=f"A worker process ended unexpectedly ({_cause(exit_code)}){at}; its notes are done again.",
        source=note.source if note is not None else None,
        line=note.line if note is not None else None,
    )


def note_stops_workers(note: Note, exit_code: int | None) -> Diagnostic:
    """Two workers ended on one note, so it is left undone and the others go on."""
    return Diagnostic(
        code="note-stops-worker",
        severity=Severity.ERROR,
        message=f"The program ended twice on this note ({_cause(exit_code)}), so it was left undone.",
        hint="If memory is short, try --workers 1; else please report it.",
        source=note.source,
        line=note.line,
    )


def task_done_again(attempts: int) -> Diagnostic:
    """Attempts at a batch of notes on a cluster came to nothing before one did not."""
    often = "once" if attempts == 1 else f"{attempts} times"
    return Diagnostic(
        code="worker-lost",
        severity=Severity.WARNING,
        message=f"A process of the cluster ended {often} while it worked; its notes were done again.",
    )


def no_worker_yet(master: str) -> Diagnostic:
    """A cluster was reached, but nothing of it works."""
    return Diagnostic(
        code="no-worker-yet",
        severity=Severity.WARNING,
        message=f"No machine of the cluster {master} has taken up the work so far.",
        hint="See whether it has workers, and whether they have the cores and the memory that are asked for.",
    )


def _cause(exit_code: int | None) -> str:
    if exit_code is not None and exit_code < 0:
        return f"signal {-exit_code}, {signal.Signals(-exit_code).name}"
    return f"exit status {exit_code}" if exit_code is not None else "cause not known"
