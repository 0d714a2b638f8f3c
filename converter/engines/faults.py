"""The faults that an engine tells of, each one plain sentence with the place of the note."""

from converter.model import Diagnostic, Note, Severity


def work_failed(note: Note, error: Exception) -> Diagnostic:
    """The work raised an error on a note: a fault of the program, told by kind and not by its words."""
    return Diagnostic(
        code="note-not-done",
        severity=Severity.ERROR,
        message=f"The program failed on this note ({type(error).__name__}); please report it.",
        source=note.source,
        line=note.line,
    )
