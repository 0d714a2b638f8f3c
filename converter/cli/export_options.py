"""The options of `plexor export`: those of every target, then those of one target each."""

from pathlib import Path
from typing import Annotated

import typer

ExportArchive = Annotated[Path, typer.Argument(metavar="ARCHIVE", help="The archive.")]
Target = Annotated[str, typer.Option("--to", metavar="TARGET", help="What to export to: fhir.")]
Folder = Annotated[
    Path, typer.Option("--out", metavar="FOLDER", help="The folder; it is there once all is written.")
]
Until = Annotated[str | None, typer.Option("--until", metavar="DATE", help="Last date.")]
Force = Annotated[bool, typer.Option("--force", help="Replace an earlier export.")]
NotesAtMost = Annotated[int | None, typer.Option("--limit", min=0, metavar="NUMBER", help="Notes at most.")]

# fhir
FhirForm = Annotated[
    str | None,
    typer.Option(
        "--as",
        metavar="FORM",
        help="fhir: ndjson, one file for each type of resource (usual), or bundles, transactions to send.",
    ),
]
Syntax = Annotated[str | None, typer.Option(metavar="SYNTAX", help="fhir: json (usual), or xml for bundles.")]
Gzip = Annotated[bool | None, typer.Option("--gzip", help="fhir: compress each file with gzip.")]
BundleNotes = Annotated[
    int | None, typer.Option(min=1, metavar="NUMBER", help="fhir: notes in one bundle; 20 unless said.")
]
Release = Annotated[str | None, typer.Option(metavar="RELEASE", help="fhir: R4 (usual) or R5.")]
Expand = Annotated[
    bool | None,
    typer.Option("--expand", help="fhir: add an Observation for each reflex and side a region covers."),
]
Quotes = Annotated[
    bool | None, typer.Option("--quotes/--no-quotes", help="fhir: send the words of the note, or not.")
]
