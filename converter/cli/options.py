"""The arguments that several commands share, and what they make together with the settings file."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, TypeVar

import typer

from converter.cli.clock import new_run, now
from converter.cli.running import CannotRunError
from converter.cli.troubles import Troubles, is_error
from converter.model import Diagnostic, Note, Reading

if TYPE_CHECKING:
    from converter.api import Session
    from converter.engines import Machines, Work
    from converter.model import Assessment
    from converter.settings import Settings
    from converter.sources import SourceOptions

T = TypeVar("T")

_ABSENT = frozenset({"missing-input", "nothing-found"})

Inputs = Annotated[
    list[str],
    typer.Argument(
        metavar="INPUT", help="Files, folders, patterns such as 'notes/*.txt', or - for standard input."
    ),
]
Config = Annotated[
    Path | None,
    typer.Option("--config", metavar="FILE", help="Settings; else plexor.toml in the working folder."),
]
InputFormat = Annotated[
    str | None,
    typer.Option(
        "--input-format",
        metavar="NAME",
        help="text, csv, tsv, jsonl, parquet, hl7, cda, fhir, html or rtf; else found from content and name.",
    ),
]
Columns = Annotated[
    list[str] | None,
    typer.Option(
        "--column",
        metavar="FIELD=COLUMN",
        help="The input's own name for a field, e.g. text=NOTE_TEXT; may be repeated. Fields: id, text, "
        "system, patient, encounter, author, facility, authored, kind, birth_date, age, sex.",
    ),
]
FileName = Annotated[
    str | None,
    typer.Option(
        "--file-name",
        metavar="TEMPLATE",
        help="Fields in the names of text files, e.g. '{patient}-V*' or '{patient}/{authored}'.",
    ),
]
Encoding = Annotated[
    str | None,
    typer.Option(
        "--encoding", metavar="NAME", help="Character encoding of the inputs; else UTF-8 or Windows-1252."
    ),
]
System = Annotated[
    str | None,
    typer.Option(
        "--system", metavar="URI", help="The space in which the notes' ids are unique, where they name none."
    ),
]
Workers = Annotated[
    int | None,
    typer.Option(
        "--workers", metavar="N", min=1, help="Processes that work on the notes; else one on each core."
    ),
]


class EngineName(StrEnum):
    """Where the work is done."""

    LOCAL = "local"
    SPARK = "spark"


Engine = Annotated[
    EngineName,
    typer.Option("--engine", help="local works on this machine; spark on the cluster named by --master."),
]
Master = Annotated[
    str | None,
    typer.Option("--master", metavar="URL", help="The Spark cluster, e.g. spark://host:7077 or yarn."),
]
Out = Annotated[Path | None, typer.Option("--out", metavar="FILE", help="Write the results here instead.")]


def settings_of(config: Path | None) -> "Settings":
    """The settings file that counts."""
    from converter.settings import find_settings

    return find_settings(config)


def source_options(
    settings: "Settings",
    input_format: str | None = None,
    columns: Sequence[str] | None = None,
    file_name: str | None = None,
    encoding: str | None = None,
    system: str | None = None,
) -> "SourceOptions":
    """How to read the inputs: the command line counts before the settings file.

    Raises:
        CannotRunError: a column is not written FIELD=COLUMN, or names no field of a note.
    """
    from converter.sources import FIELDS, SourceOptions

    named: dict[str, str] = {str(field): column for field, column in settings.notes.columns.items()}
    for pair in columns or ():
        field, equals, column = pair.partition("=")
        if not equals or not column or field not in FIELDS:
            raise CannotRunError(
                f"--column {pair}: write FIELD=COLUMN, where FIELD is one of {', '.join(FIELDS)}"
            )
        named[field] = column
    return SourceOptions(
        input_format=input_format,
        columns=named,
        system=system or settings.notes.system,
        file_name=file_name or settings.notes.file_name,
        encoding=encoding or settings.notes.encoding,
        sections=tuple(settings.notes.sections),
    )


@dataclass(frozen=True, slots=True)
class Job:
    """A command that takes notes, ready to run.

    Attributes:
        session: what stays the same over all notes.
        items: the notes and what is wrong with the inputs, not shown yet.
        troubles: what went wrong so far.
        options: how the inputs are read, where they came from the command line.
        machines: where the work on the notes is done; None for this process.
    """

    session: "Session"
    items: Iterator[Note | Diagnostic]
    troubles: Troubles
    options: "SourceOptions | None" = None
    machines: "Machines | None" = None

    def told_items(self) -> Iterator[Note | Diagnostic]:
        """The notes and what is wrong with the inputs, which is shown on the way."""
        for item in self.items:
            if isinstance(item, Diagnostic):
                self.troubles.show(item)
            yield item

    def done(self, work: "Work[T]") -> Iterator[tuple[Note, T]]:
        """Each note with the result of a work; what is wrong with an input is shown at its place."""
        from converter.engines import Machines, engine_on

        with engine_on(self.machines or Machines(), work, self.troubles.show) as engine:
            for item in engine.run(self.items):
                if isinstance(item, Diagnostic):
                    self.troubles.show(item)
                else:
                    yield item.note, item.result

    def readings(self) -> Iterator[tuple[Note, Reading]]:
        """Each note with its reading; an error of a reading is shown as it is met."""
        from converter.works import ToReadings

        for note, reading in self.done(ToReadings(self.session)):
            self._show_errors(note, reading)
            yield note, reading

    def assessed(self) -> Iterator["tuple[Note, Reading, tuple[Assessment, ...]]"]:
        """Each note with its reading and what is abnormal in its exams."""
        from converter.works import ToAssessments

        for note, (reading, assessments) in self.done(ToAssessments(self.session)):
            self._show_errors(note, reading)
            yield note, reading, assessments

    def _show_errors(self, note: Note, reading: Reading) -> None:
        self.troubles.show_all((one for one in reading.diagnostics if is_error(one)), note)


@contextmanager
def job_of(
    inputs: Sequence[str],
    config: Path | None,
    input_format: str | None,
    columns: Sequence[str] | None,
    file_name: str | None,
    encoding: str | None,
    system: str | None,
    machines: "Machines | None" = None,
) -> Iterator[Job]:
    """Make a Job of the shared arguments.

    Raises:
        CannotRunError: an option names what does not exist.
        SettingsError, VocabularyError: the site's own files cannot be used.
    """
    from converter.api import open_session

    settings = settings_of(config)
    options = source_options(settings, input_format, columns, file_name, encoding, system)
    session = open_session(settings, run=new_run(), time=now())
    with Troubles() as troubles:
        yield Job(session, items_from(inputs, options), troubles, options, machines)


def machines_of(engine: EngineName, master: str | None, workers: int | None) -> "Machines":
    """Where the work is done.

    Raises:
        CannotRunError: a cluster without its address, or an address that nothing asks for.
    """
    from converter.engines import Machines

    if engine is EngineName.LOCAL and master is not None:
        raise CannotRunError("--master names a cluster; say --engine spark to work there")
    if engine is EngineName.SPARK and master is None:
        raise CannotRunError("--engine spark: name the cluster with --master URL, e.g. spark://host:7077")
    if engine is EngineName.SPARK and workers is not None:
        raise CannotRunError("--workers counts processes of this machine; the cluster has its own")
    return Machines(workers=workers, master=master)


def items_from(inputs: Sequence[str], options: "SourceOptions") -> Iterator[Note | Diagnostic]:
    """The notes of the inputs, and what is wrong with them.

    Raises:
        CannotRunError: an option names what does not exist, or none of the inputs is there.
    """
    from converter.sources import open_notes

    try:
        items = open_notes(inputs, options)
    except ValueError as error:
        raise CannotRunError(str(error)) from error
    return _some(items)


def _some(items: Iterator[Note | Diagnostic]) -> Iterator[Note | Diagnostic]:
    """The items; where none of the inputs is there, what is missing is said as the reason to stop."""
    missing: list[Diagnostic] = []
    for item in items:
        if not isinstance(item, Diagnostic) or item.code not in _ABSENT:
            yield from missing
            yield item
            yield from items
            return
        missing.append(item)
    if missing:
        reasons = "; ".join(f"{one.source}: {one.message}" for one in missing)
        raise CannotRunError(f"there is nothing to read. {reasons}")
