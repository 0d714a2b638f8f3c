"""`plexor amend`: what people said of findings, into the archive; listed, and taken back."""

from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, TextIO

import typer

from converter.cli.clock import now
from converter.cli.options import Config, Out, settings_of
from converter.cli.output import Format, opened, records_to
from converter.cli.running import CLEAN, CannotRunError
from converter.cli.tables import counted, show_table
from converter.cli.troubles import Troubles

if TYPE_CHECKING:
    from collections.abc import Iterator

    from converter.api import Session
    from converter.archive import Archive

EXAMPLE = """\b
The sheet is a CSV file with one row a finding or place; other columns are passed by:
  id, system, note_hash   the note; system only where ids are not unique by themselves
  place                   its characters, as in 0..2 3..5; or words, copied from the note
  finding                 the finding's identifier, where several share one place
  verdict                 confirmed, corrected, rejected, added or no_finding; empty is not judged
  site, side, value, status, scale   what is right: KJ, left, 2+ (as a note writes it), current, bedside
  by, at, remark          who judged, when (2031-03-02T08:00:00Z), and a word of their own

\b
Example:
  plexor sample findings.duckdb --size 100 --out sheet.csv
  plexor amend findings.duckdb sheet.csv --by reviewer-1
  plexor amend findings.duckdb --list
  plexor amend findings.duckdb --undo 12 --by reviewer-1"""

_PATIENCE = 5.0  # seconds to wait for another program
_COLUMNS = (
    "amendment", "state", "verdict", "system", "id", "made_on", "site", "side", "value", "judged_by",
    "judged_at", "remark", "undone_by", "undone_at",
)  # fmt: skip

ArchiveArgument = Annotated[Path, typer.Argument(metavar="ARCHIVE", help="The archive file.")]
By = Annotated[str | None, typer.Option("--by", metavar="PERSON", help="Who judges: an identifier, no name.")]


def amend(
    archive: ArchiveArgument,
    sheet: Annotated[
        Path | None, typer.Argument(metavar="SHEET", help="The judged rows, as CSV; see below.")
    ] = None,
    by: By = None,
    list_: Annotated[bool, typer.Option("--list", help="List every amendment with its state.")] = False,
    undo: Annotated[
        int | None, typer.Option("--undo", metavar="N", help="Take amendment N back; it stays on record.")
    ] = None,
    format_: Annotated[
        Format, typer.Option("--format", help="With --list: text, json, jsonl or csv.")
    ] = Format.TEXT,
    out: Out = None,
    config: Config = None,
) -> int:
    """Amend findings in the archive. Confirm, correct, reject or add them by a judged sheet.

    An amendment holds for one text of one note. It survives a new reading of the note wherever its words are
    still read there; where not, it is listed as not_applied. What a person judged goes out as final.
    """
    if (sheet is not None) + list_ + (undo is not None) != 1:
        raise CannotRunError("amend: give a SHEET, or --list, or --undo N")
    if list_:
        with opened(out) as stream:
            _list(stream, format_, archive)
        return CLEAN
    with writing(archive, config) as (store, session):
        if undo is not None:
            return _undo(store, undo, by, session)
        return _apply(store, sheet or Path(), by, session)


@contextmanager
def writing(archive: Path, config: Path | None) -> "Iterator[tuple[Archive, Session]]":
    """An archive that is there, open for writing, with a session of now."""
    from converter.api import open_session
    from converter.archive import open_archive

    session = open_session(settings_of(config), time=now())
    with open_archive(archive, create=False, patience=_PATIENCE) as store:
        yield store, session


def _apply(archive: "Archive", sheet: Path, by: str | None, session: "Session") -> int:
    from converter.amending import amend_sheet
    from converter.model import Diagnostic

    if not sheet.is_file():
        raise CannotRunError(f"{sheet}: there is no such file")
    counts = {"made": 0, "known": 0, "not_judged": 0}
    with Troubles() as troubles:
        for done in amend_sheet(archive, sheet, by, session):
            if isinstance(done, Diagnostic):
                troubles.show(done)
            else:
                counts[done.state] += 1
        typer.echo(
            f"{counted(counts['made'], 'amendment')} made, {counts['known']} known before,"
            f" {counted(counts['not_judged'], 'row')} not judged, {troubles.errors} left out"
        )
        return troubles.status


def _undo(archive: "Archive", number: int, by: str | None, session: "Session") -> int:
    from converter.amending import undo

    if not by:
        raise CannotRunError("--undo N: say who takes it back with --by PERSON")
    undo(archive, number, by, session)
    typer.echo(f"amendment {number} is undone")
    return CLEAN


def _list(stream: TextIO, format_: Format, archive: Path) -> None:
    from converter.archive import open_archive, sql

    columns = "amendment, state, verdict, system, id, made_on, record, judged_by, judged_at, remark"
    with open_archive(archive, read_only=True, patience=_PATIENCE) as store:
        found = sql(store, f"SELECT {columns}, undone_by, undone_at FROM amendment_log ORDER BY amendment")  # noqa: S608
        rows = [_record(dict(zip(found.columns, row, strict=True))) for row in found.rows]
    if format_ is not Format.TEXT:
        with records_to(stream, format_, _COLUMNS) as write:
            for row in rows:
                write(row)
        return
    if rows:
        shown = ("amendment", "state", "verdict", "id", "site", "side", "value", "judged_by", "judged_at")
        show_table(stream, shown, [[row[name] for name in shown] for row in rows])
    stream.write(f"{counted(len(rows), 'amendment')}\n")


def _record(row: dict[str, Any]) -> dict[str, Any]:
    import json

    finding = json.loads(row.pop("record") or "{}")
    value = next(
        (finding[name] for name in ("as_written", "descriptor", "response", "beats") if finding.get(name)),
        finding.get("grade_low"),
    )
    said = {"site": finding.get("site"), "side": finding.get("side"), "value": value}
    whole = row | said
    return {name: whole[name] for name in _COLUMNS}
