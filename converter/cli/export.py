"""`plexor export`: notes of the archive with their findings, for research and for other systems."""

from typing import TYPE_CHECKING, Any

import typer

from converter.cli.clock import new_run, now
from converter.cli.export_options import (
    BundleNotes,
    Expand,
    ExportArchive,
    FhirForm,
    Folder,
    Force,
    Gzip,
    NotesAtMost,
    Quotes,
    Release,
    Syntax,
    Target,
    Until,
)
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
    NoteId,
    NoteKind,
    Patient,
    Patterns,
    Response,
    Scale,
    Side,
    Site,
    Status,
)
from converter.cli.find_query import query_of
from converter.cli.options import Config, settings_of
from converter.cli.running import CannotRunError
from converter.cli.tables import counted
from converter.cli.troubles import Troubles

if TYPE_CHECKING:
    from converter.exporting import Chosen
    from converter.exports import Manifest
    from converter.settings import Settings

EXAMPLE = """\b
Example:
  plexor export findings.duckdb --to fhir --out fhir
  plexor export findings.duckdb --to fhir --as bundles --syntax xml --gzip --out bundles
  plexor export findings.duckdb --to fhir --out ankles --site achilles --level absent --from 2031"""

FILTERS = (
    "patient", "note", "site", "side", "kind", "scale", "grade", "level", "descriptor", "response", "status",
    "author", "facility", "note_kind", "from_", "to", "abnormality", "pattern", "exact", "limit",
)  # fmt: skip
"""Parameters that choose the notes."""
_WORDS = {"to": "until"}
_OF_ALL = frozenset({"archive", "target", "out", "force", "config"})


def export(
    context: typer.Context,
    archive: ExportArchive,
    target: Target,
    out: Folder,
    force: Force = False,
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
    to: Until = None,
    abnormality: Abnormality = None,
    pattern: Patterns = None,
    exact: Exact = False,
    limit: NotesAtMost = None,
    form: FhirForm = None,
    syntax: Syntax = None,
    gzip: Gzip = None,
    bundle_notes: BundleNotes = None,
    release: Release = None,
    expand: Expand = None,
    quotes: Quotes = None,
    config: Config = None,
) -> int:
    """Export notes of the archive with their findings to a folder, with a manifest of counts and checksums.

    The options of `find` choose notes: a note is in where it, or at least one finding in it, matches all of
    them. All findings of a chosen note are exported, also those that do not match.

    The folder is there once all is written. An export that was stopped goes on where it was: run the same
    command again.
    """
    with Troubles() as troubles:
        manifest = _export(context.params, settings_of(config), troubles)
        _say(manifest, context.params)
        return troubles.status


def _export(asked: dict[str, Any], settings: "Settings", troubles: Troubles) -> "Manifest":
    from converter import exporting
    from converter.api import open_session
    from converter.exports import ExportError

    session = open_session(settings, run=new_run(), time=now())
    own = [name for name in asked if name not in _OF_ALL and name not in FILTERS]
    choices = {name: asked[name] for name in own if _given(asked[name])}
    try:
        make = exporting.target_of(asked["target"], choices, session)
        chosen = _chosen(asked, settings)
        return exporting.export(
            asked["archive"], asked["out"], chosen, make, session, asked["force"], troubles.show
        )
    except ExportError as error:
        raise CannotRunError(str(error)) from error
    except KeyboardInterrupt:
        typer.echo("Stopped. What was written is kept; run the same command again to go on.", err=True)
        raise


def _chosen(asked: dict[str, Any], settings: "Settings") -> "Chosen":
    from converter.exporting import Chosen

    filters = {
        _WORDS.get(name, name.strip("_").replace("_", "-")): asked[name]
        for name in FILTERS
        if _given(asked[name])
    }
    filters = {name: value for name, value in filters.items() if value is not False}
    return Chosen(query=query_of(asked, settings), by_findings=bool(asked["status"]), filters=filters)


def _given(value: Any) -> bool:
    return value is not None and value not in ((), [])


def _say(manifest: "Manifest", asked: dict[str, Any]) -> None:
    if manifest.resumed_after:
        typer.echo(f"Went on after {counted(manifest.resumed_after, 'note')} of an earlier run.", err=True)
    for reason, number in manifest.left_out.items():
        typer.echo(f"{counted(number, 'note')} left out ({reason}); see left-out.csv", err=True)
    files = counted(len(manifest.files), "file")
    findings = counted(manifest.findings, "finding")
    typer.echo(f"{counted(manifest.written, 'note')} with {findings}, {files} in {asked['out']}")
