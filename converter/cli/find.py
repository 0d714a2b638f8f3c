"""`plexor find`: findings out of the archive."""

import json
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from converter.cli.find_options import (
    Abnormality,
    Author,
    CountBy,
    Descriptor,
    Exact,
    Facility,
    Fhir,
    From,
    Grade,
    Kind,
    Level,
    Limit,
    NoteId,
    NoteKind,
    Patient,
    Patterns,
    Response,
    Scale,
    Side,
    Site,
    Status,
    To,
)
from converter.cli.find_query import columns_of, query_of
from converter.cli.find_views import write_counts, write_found
from converter.cli.load import ArchiveFile, archive_path
from converter.cli.options import Config, Out, settings_of
from converter.cli.output import Format, opened
from converter.cli.running import CLEAN, CannotRunError

if TYPE_CHECKING:
    from converter.archive import FindQuery
    from converter.settings import Settings

EXAMPLE = """\b
Example:
  plexor find --archive findings.duckdb --site achilles --side left --level absent
  plexor find --archive findings.duckdb --scale bedside --grade 3-4 --from 2031 --format csv
  plexor find --archive findings.duckdb --abnormality side-difference --exact
  plexor find --archive findings.duckdb --pattern 'absent ankle with brisk knee'
  plexor find --archive findings.duckdb --site patellar --count-by side,grade
  plexor find --archive findings.duckdb --format parquet --out found.parquet
  plexor find --archive findings.duckdb --fhir 'Observation?code=achilles-left&date=ge2031'"""


class FoundFormat(StrEnum):
    """How found rows are written."""

    TEXT = "text"
    JSON = "json"
    JSONL = "jsonl"
    CSV = "csv"
    PARQUET = "parquet"


_Format = Annotated[
    FoundFormat, typer.Option("--format", help="text, json, jsonl, csv, or parquet with --out.")
]
_NO_SEARCH = frozenset({"archive", "fhir", "format_", "out", "config"})
"""Parameters of the command that do not say what to look for."""


def find(
    context: typer.Context,
    archive: ArchiveFile = None,
    patient: Patient = None,
    note: NoteId = None,
    site: Site = None,
    side: Side = None,
    kind: Kind = None,
    scale: Scale = None,
    grade: Grade = None,
    level: Level = None,
    descriptor: Descriptor = None,
    response: Response = None,
    status: Status = None,
    author: Author = None,
    facility: Facility = None,
    note_kind: NoteKind = None,
    from_: From = None,
    to: To = None,
    abnormality: Abnormality = None,
    pattern: Patterns = None,
    exact: Exact = False,
    limit: Limit = None,
    count_by: CountBy = None,
    fhir: Fhir = None,
    format_: _Format = FoundFormat.TEXT,
    out: Out = None,
    config: Config = None,
) -> int:
    """Search the archive. Options of one name are alternatives; different options must all hold.

    A search for a reflex also finds what covers it: "2+ throughout" answers for the left knee unless an
    exception is made there. Each row says whether it is direct or covered; --exact leaves covered ones out.
    """
    _answer(context.params)
    return CLEAN


def _answer(asked: dict[str, Any]) -> None:
    """Answer what the command's options ask for, by the name of their parameter."""
    settings = settings_of(asked["config"])
    path, out, format_ = archive_path(asked["archive"], settings), asked["out"], asked["format_"]
    if asked["fhir"] is not None:
        _refuse_other_options(asked)
        _answer_fhir(path, asked["fhir"], settings, out)
        return
    query = query_of(asked, settings)
    if asked["count_by"] is not None:
        _count(path, query, asked["count_by"], format_, out)
    elif format_ is FoundFormat.PARQUET:
        _write_parquet(path, query, out)
    else:
        from converter import searching

        with opened(out) as stream:
            write_found(stream, Format(format_), searching.find(path, query))


def _count(path: Path, query: "FindQuery", count_by: str, format_: FoundFormat, out: Path | None) -> None:
    from converter import searching

    if format_ is FoundFormat.PARQUET:
        raise CannotRunError("--count-by --format parquet: counts are small; choose text, json, jsonl or csv")
    columns = columns_of(count_by, query)
    with opened(out) as stream:
        write_counts(stream, Format(format_), columns, searching.count(path, query, columns))


def _write_parquet(path: Path, query: "FindQuery", out: Path | None) -> None:
    from converter import searching
    from converter.archive import write_parquet

    if out is None:
        raise CannotRunError("--format parquet is no text: say where to write it with --out FILE")
    write_parquet(searching.find(path, query), out)


def _answer_fhir(path: Path, search: str, settings: "Settings", out: Path | None) -> None:
    from converter.api import open_session
    from converter.searching import fhir_search

    bundle = fhir_search(path, search, open_session(settings))
    with opened(out) as stream:
        stream.write(json.dumps(bundle, ensure_ascii=False, indent=2) + "\n")


def _refuse_other_options(asked: dict[str, Any]) -> None:
    others = [name for name, value in asked.items() if name not in _NO_SEARCH and not _unset(value)]
    if others:
        option = others[0].strip("_").replace("_", "-")
        raise CannotRunError(f"--fhir --{option}: a FHIR search says all by itself; leave one out")
    if asked["format_"] not in (FoundFormat.TEXT, FoundFormat.JSON):
        raise CannotRunError(f"--fhir --format {asked['format_']}: the answer is a Bundle in JSON")


def _unset(value: Any) -> bool:
    return value is None or value is False or value in ((), [])
