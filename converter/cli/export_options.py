"""The options of `plexor export`: those of every target, then those of one target each."""

from pathlib import Path
from typing import Annotated

import typer

from converter.cli import find_options
from converter.cli.added_options import Options

ExportArchive = Annotated[Path, typer.Argument(metavar="ARCHIVE", help="The archive.")]
Target = Annotated[
    str, typer.Option("--to", metavar="TARGET", help="What to export to: fhir, phenopackets, tables, omop.")
]
Folder = Annotated[
    Path, typer.Option("--out", metavar="FOLDER", help="The folder; it is there once all is written.")
]
Force = Annotated[bool, typer.Option("--force", help="Replace an earlier export.")]
Until = Annotated[str | None, typer.Option("--until", metavar="DATE", help="Last date.")]
NotesAtMost = Annotated[int | None, typer.Option("--limit", min=0, metavar="NUMBER", help="Notes at most.")]
Deidentify = Annotated[
    Path | None,
    typer.Option(
        "--deidentify",
        metavar="KEY",
        help="De-identify: pseudonyms by the key in this file, dates moved, no words of the notes.",
    ),
]

FILTERS: Options = {
    "patient": find_options.Patient,
    "note": find_options.NoteId,
    "site": find_options.Site,
    "side": find_options.Side,
    "kind": find_options.Kind,
    "scale": find_options.Scale,
    "grade": find_options.Grade,
    "level": find_options.Level,
    "descriptor": find_options.Descriptor,
    "response": find_options.Response,
    "status": find_options.Status,
    "author": find_options.Author,
    "facility": find_options.Facility,
    "note_kind": find_options.NoteKind,
    "from_": find_options.From,
    "to": Until,
    "abnormality": find_options.Abnormality,
    "pattern": find_options.Patterns,
    "exact": find_options.Exact,
    "limit": NotesAtMost,
}
"""What chooses the notes, as in `find`. Since `--to` names the target here, the last date is `--until`."""

# fhir
FhirForm = Annotated[
    str | None,
    typer.Option(
        "--as",
        metavar="FORM",
        help="fhir: ndjson, one file for each type of resource (usual), or bundles, transactions to send. "
        "phenopackets: ndjson, one packet a line (usual), or files.",
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
    typer.Option(
        "--expand",
        help="fhir: add an Observation for each reflex and side a region covers. phenopackets: count a "
        "reflex that only a region names, as in 2+ throughout, as tested.",
    ),
]
Quotes = Annotated[
    bool | None,
    typer.Option("--quotes/--no-quotes", help="fhir, tables, omop: give the words of the note, or not."),
]

# omop
_FILE = "FILE"
Concepts = Annotated[
    Path | None,
    typer.Option(
        metavar=_FILE, help="omop: your map of codes to concepts, CSV: code,value,concept_id,domain ..."
    ),
]
Persons = Annotated[
    Path | None,
    typer.Option(metavar=_FILE, help="omop: your patients, CSV: patient,person_id; others are left out."),
]
Visits = Annotated[
    Path | None,
    typer.Option(metavar=_FILE, help="omop: your encounters, CSV: encounter,visit_occurrence_id."),
]
Providers = Annotated[
    Path | None, typer.Option(metavar=_FILE, help="omop: your examiners, CSV: author,provider_id.")
]
Keys = Annotated[
    Path | None,
    typer.Option(
        metavar=_FILE, help="omop: the file that remembers the numbers of rows; made where there is none."
    ),
]
FirstKey = Annotated[
    int | None,
    typer.Option(
        min=1, metavar="NUMBER", help="omop: where a new file of keys begins to count; 1 unless said."
    ),
]
Postgres = Annotated[
    bool | None,
    typer.Option(
        "--postgres",
        help="omop: also put the rows into PostgreSQL, reached as PGSERVICE, PGHOST and so on say.",
    ),
]
DropGone = Annotated[
    bool | None,
    typer.Option(
        "--drop-gone",
        help="omop: also take out rows of notes that the archive holds no more; not where several archives "
        "share a file of keys.",
    ),
]
Schema = Annotated[
    str | None,
    typer.Option(metavar="NAME", help="omop: the schema of the CDM in PostgreSQL; cdm unless said."),
]

# phenopackets
OnePer = Annotated[
    str | None,
    typer.Option("--one-per", metavar="WHAT", help="phenopackets: one for each exam (usual) or patient."),
]

TARGET_OPTIONS: Options = {
    "form": FhirForm,
    "syntax": Syntax,
    "gzip": Gzip,
    "bundle_notes": BundleNotes,
    "release": Release,
    "expand": Expand,
    "quotes": Quotes,
    "concepts": Concepts,
    "persons": Persons,
    "visits": Visits,
    "providers": Providers,
    "keys": Keys,
    "first_key": FirstKey,
    "postgres": Postgres,
    "schema": Schema,
    "drop_gone": DropGone,
    "one_per": OnePer,
}
"""The options of single targets; `exporting.TARGETS` says which target knows which."""
