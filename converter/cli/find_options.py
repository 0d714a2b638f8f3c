"""The options of `plexor find`: what each one asks for."""

from typing import Annotated

import typer

Many = list[str] | None

Patient = Annotated[Many, typer.Option(metavar="ID", help="Patient identifier.")]
NoteId = Annotated[Many, typer.Option(metavar="ID", help="Note identifier.")]
Site = Annotated[
    Many, typer.Option(metavar="REFLEX", help="Reflex or region, e.g. patellar, knee jerk, plantar.")
]
Side = Annotated[Many, typer.Option(metavar="SIDE", help="left, right, both or unspecified.")]
Kind = Annotated[
    Many, typer.Option(metavar="KIND", help="stretch, plantar, clonus, superficial or primitive.")
]
Scale = Annotated[str | None, typer.Option(metavar="SCALE", help="Only grades on this scale, e.g. bedside.")]
Grade = Annotated[
    str | None, typer.Option(metavar="GRADE", help="A grade or range on --scale, e.g. 3 or 3-4.")
]
Level = Annotated[
    Many, typer.Option(metavar="LEVEL", help="absent, low, normal, high or clonus, on any scale.")
]
Descriptor = Annotated[Many, typer.Option(metavar="WORD", help="Word for the strength, e.g. brisk.")]
Response = Annotated[Many, typer.Option(metavar="RESPONSE", help="Plantar response, e.g. extensor.")]
Status = Annotated[
    Many, typer.Option(metavar="STATUS", help="current (usual), historical, not_tested ...; or all.")
]
Author = Annotated[Many, typer.Option(metavar="ID", help="Examiner.")]
Facility = Annotated[Many, typer.Option(metavar="ID", help="Place.")]
NoteKind = Annotated[
    Many, typer.Option(metavar="KIND", help="Type of the note as its source names it, e.g. progress.")
]
From = Annotated[str | None, typer.Option("--from", metavar="DATE", help="First date, e.g. 2031-05.")]
To = Annotated[str | None, typer.Option("--to", metavar="DATE", help="Last date.")]
Abnormality = Annotated[Many, typer.Option(metavar="CODE", help="Code; finds what the abnormality rests on.")]
Exact = Annotated[bool, typer.Option("--exact", help="Leave out what only a region covers.")]
Limit = Annotated[int | None, typer.Option(min=0, metavar="NUMBER", help="Rows at most.")]
Patterns = Annotated[
    Many,
    typer.Option(
        "--pattern",
        metavar="WORDS",
        help="What the exam shows, e.g. 'absent ankle with brisk knee', 'asymmetry of at least 2 at the "
        "ankles', 'changed by 2 within 90 days'; given again, it must all hold.",
    ),
]
Fhir = Annotated[
    str | None,
    typer.Option(
        "--fhir",
        metavar="SEARCH",
        help="A FHIR search instead of other options, e.g. 'Observation?code=achilles-left&date=ge2031'; "
        "gives a Bundle of type searchset.",
    ),
]
CountBy = Annotated[
    str | None,
    typer.Option(
        "--count-by",
        metavar="NAMES",
        help="Counts of rows, notes and patients instead of rows, e.g. site,side,grade. A grade is counted "
        "scale by scale.",
    ),
]
