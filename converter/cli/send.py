"""`plexor send`: the archive to a FHIR server."""

import os
import re
import time
from collections.abc import Mapping
from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from converter.cli.added_options import with_options
from converter.cli.clock import new_run, now
from converter.cli.load import ArchiveFile, archive_path
from converter.cli.options import Config, settings_of
from converter.cli.running import INPUT_ERRORS, CannotRunError
from converter.cli.send_options import SEND_OPTIONS, USUAL_ATTEMPTS, USUAL_BATCH, Url
from converter.cli.tables import counted
from converter.cli.troubles import Troubles

if TYPE_CHECKING:
    from converter.sending import SendOptions, Totals
    from converter.settings import Settings
    from converter.upload import Answer, Server

EXAMPLE = """\b
Example:
  plexor send https://fhir.hospital.example/r4 --archive findings.duckdb --dry-run
  plexor send https://fhir.hospital.example/r4 --archive findings.duckdb
  plexor send https://fhir.hospital.example/r4 --report answers.csv"""


@with_options({**SEND_OPTIONS, "config": Config})
def send(url: Url, archive: ArchiveFile = None, **options: Any) -> int:
    """Send the notes of the archive to a FHIR server, as transactions of conditional updates.

    Sending again sends only what is new. What a note no longer says is taken back as entered in error; what
    changed is sent anew. Sending that was stopped goes on where it was: run the same command again.

    A bearer token is taken from the environment variable PLEXOR_SEND_TOKEN.
    """
    settings = settings_of(options.pop("config"))
    path = archive_path(archive, settings)
    with Troubles() as troubles:
        server = _server(url, options["allow_http"])
        folder = options["ledger"] or _beside(path, server.address)
        usual = None if options["dry_run"] else folder / f"report-{now().replace(':', '-')}.jsonl"
        file = options["report"] or usual
        how = _options(folder, options)
        totals = _send(path, server, how, settings, troubles, file)
        _say(totals, how, file)
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


def _options(folder: Path, given: Mapping[str, Any]) -> "SendOptions":
    from converter.sending import SendOptions
    from converter.upload import Patience

    return SendOptions(
        ledger=folder,
        batch_notes=given["batch"] or USUAL_BATCH,
        dry_run=given["dry_run"],
        again=given["again"],
        take_back=given["take_back"],
        checked=given["checked"] is not False,
        patience=Patience(attempts=given["attempts"] or USUAL_ATTEMPTS),
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
