"""`plexor send`: the archive to a FHIR server."""

import os
import re
import time
from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from converter.cli.clock import new_run, now
from converter.cli.load import ArchiveFile, archive_path
from converter.cli.options import Config, settings_of
from converter.cli.running import INPUT_ERRORS, CannotRunError
from converter.cli.tables import counted
from converter.cli.troubles import Troubles

if TYPE_CHECKING:
    from converter.sending import SendOptions, Totals
    from converter.settings import Settings
    from converter.upload import Answer, Server

EXAMPLE = """\b
Example:
  plexor send https://fhir.hospital.example/r4 --archive findings.duckdb --dry-run
  PLEXOR_SEND_TOKEN=... plexor send https://fhir.hospital.example/r4 --archive findings.duckdb
  plexor send https://fhir.hospital.example/r4 --report answers.csv"""


def send(
    url: Annotated[str, typer.Argument(metavar="URL", help="Base address of the server.")],
    archive: ArchiveFile = None,
    ledger: Annotated[
        Path | None,
        typer.Option(
            metavar="FOLDER",
            help="What was sent to this server before; else a folder beside the archive. Keep it.",
        ),
    ] = None,
    report: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE",
            help="What the server said about each resource, as CSV (.csv) or JSON lines; else in the ledger.",
        ),
    ] = None,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Send nothing; count and list what would be sent.")
    ] = False,
    batch: Annotated[int, typer.Option(min=1, metavar="NUMBER", help="Notes in one transaction.")] = 10,
    attempts: Annotated[
        int,
        typer.Option(
            min=1, metavar="NUMBER", help="How often a batch is tried where the server has no time."
        ),
    ] = 6,
    again: Annotated[
        bool,
        typer.Option("--again", help="Also send what the server has accepted before, e.g. if it lost it."),
    ] = False,
    take_back: Annotated[
        bool,
        typer.Option("--take-back", help="Take back what was sent for notes that the archive holds no more."),
    ] = False,
    checked: Annotated[
        bool,
        typer.Option("--check/--no-check", help="Check each resource; a note with a faulty one is not sent."),
    ] = True,
    allow_http: Annotated[
        bool, typer.Option("--allow-http", help="Let the address be plain http to another machine.")
    ] = False,
    config: Config = None,
) -> int:
    """Send the notes of the archive to a FHIR server, as transactions of conditional updates.

    Sending again sends only what is new. What a note no longer says is taken back as entered in error; what
    changed is sent anew. Sending that was stopped goes on where it was: run the same command again.

    A bearer token is taken from the environment variable PLEXOR_SEND_TOKEN.
    """
    settings = settings_of(config)
    path = archive_path(archive, settings)
    with Troubles() as troubles:
        server = _server(url, allow_http)
        folder = ledger or _beside(path, server.address)
        options = _options(folder, batch, attempts, dry_run, again, take_back, checked)
        usual = None if dry_run else folder / f"report-{now().replace(':', '-')}.jsonl"
        file = report or usual
        totals = _send(path, server, options, settings, troubles, file)
        _say(totals, options, file)
        return INPUT_ERRORS if totals.answers["refused"] else troubles.status


def _server(url: str, allow_http: bool) -> "Server":
    from converter.upload import UploadError, check_address, token_from

    try:
        return check_address(url, token_from(os.environ), allow_http)
    except UploadError as error:
        raise CannotRunError(str(error)) from None


def _beside(archive: Path, address: str) -> Path:
    """The usual folder of a ledger: beside the archive, with a name that the address makes."""
    name = re.sub(r"[^A-Za-z0-9.]+", "-", address.partition("://")[2]).strip("-")
    return archive.with_name(f"{archive.name}.sent") / name


def _options(
    folder: Path, batch: int, attempts: int, dry_run: bool, again: bool, take_back: bool, checked: bool
) -> "SendOptions":
    from converter.sending import SendOptions
    from converter.upload import Patience

    return SendOptions(
        ledger=folder,
        batch_notes=batch,
        dry_run=dry_run,
        again=again,
        take_back=take_back,
        checked=checked,
        patience=Patience(attempts=attempts),
        wait=time.sleep,
    )


def _send(
    archive: Path,
    server: "Server",
    options: "SendOptions",
    settings: "Settings",
    troubles: Troubles,
    file: Path | None,
) -> "Totals":
    from converter import sending
    from converter.api import open_session
    from converter.upload import Report, UploadError

    session = open_session(settings, run=new_run(), time=now())
    try:
        with Report(file) if file else nullcontext() as rows:
            answered = rows.add if rows else _nowhere
            return sending.send(archive, server, options, session, troubles.show, answered)
    except UploadError as error:
        raise CannotRunError(str(error)) from None
    except ValueError as error:  # the ledger is damaged
        raise CannotRunError(str(error)) from None
    except KeyboardInterrupt:
        typer.echo("Stopped. What the server took is kept; run the same command again to go on.", err=True)
        raise


def _say(totals: "Totals", options: "SendOptions", file: Path | None) -> None:
    verb = "would be sent" if options.dry_run else "sent"
    typer.echo(
        f"{counted(totals.sent, 'note')} {verb}, {totals.unchanged} unchanged, {totals.refused_here} not sent"
    )
    for fate, number in sorted(totals.answers.items()):
        typer.echo(f"{counted(number, 'resource')} {fate.replace('-', ' ')}")
    if totals.missing:
        done = "taken back" if options.take_back else "left as they are; --take-back takes them back"
        typer.echo(f"{counted(totals.missing, 'note')} sent before and not in the archive any more: {done}")
    if file is not None:
        typer.echo(f"each resource is listed in {file}")


def _nowhere(_: "Answer") -> None:
    """A dry run that names no report lists nothing."""
