"""Small helpers for the tests of sources: write a file, read it back as notes and troubles."""

import gzip
import json
from collections.abc import Mapping, Sequence
from pathlib import Path

from converter.model import Diagnostic, Note, Severity
from converter.sources import SourceOptions, open_notes


def read(*inputs: Path | str, options: SourceOptions | None = None) -> tuple[list[Note], list[Diagnostic]]:
    """Everything that the inputs give, parted into notes and diagnostics."""
    items = list(open_notes([str(name) for name in inputs], options))
    notes = [item for item in items if isinstance(item, Note)]
    return notes, [item for item in items if isinstance(item, Diagnostic)]


def write(path: Path, content: str | bytes) -> Path:
    """A file with this content; a name ending in `.gz` is compressed."""
    raw = content.encode() if isinstance(content, str) else content
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(gzip.compress(raw, mtime=0) if path.suffix == ".gz" else raw)
    return path


def json_lines(records: Sequence[Mapping[str, object]]) -> str:
    """The records, one JSON object a line."""
    return "".join(json.dumps(record) + "\n" for record in records)


def codes(troubles: Sequence[Diagnostic]) -> list[str]:
    """The codes of diagnostics, in order."""
    return [trouble.code for trouble in troubles]


def only(
    troubles: Sequence[Diagnostic], code: str, severity: Severity, line: int | None = None
) -> Diagnostic:
    """The one diagnostic there is: with this code, severity and line, a file and one whole sentence."""
    assert codes(troubles) == [code], troubles
    (trouble,) = troubles
    assert trouble.severity is severity
    assert trouble.line == line
    assert trouble.source
    assert trouble.message[0].isupper()
    assert trouble.message.endswith(".")
    assert "\n" not in trouble.message
    return trouble
