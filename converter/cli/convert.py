"""`plexor convert`: notes into FHIR R4 files."""

from collections.abc import Iterable
from dataclasses import replace
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from converter.cli.options import Columns, Config, Encoding, FileName, InputFormat, Inputs, System, job_of
from converter.cli.running import CannotRunError
from converter.cli.tables import counted
from converter.cli.troubles import Troubles
from converter.model import Assessment, Note, Reading

if TYPE_CHECKING:
    from converter.api import Session

EXAMPLE = """\b
Example:
  plexor convert notes.csv --out fhir
  plexor convert notes.csv --out fhir --as ndjson --expand
  plexor check fhir"""


class Form(StrEnum):
    """How the resources are written."""

    BUNDLES = "bundles"
    NDJSON = "ndjson"


def convert(
    inputs: Inputs,
    out: Annotated[Path, typer.Option("--out", metavar="DIR", help="Folder for the files.")],
    form: Annotated[
        Form,
        typer.Option(
            "--as", help="One transaction Bundle a note, or one NDJSON file for each type of resource."
        ),
    ] = Form.BUNDLES,
    expand: Annotated[
        bool, typer.Option("--expand", help="Add an Observation for each reflex and side a region covers.")
    ] = False,
    quotes: Annotated[bool | None, typer.Option(help="Send the words of the note with each finding.")] = None,
    config: Config = None,
    input_format: InputFormat = None,
    columns: Columns = None,
    file_name: FileName = None,
    encoding: Encoding = None,
    system: System = None,
) -> int:
    """Convert notes into FHIR R4. Each Observation is tied to the words it came from.

    Run again into the same folder, what a note no longer says is taken back as entered in error.
    """
    with job_of(inputs, config, input_format, columns, file_name, encoding, system) as job:
        session = _choices(job.session, expand, quotes)
        notes, resources = write_folder(job.assessed(), session, out, form, job.troubles)
    typer.echo(f"{counted(notes, 'note')}, {counted(resources, 'resource')} in {out}")
    return job.troubles.status


def write_folder(
    read: Iterable[tuple[Note, Reading, tuple[Assessment, ...]]],
    session: "Session",
    out: Path,
    form: Form,
    troubles: Troubles,
) -> tuple[int, int]:
    """Write the resources of notes that were read into a folder.

    Returns:
        How many notes were read and how many resources they gave.

    Raises:
        CannotRunError: the folder cannot be used.
    """
    from converter import api
    from converter.fhir import FolderWriter

    notes = resources = 0
    try:
        with FolderWriter(out, session.fhir, "ndjson" if form is Form.NDJSON else "bundle") as writer:
            for note, reading, assessments in read:
                made, doubts = api.convert(note, reading, assessments, session)
                troubles.show_all(doubts, note)
                troubles.show_all(writer.write(made), note)
                notes, resources = notes + 1, resources + len(made)
    except OSError as error:
        raise CannotRunError(
            f"{error.filename or out}: cannot be written ({(error.strerror or str(error)).lower()})"
        ) from error
    except ValueError as error:
        raise CannotRunError(str(error)) from error
    return notes, resources


def _choices(session: "Session", expand: bool, quotes: bool | None) -> "Session":
    fhir = replace(session.fhir, expand=expand, quotes=session.fhir.quotes if quotes is None else quotes)
    return replace(session, fhir=fhir)
