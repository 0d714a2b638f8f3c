"""`plexor relink`: merged patients, followed in the archive."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from converter.cli.amend import ArchiveArgument, writing
from converter.cli.options import Config
from converter.cli.running import CLEAN, CannotRunError
from converter.cli.tables import counted
from converter.cli.troubles import Troubles

if TYPE_CHECKING:
    from converter.archive import Archive

EXAMPLE = """\b
The list is a CSV file with the columns from, to and, where patients are numbered apart, system:
  from,to,system
  p-17,p-4,https://hospital.example/notes

\b
Example:
  plexor relink findings.duckdb --from p-17 --to p-4 --by registrar-2
  plexor relink findings.duckdb merged.csv --by registrar-2"""


def relink(
    archive: ArchiveArgument,
    merged: Annotated[
        Path | None, typer.Argument(metavar="LIST", help="Merged patients as CSV: from, to, system.")
    ] = None,
    from_: Annotated[
        str | None, typer.Option("--from", metavar="ID", help="The identifier that was merged.")
    ] = None,
    to: Annotated[str | None, typer.Option("--to", metavar="ID", help="The identifier that stands.")] = None,
    system: Annotated[
        str | None, typer.Option("--system", metavar="URI", help="Only notes of this system.")
    ] = None,
    by: Annotated[
        str | None, typer.Option("--by", metavar="PERSON", help="Who says so: an identifier, no name.")
    ] = None,
    config: Config = None,
) -> int:
    """Follow merged patients. Notes under the old identifier move to the one that stands.

    Notes that come later under the old identifier follow. What the source called the patient is kept beside
    each note, and each merging is kept as a row. Send the notes again to tell a FHIR server.
    """
    pair = from_ is not None and to is not None
    if (merged is not None) == pair or (merged is not None and (from_ or to or system)):
        raise CannotRunError("relink: give a LIST, or --from ID and --to ID")
    if not by:
        raise CannotRunError("relink: say who merged them with --by PERSON")
    if merged is not None and not merged.is_file():
        raise CannotRunError(f"{merged}: there is no such file")
    with writing(archive, config) as (store, session):
        if merged is not None:
            return _follow(store, merged, by, session.time or "")
        from converter.archive import Link
        from converter.archive import relink as follow

        (moved,) = follow(store, [Link(from_ or "", to or "", system)], by, session.time or "")
    typer.echo(f"{counted(moved, 'note')} moved")
    return CLEAN


def _follow(archive: "Archive", merged: Path, by: str, at: str) -> int:
    from converter.model import Diagnostic
    from converter.relinking import relink_list

    links = notes = 0
    with Troubles() as troubles:
        for done in relink_list(archive, merged, by, at):
            if isinstance(done, Diagnostic):
                troubles.show(done)
            else:
                links, notes = links + 1, notes + done.notes
        left_out = counted(troubles.errors, "row")
        typer.echo(f"{counted(links, 'link')} followed, {counted(notes, 'note')} moved, {left_out} left out")
        return troubles.status
