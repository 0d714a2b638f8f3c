"""`plexor review`: a page on this machine for looking at what was read, and correcting it."""

import getpass
import importlib.util
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from converter.cli.clock import now
from converter.cli.load import archive_path
from converter.cli.options import Config, settings_of
from converter.cli.running import CLEAN, CannotRunError
from converter.cli.troubles import Troubles

if TYPE_CHECKING:
    from converter.api import Session
    from converter.review.sample_places import SamplePlace
    from converter.review_page import Desk

EXAMPLE = """\b
Example:
  plexor review findings.duckdb
  plexor review findings.duckdb --by R-07 --port 8350
  plexor review findings.duckdb --by R-07 --sample sheet.csv"""

_NEEDED = ("starlette", "uvicorn")


def review(
    archive: Annotated[
        Path | None,
        typer.Argument(metavar="ARCHIVE", help="The archive; else the one that plexor.toml names."),
    ] = None,
    by: Annotated[
        str | None,
        typer.Option("--by", metavar="ID", help="Who reviews, as an identifier; else your login name."),
    ] = None,
    port: Annotated[
        int, typer.Option(min=0, max=65535, metavar="N", help="Port of the page; 0 takes any that is free.")
    ] = 0,
    sample: Annotated[
        Path | None,
        typer.Option(
            "--sample", metavar="SHEET", help="Go through a sample that plexor sample drew instead."
        ),
    ] = None,
    config: Config = None,
) -> int:
    """Look at doubtful, contradictory and unread wording on a page, and confirm, correct or reject it.

    The page is for one person on this machine: nobody else can open it. The address that is written holds a
    secret; give it to no one. Each decision is saved at once, with your name and the time. Ctrl C ends it.
    """
    from converter import api

    if any(importlib.util.find_spec(name) is None for name in _NEEDED):
        raise CannotRunError("the review page needs more packages: pip install 'plexor[review]'")
    settings = settings_of(config)
    session = api.open_session(settings, time=now())
    path = archive_path(archive, settings)
    places = None if sample is None else _places(sample)
    return _serve(path, session, by or getpass.getuser(), port, places)


def _places(sheet: Path) -> "tuple[SamplePlace, ...]":
    from converter.model import Diagnostic
    from converter.review.sample_places import sample_places

    places = []
    with Troubles() as troubles:
        for one in sample_places(sheet):
            if isinstance(one, Diagnostic):
                troubles.show(one)
            else:
                places.append(one)
    if not places:
        raise CannotRunError(f"{sheet}: there is no place of a sample in it")
    return tuple(places)


def _serve(
    path: Path, session: "Session", by: str, port: int, sample: "tuple[SamplePlace, ...] | None"
) -> int:
    from converter.archive import open_archive
    from converter.review_page import Review, serve

    if not by.strip() or not by.isprintable():
        raise CannotRunError("--by: give an identifier of letters and numbers")
    open_archive(path, create=False, patience=3).close()  # brings an older archive up to date
    try:
        serve(Review(archive=path, session=session, by=by.strip(), now=now, sample=sample), port, _tell)
    except KeyboardInterrupt:
        typer.echo("Stopped. Every decision is saved in the archive.", err=True)
    return CLEAN


def _tell(address: str, desk: "Desk") -> None:
    progress = desk.progress()
    typer.echo(f"{progress.left} of {progress.total} questions left, as {desk.review.by}", err=True)
    typer.echo("Open this address in a browser on this machine; Ctrl C ends the review.", err=True)
    typer.echo(address)
