"""`plexor export`: notes of the archive with their findings, for research and for other systems."""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from converter.cli.added_options import with_options
from converter.cli.clock import new_run, now
from converter.cli.export_options import (
    FILTERS,
    TARGET_OPTIONS,
    Deidentify,
    ExportArchive,
    Folder,
    Force,
    Target,
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
  plexor export findings.duckdb --to fhir --out ankles --site achilles --level absent --from 2031
  plexor export findings.duckdb --to tables --out tables
  plexor export findings.duckdb --to omop --out omop --persons persons.csv --keys keys.sqlite
  plexor export findings.duckdb --to phenopackets --out packets
  plexor export findings.duckdb --to phenopackets --deidentify study.key --out study"""

_WORDS = {"from_": "from", "to": "until", "note_kind": "note-kind"}


@with_options({**FILTERS, **TARGET_OPTIONS, "config": Config})
def export(
    archive: ExportArchive,
    target: Target,
    out: Folder,
    force: Force = False,
    deidentify: Deidentify = None,
    **options: Any,
) -> int:
    """Export notes of the archive with their findings to a folder, with a manifest of counts and checksums.

    The options of `find` choose notes: a note is in where it, or at least one finding in it, matches all of
    them. All findings of a chosen note are exported, also those that do not match.

    The folder is there once all is written. An export that was stopped goes on where it was: run the same
    command again.
    """
    settings = settings_of(options.pop("config"))
    chosen = _chosen(options, settings)
    choices = {name: options[name] for name in TARGET_OPTIONS if _given(options[name])}
    with Troubles() as troubles:
        asked = _Asked(archive, target, out, force, deidentify)
        manifest = _export(asked, chosen, choices, settings, troubles)
        _say(manifest, out)
        return troubles.status


@dataclass(frozen=True, slots=True)
class _Asked:
    """What is exported from where, to what, into which folder, and by which key it is de-identified."""

    archive: Path
    target: str
    out: Path
    force: bool
    key: Path | None


def _export(
    asked: _Asked, chosen: "Chosen", choices: dict[str, Any], settings: "Settings", troubles: Troubles
) -> "Manifest":
    from converter import exporting
    from converter.api import open_session
    from converter.exports import ExportError

    session = open_session(settings, run=new_run(), time=now())
    try:
        make = exporting.target_of(asked.target, choices, session, deidentify=asked.key is not None)
        by = None if asked.key is None else exporting.deidentifier(asked.key, session)
        return exporting.export(
            asked.archive, asked.out, chosen, make, session, asked.force, troubles.show, by
        )
    except ExportError as error:
        raise CannotRunError(str(error)) from error
    except KeyboardInterrupt:
        typer.echo("Stopped. What was written is kept; run the same command again to go on.", err=True)
        raise


def _chosen(options: dict[str, Any], settings: "Settings") -> "Chosen":
    from converter.exporting import Chosen

    given = {name: options[name] for name in FILTERS if _given(options[name]) and options[name] is not False}
    return Chosen(
        query=query_of(options, settings),
        by_findings="status" in given,
        filters={_WORDS.get(name, name): value for name, value in given.items()},
    )


def _given(value: Any) -> bool:
    return value is not None and value not in ((), [])


def _say(manifest: "Manifest", out: Path) -> None:
    if manifest.resumed_after:
        typer.echo(f"Went on after {counted(manifest.resumed_after, 'note')} of an earlier run.", err=True)
    for reason, number in manifest.left_out.items():
        typer.echo(f"{counted(number, 'note')} left out ({reason}); see left-out.csv", err=True)
    database = manifest.more.get("database")
    if database:
        put, taken = (sum(database[name].values()) for name in ("rows_put_in", "rows_taken_out"))
        typer.echo(f"{counted(put, 'row')} put into PostgreSQL, {taken} of an earlier export taken out")
    files = counted(len(manifest.files), "file")
    findings = counted(manifest.findings, "finding")
    typer.echo(f"{counted(manifest.written, 'note')} with {findings}, {files} in {out}")
