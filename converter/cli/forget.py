"""`plexor forget`: a patient or a note out of the archive, and the FHIR retractions for servers."""

from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from converter.cli.amend import ArchiveArgument
from converter.cli.clock import now
from converter.cli.options import Config, settings_of
from converter.cli.output import opened
from converter.cli.running import CLEAN, CannotRunError
from converter.cli.tables import counted

if TYPE_CHECKING:
    from converter.api import Session
    from converter.archive import Whom

EXAMPLE = """\b
Example:
  plexor forget findings.duckdb --patient p-17 --by officer-1 --dry-run
  plexor forget findings.duckdb --patient p-17 --by officer-1 --out retractions.json
  plexor forget findings.duckdb --note n-3 --by officer-1 --as delete --out retractions.json
  plexor forget findings.duckdb --patient p-17 --by officer-1 --may-return"""


class As(StrEnum):
    """How a server is asked to take records back."""

    ENTERED_IN_ERROR = "entered-in-error"
    DELETE = "delete"


_Patient = Annotated[
    str | None, typer.Option("--patient", metavar="ID", help="Forget all notes of this patient.")
]
_Note = Annotated[str | None, typer.Option("--note", metavar="ID", help="Forget this note.")]
_System = Annotated[
    str | None,
    typer.Option("--system", metavar="URI", help="The note's system; of a patient, only its notes."),
]
_By = Annotated[str | None, typer.Option("--by", metavar="PERSON", help="Who asks: an identifier, no name.")]
_Retractions = Annotated[
    Path | None,
    typer.Option("--out", metavar="FILE", help="Where the FHIR retractions go: a transaction bundle."),
]
_As = Annotated[As, typer.Option("--as", help="What a server is told: entered-in-error, or to delete.")]
_Wanted = Annotated[bool, typer.Option(help="Write retractions; leave them out where nothing was ever sent.")]
_MayReturn = Annotated[
    bool,
    typer.Option("--may-return", help="Keep no digest, so that the same source may bring it back."),
]
_LiftOption = Annotated[
    bool, typer.Option("--lift", help="Forget nothing; let what was forgotten come in again.")
]
_DryRun = Annotated[bool, typer.Option("--dry-run", help="Say how much it is, and change nothing.")]


def forget(
    archive: ArchiveArgument,
    patient: _Patient = None,
    note: _Note = None,
    system: _System = None,
    by: _By = None,
    out: _Retractions = None,
    as_: _As = As.ENTERED_IN_ERROR,
    retractions: _Wanted = True,
    may_return: _MayReturn = False,
    lift: _LiftOption = False,
    dry_run: _DryRun = False,
    config: Config = None,
) -> int:
    """Forget a patient or a note. Nothing of them is left in the archive's file.

    Text, findings, amendments, abnormalities and remarks go; a count stays, and the totals of runs stay
    right. A salted digest keeps the same source from bringing it back; loads count such notes as kept out.
    Backups, exports, folders of FHIR files and the source itself are for their keepers.
    """
    from converter.api import open_session

    if (patient is None) == (note is None):
        raise CannotRunError("forget: give --patient ID or --note ID")
    if not by:
        raise CannotRunError("forget: say who asks for it with --by PERSON")
    session = open_session(settings_of(config), time=now())
    if lift:
        return _lift(archive, patient, note)
    whom = _whom(archive, patient, note, system)
    if dry_run:
        return _count(archive, whom)
    if retractions and out is None:
        raise CannotRunError("forget: say where the retractions go with --out FILE, or give --no-retractions")
    if out is not None:
        _write(archive, whom, session, as_, out)
    return _forget(archive, whom, by, session, guard=not may_return)


def _whom(archive: Path, patient: str | None, note: str | None, system: str | None) -> "Whom":
    """Whom to forget; an archive of an older form is brought up to date on the way."""
    from converter.archive import NoteKey, Whom, note_keys, notes_of_patient, open_archive

    with open_archive(archive, create=False) as opened:
        if note is None and not notes_of_patient(opened, patient or "", system):
            raise CannotRunError("There is no note of this patient in the archive.")
        keys = note_keys(opened, note, system) if note is not None else []
    if note is None:
        return Whom(patient=patient, system=system)
    if len(keys) > 1:
        raise CannotRunError(f"--note {note}: several notes are called so; give --system URI too")
    return Whom(note=keys[0] if keys else NoteKey(system, note))


def _write(archive: Path, whom: "Whom", session: "Session", as_: As, out: Path) -> None:
    from converter.fhir.json_text import indented_json_text
    from converter.forgetting import retraction_bundle

    bundle = retraction_bundle(archive, whom, session, as_.value)
    with opened(out) as stream:
        stream.write(indented_json_text(bundle))
    typer.echo(f"{counted(len(bundle.get('entry', ())), 'retraction')} in {out}")


def _forget(archive: Path, whom: "Whom", by: str, session: "Session", *, guard: bool) -> int:
    import secrets

    from converter.forgetting import forget as forgotten

    done = forgotten(archive, whom, by, session, secrets.token_hex(16), guard=guard)
    typer.echo(
        f"forgotten: {counted(done.notes, 'version')} of notes, {counted(done.findings, 'finding')},"
        f" {counted(done.remarks, 'remark')} of runs"
    )
    return CLEAN


def _count(archive: Path, whom: "Whom") -> int:
    from converter.archive import notes_of_patient, open_archive, stored_readings

    with open_archive(archive, create=False) as opened:
        keys = [whom.note] if whom.note else notes_of_patient(opened, whom.patient or "", whom.system)
        held = [reading for _, reading, _ in stored_readings(opened, keys)]
    findings = sum(len(reading.findings) for reading in held)
    typer.echo(f"{counted(len(keys), 'note')} with {counted(findings, 'finding')} would be forgotten")
    return CLEAN


def _lift(archive: Path, patient: str | None, note: str | None) -> int:
    from converter.archive import NoteKey, Whom
    from converter.forgetting import lift

    whom = Whom(patient=patient, note=None if note is None else NoteKey(None, note))
    number = lift(archive, whom)
    typer.echo("it may come in again" if number else "nothing of the kind was forgotten here")
    return CLEAN
