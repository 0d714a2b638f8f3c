"""Plants names, identifiers and dates into every field of a note and its reading, and looks for them.

Each planted text is unlike anything the program writes, so finding it, in whatever coding, is a leak.
"""

import base64
import gzip
import json
from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar
from urllib.parse import quote

from converter.exports import Read
from converter.model import Abnormality, Diagnostic, Exam, Finding, Note, NotExamined, Severity, Unread

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

T = TypeVar("T")

SECRETS = (
    "Quillfeather",
    "Marisol Okonkwo",
    "Zbigniew O'Hara-Weiß",
    "MRN-90417733",
    "77-1198-04",
    "1871-11-23",
    "18711123",
    "23/11/1871",
    "November 23, 1871",
    "Thornmere General",
    "+49 30 7715 9042",
    "quill@thornmere.example",
)
"""Invented names, numbers, dates and addresses; the dates lie far from any that the tests use."""
PROGRAM_FIELDS = frozenset({"program", "vocabulary", "schema"})
"""Fields of a reading that the program writes about itself and no note can reach."""


def _with(value: T, **changes: Any) -> T:
    return replace(value, **changes)  # type: ignore[type-var]  # every noun of the model is a dataclass


def planted(read: Read, secret: str) -> Iterator[tuple[str, Read]]:
    """The read once for each field that can hold text, with the secret in that field alone, and once in all.

    A field is hit as text of its own, and in the middle of what stands there.
    """
    note, reading, assessments = _filled(read)
    for name in _texts(Note):
        yield f"Note.{name}", (_with(note, **{name: secret}), reading, assessments)
    for name in _texts(type(reading)) - PROGRAM_FIELDS:
        yield f"Reading.{name}", (note, _with(reading, **{name: secret}), assessments)
    for part in ("exams", "findings", "unread", "diagnostics"):
        for name, changed in _in_each(getattr(reading, part), secret):
            yield f"Reading.{part}.{name}", (note, _with(reading, **{part: changed}), assessments)
    for part in ("abnormalities", "not_examined", "diagnostics"):
        for name, changed in _in_each(getattr(assessments[0], part), secret):
            one = _with(assessments[0], **{part: changed})
            yield f"Assessment.{part}.{name}", (note, reading, (one, *assessments[1:]))
    yield "Assessment.caution", (note, reading, (_with(assessments[0], caution=secret),))
    yield "everywhere", _everywhere((note, reading, assessments), secret)


def _filled(read: Read) -> Read:
    """The read with one of everything that can hold text."""
    note, reading, assessments = read
    diagnostic = Diagnostic(code="c", severity=Severity.WARNING, message="m", source="s", path="p")
    unread = Unread(start=0, end=1, text="t", why="no-rule")
    reading = _with(reading, unread=(unread,), diagnostics=(diagnostic,))
    not_examined = (NotExamined(site="patellar", side="left", reason="cast"),)
    first = _with(assessments[0], diagnostics=(diagnostic,), not_examined=not_examined)
    assert reading.exams
    assert reading.findings
    assert first.abnormalities
    return note, reading, (first, *assessments[1:])


def _texts(noun: type) -> set[str]:
    """The fields that hold text."""
    return {field.name for field in fields(noun) if "str" in str(field.type)}


def _in_each(values: tuple[Any, ...], secret: str) -> Iterator[tuple[str, tuple[Any, ...]]]:
    """All values of one kind, with the secret in one field of each."""
    noun = type(values[0])
    assert noun in (Exam, Finding, Unread, Diagnostic, Abnormality, NotExamined)
    for field in fields(noun):
        if "str" in str(field.type) and "Span" not in str(field.type):
            whole = tuple(_with(value, **{field.name: _of_kind(field.type, secret)}) for value in values)
            yield field.name, whole
            beside = [f"{getattr(value, field.name)} {secret}" for value in values]
            yield (
                f"{field.name} (beside)",
                tuple(
                    _with(value, **{field.name: _of_kind(field.type, text)})
                    for value, text in zip(values, beside, strict=True)
                ),
            )
        elif field.name == "spans":
            yield (
                "spans.role",
                tuple(
                    _with(value, spans=tuple(_with(span, role=secret) for span in value.spans))
                    for value in values
                ),
            )


def _of_kind(kind: Any, text: str) -> Any:
    return (text,) if "tuple" in str(kind) else text


def _everywhere(read: Read, secret: str) -> Read:
    """The secret in every field at once, but for those without which a finding would be left out."""
    keep = {"side", "kind", "status", "certainty", "site", "sites", "code", "severity", *PROGRAM_FIELDS}

    def fill(value: T) -> T:
        if is_dataclass(value) and not isinstance(value, type):
            changed = {
                field.name: _filled_field(field.type, getattr(value, field.name), secret, fill)
                for field in fields(value)
                if field.name not in keep
            }
            return _with(value, **changed)
        return value

    note, reading, assessments = read
    return fill(note), fill(reading), tuple(fill(one) for one in assessments)


def _filled_field(kind: Any, value: Any, secret: str, fill: Any) -> Any:
    if isinstance(value, tuple) and value and is_dataclass(value[0]):
        return tuple(fill(one) for one in value)
    if "str" in str(kind) and "int" not in str(kind):
        return _of_kind(kind, secret)
    return value


def forms(secret: str) -> dict[str, bytes]:
    """How a text can stand in bytes: plain, escaped, percent-encoded, in hexadecimal, in base64."""
    raw = secret.encode()
    found = {
        "plain": raw,
        "small": secret.lower().encode(),
        "capitals": secret.upper().encode(),
        "json": json.dumps(secret)[1:-1].encode(),
        "html": secret.replace("&", "&amp;").replace("'", "&#x27;").encode(),
        "percent": quote(secret, safe="").encode(),
        "percent, spaces as plus": quote(secret, safe=" ").replace(" ", "+").encode(),
        "hexadecimal": raw.hex().encode(),
        "utf-16": secret.encode("utf-16-le"),
        "backwards": secret[::-1].encode(),
    }
    for shift in range(3):  # base64 looks different at each of three places
        coded = base64.b64encode(b"\0" * shift + raw).rstrip(b"=")
        start = 0 if shift == 0 else 4 * ((shift + 2) // 3)
        whole = coded[start : len(coded) - (1 if len(b"\0" * shift + raw) % 3 else 0)]
        found[f"base64 at {shift}"] = whole
        found[f"base64url at {shift}"] = whole.replace(b"+", b"-").replace(b"/", b"_")
    return found


def bytes_of(folder: Path) -> Iterator[tuple[str, bytes]]:
    """Every file of a folder with its name, and what is packed in it."""
    for path in sorted(folder.rglob("*")):
        yield path.name, str(path.relative_to(folder)).encode()
        if path.is_file():
            content = path.read_bytes()
            yield path.name, content
            if path.suffix == ".gz":
                yield path.name, gzip.decompress(content)
            if path.suffix == ".parquet":
                yield path.name, _text_of_parquet(path)


def _text_of_parquet(path: Path) -> bytes:
    rows = _database().execute("SELECT * FROM read_parquet(?)", [str(path)])
    names = [column[0] for column in rows.description or ()]
    said = [*names, *(str(cell) for row in rows.fetchall() for cell in row)]
    return "\n".join(said).encode("utf-8", "replace")


@cache
def _database() -> "DuckDBPyConnection":
    import duckdb

    return duckdb.connect()


def leaks(folder: Path, *secrets: str) -> list[str]:
    """Where in a folder one of some texts stands, in any form."""
    wanted = [(how, secret, form) for secret in secrets for how, form in forms(secret).items()]
    assert all(len(form) >= 8 for _, _, form in wanted), "too short to be told from chance"
    return [
        f"{name}: {how} {secret}"
        for name, content in bytes_of(folder)
        for how, secret, form in wanted
        if form in content
    ]
