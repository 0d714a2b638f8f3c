"""`plexor convert`: notes into FHIR files."""

from collections.abc import Iterable
from dataclasses import replace
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from converter.cli.options import Columns, Config, Encoding, FileName, InputFormat, Inputs, System, job_of
from converter.cli.running import CannotRunError
from converter.cli.tables import counted
from converter.cli.troubles import Troubles, is_error
from converter.model import Assessment, Diagnostic, Note, Reading, Severity

if TYPE_CHECKING:
    from converter.api import Session
    from converter.fhir import FolderWriter

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


_FORMS: dict[Form, Literal["bundle", "ndjson", "xml"]] = {
    Form.BUNDLES: "bundle",
    Form.NDJSON: "ndjson",
    Form.XML: "xml",
}


def convert(
    inputs: Inputs,
    out: Annotated[Path, typer.Option("--out", metavar="DIR", help="Folder for the files.")],
    form: Annotated[
        Form,
        typer.Option(
            "--as",
            help="One transaction Bundle a note, in JSON or XML, or one NDJSON file a type of resource.",
        ),
    ] = Form.BUNDLES,
    expand: Annotated[
        bool, typer.Option("--expand", help="Add an Observation for each reflex and side a region covers.")
    ] = False,
    quotes: Annotated[bool | None, typer.Option(help="Send the words of the note with each finding.")] = None,
    checked: Annotated[
        bool,
        typer.Option(
            "--check/--no-check", help="Check each resource; a note with a faulty one is not written."
        ),
    ] = True,
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
) -> int:
    """Convert notes into FHIR R4 or R5. Each Observation is tied to the words it came from.

    Run again into the same folder, what a note no longer says is taken back as entered in error.
    """
    with job_of(inputs, config, input_format, columns, file_name, encoding, system) as job:
        session = _choices(job.session, expand, quotes, release)
        notes, resources = write_folder(job.assessed(), session, out, form, job.troubles, checked)
    typer.echo(f"{counted(notes, 'note')}, {counted(resources, 'resource')} in {out}")
    return job.troubles.status


def write_folder(
    read: Iterable[tuple[Note, Reading, tuple[Assessment, ...]]],
    session: "Session",
    out: Path,
    form: Form,
    troubles: Troubles,
    checked: bool = False,
) -> tuple[int, int]:
    """Write the resources of notes that were read into a folder.

    Args:
        read: notes with their readings and assessments.
        session: how notes are converted.
        out: the folder.
        form: bundles or NDJSON.
        troubles: where what was wrong is told.
        checked: check each resource; a note with a faulty one is told of, and nothing of it is written.

    Returns:
        How many notes were written and how many resources they gave.

    Raises:
        CannotRunError: the folder cannot be used.
    """
    from converter.fhir import FolderWriter

    try:
        with FolderWriter(out, session.fhir, _FORMS[form]) as writer:
            return _write_notes(read, session, writer, troubles, checked)
    except OSError as error:
        raise CannotRunError(
            f"{error.filename or out}: cannot be written ({(error.strerror or str(error)).lower()})"
        ) from error
    except ValueError as error:
        raise CannotRunError(str(error)) from error


def _write_notes(
    read: Iterable[tuple[Note, Reading, tuple[Assessment, ...]]],
    session: "Session",
    writer: "FolderWriter",
    troubles: Troubles,
    checked: bool,
) -> tuple[int, int]:
    from converter import api

    checker = api.open_checker(session)[0] if checked else None
    notes = resources = 0
    for note, reading, assessments in read:
        made, doubts = api.convert(note, reading, assessments, session)
        troubles.show_all(doubts, note)
        found = [fault for one in made for fault in checker.check(one)] if checker is not None else []
        faults = [fault for fault in found if is_error(fault)]
        troubles.show_all(faults, note)
        if faults:
            troubles.show(_not_written(note), note)
            continue
        troubles.show_all(writer.write(made), note)
        notes, resources = notes + 1, resources + len(made)
    return notes, resources


def _not_written(note: Note) -> Diagnostic:
    return Diagnostic(
        code="not-written",
        severity=Severity.WARNING,
        message="Nothing of this note was written, since a resource made from it is faulty.",
        source=note.source,
        line=note.line,
    )


def _choices(session: "Session", expand: bool, quotes: bool | None, release: Release | None) -> "Session":
    fhir = replace(
        session.fhir,
        expand=expand,
        quotes=session.fhir.quotes if quotes is None else quotes,
        release=session.fhir.release if release is None else release.value,
    )
    return replace(session, fhir=fhir)
