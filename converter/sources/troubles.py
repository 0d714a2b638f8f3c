"""Short makers of diagnostics about inputs, so that every format says the same thing in the same words."""

from collections.abc import Sequence

from converter.model import Diagnostic, Severity


def error(
    code: str, message: str, source: str, line: int | None = None, hint: str | None = None
) -> Diagnostic:
    """Something that lost a note."""
    return Diagnostic(
        code=code, severity=Severity.ERROR, message=message, source=source, line=line, hint=hint
    )


def warning(
    code: str, message: str, source: str, line: int | None = None, hint: str | None = None
) -> Diagnostic:
    """Something that was repaired or left out, while the note went through."""
    return Diagnostic(
        code=code, severity=Severity.WARNING, message=message, source=source, line=line, hint=hint
    )


def information(
    code: str, message: str, source: str, line: int | None = None, hint: str | None = None
) -> Diagnostic:
    """Something worth knowing that changed nothing."""
    return Diagnostic(
        code=code, severity=Severity.INFORMATION, message=message, source=source, line=line, hint=hint
    )


def names_shown(names: Sequence[str]) -> str:
    """The first names of columns; one too long for a name may be a note, so only its length is told."""
    return ", ".join(
        name if len(name) <= 40 and len(name.split()) <= 4 else f"({len(name)} characters)"
        for name in names[:20]
    )
