"""`plexor summary`: what is abnormal in each exam, what changed over time, how common each pattern is."""

from collections.abc import Iterable, Iterator
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TextIO

import typer

from converter.cli.figures import Figures
from converter.cli.options import (
    Columns,
    Config,
    Encoding,
    FileName,
    InputFormat,
    Inputs,
    Out,
    System,
    job_of,
)
from converter.cli.output import Format, opened
from converter.cli.running import CannotRunError
from converter.cli.summary_views import (
    Passed,
    Read,
    show_counts,
    show_courses,
    show_summaries,
    write_counts,
    write_courses,
    write_summaries,
)
from converter.cli.tables import counted
from converter.model import Course

if TYPE_CHECKING:
    from converter.cli.options import Job

EXAMPLE = """\b
Example:
  plexor summary notes.csv
  plexor summary notes.csv --why
  plexor summary notes.csv --by patient
  plexor summary notes.csv --by pattern --format csv --out counts.csv
  plexor summary notes.csv --figure drawings"""


class By(StrEnum):
    """What one summary speaks of."""

    EXAM = "exam"
    PATIENT = "patient"
    PATTERN = "pattern"


_By = Annotated[
    By,
    typer.Option(
        "--by",
        help="exam: what is abnormal, in the words of the note, and what was not examined. patient: each "
        "reflex by side across visits, and what changed. pattern: in how many exams each was found.",
    ),
]
_Why = Annotated[
    bool,
    typer.Option(
        "--why", help="In text, name the rule, source and findings behind each line; records always do."
    ),
]
_Causes = Annotated[
    bool,
    typer.Option(
        "--causes",
        help="After each exam, kinds of cause that are considered for its patterns: general reference, not "
        "about this patient. In text only.",
    ),
]
_Figure = Annotated[
    Path | None, typer.Option("--figure", metavar="DIR", help="Draw each exam as an SVG file in this folder.")
]
_Format = Annotated[
    Format,
    typer.Option(
        "--format",
        help="text for people; json or jsonl with one record an exam, patient or pattern; csv with one row "
        "an abnormality, change or pattern.",
    ),
]


def summary(
    inputs: Inputs,
    by: _By = By.EXAM,
    why: _Why = False,
    causes: _Causes = False,
    figure: _Figure = None,
    format_: _Format = Format.TEXT,
    out: Out = None,
    config: Config = None,
    input_format: InputFormat = None,
    columns: Columns = None,
    file_name: FileName = None,
    encoding: Encoding = None,
    system: System = None,
) -> int:
    """Summarise exams. What is abnormal, by which rule, in whose words; what was not examined."""
    _refuse_what_contradicts(by, format_, why=why, causes=causes)
    with (
        job_of(inputs, config, input_format, columns, file_name, encoding, system) as job,
        opened(out) as stream,
    ):
        figures = Figures(figure, job.session.vocabulary) if figure else None
        read = figures.drawing(job.assessed()) if figures else job.assessed()
        if format_ is Format.TEXT:
            _show(stream, by, read, job, why=why, causes=causes)
            if figures:
                stream.write(f"{counted(figures.count, 'drawing')} in {figures.folder}\n")
        else:
            _write(stream, by, format_, read, job)
    return job.troubles.status


def _refuse_what_contradicts(by: By, format_: Format, *, why: bool, causes: bool) -> None:
    if causes and format_ is not Format.TEXT:
        raise CannotRunError(f"--causes --format {format_}: reference text is for people; leave one out")
    if causes and by is not By.EXAM:
        raise CannotRunError(f"--causes --by {by}: reference text goes with exams; leave one out")
    if why and by is By.PATTERN:
        raise CannotRunError("--why --by pattern: counts rest on all exams; leave one out")


def _show(stream: TextIO, by: By, read: Iterable[Read], job: "Job", *, why: bool, causes: bool) -> None:
    if by is By.PATTERN:
        show_counts(stream, read)
    elif by is By.PATIENT:
        passed = Passed(read)
        show_courses(stream, _courses(passed, job), why=why)
        passed.close(stream)
    else:
        show_summaries(stream, read, why=why, causes=causes)


def _write(stream: TextIO, by: By, format_: Format, read: Iterable[Read], job: "Job") -> None:
    if by is By.PATTERN:
        write_counts(stream, format_, read)
    elif by is By.PATIENT:
        write_courses(stream, format_, _courses(read, job))
    else:
        write_summaries(stream, format_, read)


def _courses(read: Iterable[Read], job: "Job") -> Iterator[Course]:
    """The course of each patient; what could not be joined is shown."""
    from converter.courses import courses_of

    for item in courses_of(((note, reading) for note, reading, _ in read), job.session):
        if isinstance(item, Course):
            yield item
        else:
            job.troubles.show(item)
