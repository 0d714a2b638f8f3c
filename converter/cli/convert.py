"""`plexor convert`: notes into FHIR files."""

from collections.abc import Iterable
from dataclasses import replace
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from converter.cli.datasets import DataSet, DatePart, PartOption, convert_dataset
from converter.cli.options import (
    Columns,
    Config,
    Encoding,
    Engine,
    EngineName,
    FileName,
    InputFormat,
    Inputs,
    Master,
    System,
    Workers,
    job_of,
    machines_of,
)
from converter.cli.running import CannotRunError
from converter.cli.tables import counted
from converter.cli.troubles import Troubles
from converter.model import Note

if TYPE_CHECKING:
    from converter.api import Session
    from converter.fhir import FolderWriter
    from converter.works import Converted, ToResources

EXAMPLE = """\b
Example:
  plexor convert notes.csv --out fhir
  plexor convert notes.csv --out fhir --as ndjson --expand
  plexor check fhir"""


class Release(StrEnum):
    """The FHIR release of the output."""

    R4 = "R4"
    R5 = "R5"


class Form(StrEnum):
    """How the resources are written."""

    BUNDLES = "bundles"
    NDJSON = "ndjson"
    XML = "xml"
    PARQUET = "parquet"


_FORMS: dict[Form, Literal["bundle", "ndjson", "xml"]] = {
    Form.BUNDLES: "bundle",
    Form.NDJSON: "ndjson",
    Form.XML: "xml",
}


FormOption = Annotated[
    Form,
    typer.Option(
        "--as",
        help="One transaction Bundle a note, in JSON or XML, or one NDJSON file a type of resource. parquet, "
        "on a cluster alone, converts a data set in Parquet into one of resources, and one of what became of "
        "the notes, in the folder --out.",
    ),
]
Checked = Annotated[
    bool,
    typer.Option("--check/--no-check", help="Check each resource; a note with a faulty one is not written."),
]


def convert(
    inputs: Inputs,
    out: Annotated[str, typer.Option("--out", metavar="DIR", help="Folder for the files.")],
    form: FormOption = Form.BUNDLES,
    expand: Annotated[
        bool, typer.Option("--expand", help="Add an Observation for each reflex and side a region covers.")
    ] = False,
    quotes: Annotated[bool | None, typer.Option(help="Send the words of the note with each finding.")] = None,
    checked: Checked = True,
    release: Annotated[
        Release | None,
        typer.Option(help="FHIR release; else the one of the settings, R4. R5 claims none of our profiles."),
    ] = None,
    config: Config = None,
    input_format: InputFormat = None,
    columns: Columns = None,
    file_name: FileName = None,
    encoding: Encoding = None,
    system: System = None,
    workers: Workers = None,
    engine: Engine = EngineName.LOCAL,
    master: Master = None,
    part: PartOption = DatePart.MONTH,
) -> int:
    """Convert notes into FHIR R4 or R5. Each Observation is tied to the words it came from.

    Run again into the same folder, what a note no longer says is taken back as entered in error.
    """
    machines = machines_of(engine, master, workers)
    if form is Form.PARQUET:
        others = bool(file_name or encoding) or input_format not in (None, "parquet")
        given = DataSet("--as parquet", inputs, out, part, machines, config, columns, system, others)
        return convert_dataset(given, lambda one: _choices(one, expand, quotes, release), checked)
    with job_of(inputs, config, input_format, columns, file_name, encoding, system, machines) as job:
        session = _choices(job.session, expand, quotes, release)
        done = job.done(_work(session, checked))
        notes, resources = write_folder(done, session, Path(out), form, job.troubles)
    typer.echo(f"{counted(notes, 'note')}, {counted(resources, 'resource')} in {out}")
    return job.troubles.status


def _work(session: "Session", checked: bool) -> "ToResources":
    from converter.api import definitions_of
    from converter.works import ToResources

    return ToResources(session, definitions_of(session) if checked else None)


def write_folder(
    converted: Iterable[tuple[Note, "Converted"]],
    session: "Session",
    out: Path,
    form: Form,
    troubles: Troubles,
) -> tuple[int, int]:
    """Write the resources of notes into a folder; a note with a faulty one is told of, and not written.

    Args:
        converted: notes with their resources.
        session: how notes are converted.
        out: the folder.
        form: bundles or NDJSON.
        troubles: where what was wrong is told.

    Returns:
        How many notes were written and how many resources they gave.

    Raises:
        CannotRunError: the folder cannot be used.
    """
    from converter.fhir import FolderWriter

    try:
        with FolderWriter(out, session.fhir, _FORMS[form]) as writer:
            return _write_notes(converted, writer, troubles)
    except OSError as error:
        raise CannotRunError(
            f"{error.filename or out}: cannot be written ({(error.strerror or str(error)).lower()})"
        ) from error
    except ValueError as error:
        raise CannotRunError(str(error)) from error


def _write_notes(
    converted: Iterable[tuple[Note, "Converted"]], writer: "FolderWriter", troubles: Troubles
) -> tuple[int, int]:
    notes = resources = 0
    for note, one in converted:
        troubles.show_all(one.told(note), note)
        if one.refused:
            continue
        troubles.show_all(writer.write(one.resources), note)
        notes, resources = notes + 1, resources + len(one.resources)
    return notes, resources


def _choices(session: "Session", expand: bool, quotes: bool | None, release: Release | None) -> "Session":
    fhir = replace(
        session.fhir,
        expand=expand,
        quotes=session.fhir.quotes if quotes is None else quotes,
        release=session.fhir.release if release is None else release.value,
    )
    return replace(session, fhir=fhir)
