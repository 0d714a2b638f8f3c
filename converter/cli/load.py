"""`plexor load`: notes into the archive."""

import sys
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from converter.cli.clock import now
from converter.cli.options import (
    Columns,
    Config,
    Encoding,
    FileName,
    InputFormat,
    Inputs,
    Job,
    System,
    Workers,
    job_of,
)
from converter.cli.output import Format, records_to
from converter.cli.progress import progress_bar
from converter.cli.running import INPUT_ERRORS, CannotRunError

if TYPE_CHECKING:
    from converter.archive import RunTotals
    from converter.settings import Settings

EXAMPLE = """\b
Example:
  plexor load notes.csv --archive findings.duckdb
  plexor load notes.csv --archive findings.duckdb --retry-failed
  plexor find --archive findings.duckdb --site achilles --level absent"""

ArchiveFile = Annotated[
    Path | None,
    typer.Option("--archive", metavar="FILE", help="The archive; else the one that plexor.toml names."),
]


def load(
    inputs: Inputs,
    archive: ArchiveFile = None,
    quotes: Annotated[
        bool | None,
        typer.Option(
            help="Keep the notes' words in the archive, or keep all text out. Settled by the first load."
        ),
    ] = None,
    retry_failed: Annotated[
        bool, typer.Option("--retry-failed", help="Take only the notes that failed in an earlier load.")
    ] = False,
    format_: Annotated[
        Format, typer.Option("--format", help="How the totals are written: text, json, jsonl or csv.")
    ] = Format.TEXT,
    config: Config = None,
    input_format: InputFormat = None,
    columns: Columns = None,
    file_name: FileName = None,
    encoding: Encoding = None,
    system: System = None,
    workers: Workers = None,
) -> int:
    """Load notes into the archive with their findings. Loading the same notes again changes nothing.

    A load that was stopped loses nothing: run it again, and it goes on where it was. A note that changed
    supersedes the earlier one, which is kept as history.
    """
    with job_of(inputs, config, input_format, columns, file_name, encoding, system) as job:
        path = archive_path(archive, job.session.settings)
        kept = job.session.settings.archive.quotes if quotes is None else quotes
        totals = _load(inputs, job, path, workers, kept=kept, only_failed=retry_failed)
    _write(format_, asdict(totals))
    if totals.failed:
        typer.echo("The notes that failed are listed in the view failed_notes (plexor sql).", err=True)
    return INPUT_ERRORS if totals.failed else job.troubles.status


def _load(
    inputs: Inputs, job: Job, path: Path, workers: int | None, *, kept: bool, only_failed: bool
) -> "RunTotals":
    from converter.loading import Loading
    from converter.loading import load as into_archive

    try:
        with progress_bar(inputs, job.options) as progress:
            how = Loading(
                quotes=kept,
                only_failed=only_failed,
                finished=now,
                progress=progress,
                fault=job.troubles.show,
                workers=workers,
                warn=job.troubles.show,
            )
            return into_archive(job.told_items(), path, job.session, how)
    except KeyboardInterrupt:
        typer.echo("Stopped. What was loaded is kept; run the same command again to go on.", err=True)
        raise


def _write(format_: Format, totals: dict[str, int]) -> None:
    if format_ is Format.TEXT:
        for name, number in totals.items():
            typer.echo(f"{name.replace('_', ' '):<18}{number:>8}")
        return
    with records_to(sys.stdout, format_, list(totals)) as write:
        write(totals)


def archive_path(archive: Path | None, settings: "Settings") -> Path:
    """The archive that the command line or the settings name.

    Raises:
        CannotRunError: neither names one.
    """
    if archive is not None:
        return archive
    if settings.archive.file is None:
        raise CannotRunError(
            "no archive is named; give --archive FILE, or set file under [archive] in plexor.toml"
        )
    return settings.path(settings.archive.file)
