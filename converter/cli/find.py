"""`plexor find`: findings out of the archive."""

import difflib
import re
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import asdict, fields
from typing import TYPE_CHECKING, Annotated, Any, TextIO

import typer

from converter.cli.find_options import (
    Abnormality,
    Author,
    Descriptor,
    Exact,
    Facility,
    From,
    Grade,
    Kind,
    Level,
    Limit,
    NoteId,
    NoteKind,
    Patient,
    Response,
    Scale,
    Side,
    Site,
    Status,
    To,
)
from converter.cli.load import ArchiveFile, archive_path
from converter.cli.options import Config, Out, settings_of
from converter.cli.output import Format, opened, records_to
from converter.cli.running import CLEAN, CannotRunError
from converter.cli.tables import shortened, show_table
from converter.model.record import plain_number

if TYPE_CHECKING:
    from converter.archive import FindQuery, FoundRow
    from converter.settings import Settings

EXAMPLE = """\b
Example:
  plexor find --archive findings.duckdb --site achilles --side left --level absent
  plexor find --archive findings.duckdb --scale bedside --grade 3-4 --from 2031 --format csv
  plexor find --archive findings.duckdb --abnormality side-difference --exact"""

_SHOWN = ("patient", "authored", "note", "reflex", "side", "basis", "value", "level", "status", "words")
_GRADE = re.compile(r"(-?\d+(?:\.5)?)(?:\s*(?:-|to)\s*(-?\d+(?:\.5)?))?")

_ALTERNATIVES = {
    "patients": "patient",
    "notes": "note",
    "sites": "site",
    "sides": "side",
    "kinds": "kind",
    "levels": "level",
    "descriptors": "descriptor",
    "responses": "response",
    "authors": "author",
    "facilities": "facility",
    "note_kinds": "note_kind",
    "abnormalities": "abnormality",
}
"""Fields of a query that take alternatives, and the option that fills each."""


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
    exact: Exact = False,
    limit: Limit = None,
    format_: Annotated[Format, typer.Option("--format", help="text, json, jsonl or csv.")] = Format.TEXT,
    out: Out = None,
    config: Config = None,
) -> int:
    """Search the archive. Options of one name are alternatives; different options must all hold.

    A search for a reflex also finds what covers it: "2+ throughout" answers for the left knee unless an
    exception is made there. Each row says whether it is direct or covered; --exact leaves covered ones out.
    """
    from converter import api

    settings = settings_of(config)
    query = query_of(context.params, settings)
    with opened(out) as stream:
        write_found(stream, format_, api.find(archive_path(archive, settings), query))
    return CLEAN


def query_of(asked: Mapping[str, Any], settings: "Settings") -> "FindQuery":
    """The query that the options of the command make.

    Args:
        asked: the command's options by the name of their parameter.
        settings: name the site's own word lists.

    Raises:
        CannotRunError: an option asks for something that does not exist.
    """
    from converter.archive import FindQuery

    _check_names(asked, settings)
    low, high = grades_of(asked["grade"])
    status = asked["status"] or ["current"]
    alternatives: dict[str, Any] = {field: tuple(asked[name] or ()) for field, name in _ALTERNATIVES.items()}
    return FindQuery(
        **alternatives,
        statuses=() if "all" in status else tuple(status),
        scale=asked["scale"],
        grade_from=low,
        grade_to=high,
        date_from=asked["from_"],
        date_to=asked["to"],
        exact=asked["exact"],
        limit=asked["limit"],
    )


def grades_of(written: str | None) -> tuple[float | None, float | None]:
    """The ends of a grade or range of grades, e.g. `3`, `3-4`, `-4 to -2`.

    Raises:
        CannotRunError: it is no grade.
    """
    if written is None:
        return None, None
    found = _GRADE.fullmatch(written.strip())
    if found is None:
        raise CannotRunError(f"--grade {written}: write a grade or a range of grades, as 3 or 3-4")
    low, high = float(found[1]), float(found[2] or found[1])
    return min(low, high), max(low, high)


def write_found(stream: TextIO, format_: Format, rows: Iterable["FoundRow"]) -> None:
    """Write what was found; for people as one table."""
    if format_ is not Format.TEXT:
        from converter.archive import FoundRow

        with records_to(stream, format_, [field.name for field in fields(FoundRow)]) as write:
            for row in rows:
                write(_record(row))
        return
    cells = list(_cells(rows))
    if cells:
        show_table(stream, _SHOWN, cells)
    stream.write(f"{len(cells)} found\n")


def _check_names(asked: Mapping[str, Any], settings: "Settings") -> None:
    """See that what is asked for exists, so that a slip of the pen does not look like an empty answer."""
    from converter.words import load_vocabulary
    from converter.words.anatomy import shipped_knowledge

    vocabulary = load_vocabulary(settings.path(name) for name in settings.vocabulary.files)
    known: dict[str, Collection[str]] = {
        "site": vocabulary.reflexes,
        "scale": vocabulary.scales,
        "descriptor": vocabulary.descriptors,
        "abnormality": shipped_knowledge().codes,
        "side": ("left", "right", "both", "unspecified"),
        "kind": ("stretch", "plantar", "clonus", "superficial", "primitive"),
        "level": ("absent", "low", "normal", "high", "clonus"),
        "response": ("flexor", "extensor", "not_extensor", "equivocal", "withdrawal", "mute", "absent"),
        "status": ("current", "historical", "hypothetical", "not_tested", "family", "all"),
    }
    for name, values in known.items():
        wanted = asked[name] or ()
        for value in [wanted] if isinstance(wanted, str) else wanted:
            if value not in values:
                near = difflib.get_close_matches(value, values, 2)
                shown = f"did you mean {' or '.join(near)}?" if near else f"known are {', '.join(values)}"
                raise CannotRunError(f"--{name} {value}: there is no such {name}; {shown}")


def _record(row: "FoundRow") -> dict[str, Any]:
    return {
        name: plain_number(value) if isinstance(value, float) else value
        for name, value in asdict(row).items()
    }


def _cells(rows: Iterable["FoundRow"]) -> Iterator[tuple[str | None, ...]]:
    for row in rows:
        site = " ".join(part for part in (row.site, row.which, row.root) if part)
        value = row.as_written or row.descriptor or row.response or row.beats or row.reason
        status = [row.status] if row.status != "current" else []
        status += ["uncertain"] if row.certainty == "uncertain" else []
        status += ["scale assumed"] if row.scale_basis == "assumed" else []
        yield (
            row.patient,
            row.authored,
            row.id,
            site,
            row.side,
            row.basis,
            value,
            row.level,
            ", ".join(status),
            shortened(row.quote, 40),
        )
