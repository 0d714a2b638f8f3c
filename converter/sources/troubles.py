"""Short makers of diagnostics about inputs, so that every format says the same thing in the same words."""

import re
from collections.abc import Sequence

from converter.model import Diagnostic, Severity

_NAME = re.compile(r"(?:[#$@]?[^\W\d][\w /#$@:.()-]*[\w)#$])?|[^\W\d]", re.DOTALL)
"""What a column may be called; one without a name is common."""
_IDENTIFIER = re.compile(r"[^\s]{1,100}")


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
    """The first names of columns; where one cannot be a name the line may be a note, so none is told."""
    if not all(map(_may_be_name, names)):
        return f"({len(names)} that do not look like names)"
    return ", ".join(names[:20])


def id_shown(identifier: str) -> str:
    """An identifier; one with white space in it may be a note in the wrong column, so its length is told."""
    return identifier if _IDENTIFIER.fullmatch(identifier) else f"({len(identifier)} characters)"


def _may_be_name(name: str) -> bool:
    return len(name) <= 40 and len(name.split()) <= 4 and _NAME.fullmatch(name) is not None
