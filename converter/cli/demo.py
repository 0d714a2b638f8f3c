"""`plexor demo`: the main job on the shipped, invented notes, from raw text to a searchable archive."""

import shlex
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from converter.cli.check import How, check_files
from converter.cli.clock import new_run, now
from converter.cli.convert import Form, write_folder
from converter.cli.options import Job, items_from
from converter.cli.output import Format, opened
from converter.cli.read import write_readings
from converter.cli.running import CannotRunError
from converter.cli.summary_views import Read, show_summaries
from converter.cli.troubles import Troubles
from converter.model import Diagnostic, Note

if TYPE_CHECKING:
    from converter.api import Session

EXAMPLE = """\b
Example:
  plexor demo
  plexor demo --out somewhere-else"""

SEARCHES = (
    ("Whose ankle jerk is absent?", "--site achilles --level absent"),
    ("Where is the left knee graded 3 to 4?", "--site patellar --side left --scale bedside --grade 3-4"),
    ("What do the side differences rest on?", "--abnormality side-difference"),
)
"""What to try next: a question, and the options of `plexor find` that answer it."""


def demo(
    out: Annotated[Path, typer.Option("--out", metavar="DIR", help="Folder for everything.")] = Path(
        "plexor-demo"
    ),
) -> int:
    """Run the main job on invented notes. Findings, FHIR, its check, a summary and an archive."""
    from converter.api import open_session

    _make(out)
    session = open_session(run=new_run(), time=now())
    with Troubles() as troubles:
        job = Job(session, _items(), troubles)
        read = list(job.assessed())
        notes = [note for note, _, _ in read]
        typer.echo(f"{len(notes)} notes of {len({note.patient for note in notes if note.patient})} patients")
        lines = [
            _findings(out, read),
            _bundles(out, read, session, troubles),
            _check(out, session, troubles),
            _summary(out, read),
            _archive(out, notes, session),
        ]
    typer.echo("\n".join(["", "Where everything is:", *lines, "", "Three searches to try next:"]))
    for question, options in SEARCHES:
        archive = shlex.quote(str(out / "findings.duckdb"))
        typer.echo(f"  {question}\n    plexor find --archive {archive} {options}")
    return troubles.status


def _items() -> Iterator[Note | Diagnostic]:
    from converter.shipped_files import demo_folder
    from converter.sources import SourceOptions

    folder = demo_folder()
    extract = [str(folder / "notes.csv"), str(folder / "texts")]
    options = SourceOptions(system="https://rehab.example/notes", file_name="{patient}-V*")
    return items_from(extract, options)


def _findings(out: Path, read: Sequence[Read]) -> str:
    for format_ in (Format.CSV, Format.JSONL):
        with opened(out / f"findings.{format_}") as stream:
            write_readings(stream, format_, ((note, reading) for note, reading, _ in read))
    count = sum(len(reading.findings) for _, reading, _ in read)
    return f"  {out}/findings.csv     {count} findings, one a row; findings.jsonl has one record a note"


def _bundles(out: Path, read: Sequence[Read], session: "Session", troubles: Troubles) -> str:
    from converter.works import converted

    done = ((note, converted(note, reading, found, session)) for note, reading, found in read)
    notes, resources = write_folder(done, session, out / "fhir", Form.BUNDLES, troubles)
    return f"  {out}/fhir/            {notes} FHIR bundles with {resources} resources"


def _check(out: Path, session: "Session", troubles: Troubles) -> str:
    with opened(out / "check.txt") as stream:
        counts = check_files(stream, How(Format.TEXT), [out / "fhir"], session)
    troubles.errors += counts.errors
    return f"  {out}/check.txt        {counts}"


def _summary(out: Path, read: Sequence[Read]) -> str:
    with opened(out / "summary.txt") as stream:
        show_summaries(stream, read)
    exams = sum(len(assessments) for _, _, assessments in read)
    return f"  {out}/summary.txt      what is abnormal in each of {exams} exams"


def _archive(out: Path, notes: Sequence[Note], session: "Session") -> str:
    from converter.loading import load

    totals = load(notes, out / "findings.duckdb", session)
    return f"  {out}/findings.duckdb  the archive: {totals.notes_in} notes, searchable"


def _make(out: Path) -> None:
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise CannotRunError(
            f"{out}: the folder cannot be made ({(error.strerror or str(error)).lower()})"
        ) from error
