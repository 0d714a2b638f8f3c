"""Parquet: one note a row, the columns named as for CSV; read in batches by DuckDB.

Rows count from 1. Nothing but the named file is opened: DuckDB is told to load no extensions and to write no
temporary files.
"""

import os
import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from typing import TYPE_CHECKING, BinaryIO

from converter.model import Diagnostic
from converter.sources.fields import Place, note_from_fields
from converter.sources.format import NoteStream, Opened
from converter.sources.options import FIELDS, SourceOptions
from converter.sources.rows import no_text, too_large
from converter.sources.troubles import error, warning

if TYPE_CHECKING:
    from duckdb import DuckDBPyConnection

_BATCH = 512
_TEXTS = re.compile(r"VARCHAR|BLOB|ENUM.*|JSON|UUID", re.IGNORECASE)
_PLAIN = re.compile(
    r"VARCHAR|BLOB|ENUM.*|JSON|UUID|BOOLEAN|U?(TINY|SMALL|BIG|HUGE)?INT(EGER)?|FLOAT|DOUBLE|DECIMAL.*|DATE|TIME.*|\"?NULL\"?",
    re.IGNORECASE,
)
_SETTINGS: dict[str, str | bool | int | float | list[str]] = {
    "autoinstall_known_extensions": "false",
    "autoload_known_extensions": "false",
    "temp_directory": "",
    "threads": "1",
}
_LARGEST_COPY = 256 * 1024 * 1024


def read_parquet(opened: Opened, options: SourceOptions) -> NoteStream:
    """The notes of a Parquet file."""
    import duckdb

    with _path_of(opened) as path, duckdb.connect(config=_SETTINGS) as database:
        if path is None:
            yield error(
                "packed-parquet",
                "A Parquet file is only read where it lies in a folder by itself, so it was left out.",
                opened.name,
                hint="Unpack it, or write it to a file first.",
            )
            return
        try:
            yield from _notes(database, path, opened, options)
        except duckdb.Error:
            yield error(
                "broken-parquet",
                "The Parquet file is cut off or damaged; what stands after the damage was not read.",
                opened.name,
            )


def _notes(database: "DuckDBPyConnection", path: str, opened: Opened, options: SourceOptions) -> NoteStream:
    header = database.execute("DESCRIBE SELECT * FROM read_parquet(?, binary_as_string=true)", [path])
    types = {str(row[0]): str(row[1]) for row in header.fetchall()}
    columns = _columns(types, options)
    trouble = list(_header_troubles(types, columns, opened.name, options))
    yield from trouble
    if "text" not in columns or not _TEXTS.fullmatch(types[columns["text"]]):
        return
    plain = [name for name, column in columns.items() if name != "text" and _PLAIN.fullmatch(types[column])]
    found = database.execute(_query(columns, plain), [options.largest_note, path])
    number = 0
    while rows := found.fetchmany(_BATCH):
        for length, text, *others in rows:
            number += 1
            fields = {name: value for name, value in zip(plain, others, strict=True) if value is not None}
            yield from _note(length, text, fields, number, opened, options)
    if not number:
        yield warning("no-rows", "The file has columns but no rows.", opened.name)


def _note(
    length: int | None,
    text: str | None,
    fields: Mapping[str, str],
    number: int,
    opened: Opened,
    options: SourceOptions,
) -> NoteStream:
    if length is None:
        yield no_text(opened.name, number)
    elif text is None:
        yield too_large(options.largest_note, opened.name, number)
    else:
        place = Place(opened.name, number, f"{opened.stem}:{number}")
        note, troubles = note_from_fields({**fields, "text": text}, place, options)
        yield from troubles
        yield note


def _query(columns: Mapping[str, str], plain: list[str]) -> str:
    """The values as text; the text of a note that is too large stays behind, and its length comes alone."""
    text = f"CAST({_quoted(columns['text'])} AS VARCHAR)"
    others = "".join(f", CAST({_quoted(columns[name])} AS VARCHAR)" for name in plain)
    return (
        f"SELECT length({text}), CASE WHEN length({text}) <= ? THEN {text} END{others}"  # noqa: S608 - names quoted
        " FROM read_parquet(?, binary_as_string=true)"
    )


def _quoted(name: str) -> str:
    return '"' + name.replace('"', '""') + '"'


def _columns(types: Mapping[str, str], options: SourceOptions) -> dict[str, str]:
    """Our field -> the file's column; letter case decides only between two that differ in it."""
    folded = {name.casefold(): name for name in reversed(list(types))}
    found = {}
    for name in FIELDS:
        wanted = options.column(name)
        column = wanted if wanted in types else folded.get(wanted.casefold())
        if column is not None:
            found[name] = column
    return found


def _header_troubles(
    types: Mapping[str, str], columns: Mapping[str, str], source: str, options: SourceOptions
) -> Iterator[Diagnostic]:
    seen = ", ".join(list(types)[:20])
    if "text" not in columns:
        yield error(
            "no-text-column",
            f"The file has no column {options.column('text')}, so no note could be read.",
            source,
            hint=f"Its columns are: {seen}. Name the right one with --column text=NAME.",
        )
        return
    if not _TEXTS.fullmatch(types[columns["text"]]):
        yield error(
            "no-text-column",
            f"The column {columns['text']} holds {types[columns['text']][:40]}, no text: nothing was read.",
            source,
            hint=f"Its columns are: {seen}. Name the right one with --column text=NAME.",
        )
    for name, column in columns.items():
        if name != "text" and not _PLAIN.fullmatch(types[column]):
            yield warning(
                "bad-field", f"The column {column} holds no single values, so it was left out.", source
            )
    for name in sorted(set(options.columns) - set(columns)):
        yield warning(
            "missing-column",
            f"The file has no column {options.column(name)} for {name}.",
            source,
            hint=f"Its columns are: {seen}.",
        )


@contextmanager
def _path_of(opened: Opened) -> Iterator[str | None]:
    """A path that DuckDB can open: the file's own, or that of a copy in memory where the system has those."""
    if opened.file is not None:
        yield _no_pattern(str(opened.file.absolute()))
        return
    copy = _copied(opened.stream)
    if copy is None:
        yield None
        return
    try:
        yield f"/proc/self/fd/{copy}"
    finally:
        os.close(copy)


def _no_pattern(path: str) -> str:
    """A path in which no character counts as a pattern."""
    return re.sub(r"[*?\[]", lambda mark: f"[{mark[0]}]", path)


def _copied(stream: BinaryIO) -> int | None:
    """A file in memory with what a stream holds; None where it is too large or the system has none."""
    if not hasattr(os, "memfd_create"):
        return None
    copy = os.memfd_create("notes")
    size = 0
    while piece := stream.read(1 << 20):
        size += len(piece)
        if size > _LARGEST_COPY:
            os.close(copy)
            return None
        os.write(copy, piece)
    return copy


def recognise_parquet(opened: Opened, _options: SourceOptions) -> bool:
    """Whether the file starts as every Parquet file does."""
    return opened.head.startswith(b"PAR1")
