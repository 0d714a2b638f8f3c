"""`--format parquet` and `--as parquet`: a data set of notes read or converted into another, on a cluster."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from enum import StrEnum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from converter.cli.clock import new_run, now
from converter.cli.options import settings_of, source_options
from converter.cli.running import CLEAN, INPUT_ERRORS, CannotRunError
from converter.cli.troubles import Troubles

if TYPE_CHECKING:
    from pyspark.sql import DataFrame, SparkSession

    from converter.api import Session
    from converter.engines import Machines
    from converter.sources import SourceOptions

_SHOWN = 20
"""Errors that are shown; the data set holds them all."""


class DatePart(StrEnum):
    """What of a date makes a part of a data set."""

    DAY = "day"
    MONTH = "month"
    YEAR = "year"


PartOption = Annotated[
    DatePart, typer.Option("--part", help="Of a data set in Parquet: what of a note's date makes a part.")
]


@dataclass(frozen=True, slots=True)
class DataSet:
    """A command that takes a data set, as it was given.

    Attributes:
        asked: the option that asks for a data set, for messages.
        inputs: files, folders or patterns of notes in Parquet.
        out: where to write; None where that was not said.
        part: what of a date makes a part.
        machines: where the work is done.
        config, columns, system: see `options.job_of`.
        others: whether something was asked for that has no place beside a data set.
    """

    asked: str
    inputs: Sequence[str]
    out: str | None
    part: DatePart
    machines: "Machines"
    config: Path | None
    columns: Sequence[str] | None
    system: str | None
    others: bool


def read_dataset(given: DataSet) -> int:
    """Read a data set, and tell what became of it.

    Raises:
        CannotRunError: options contradict each other, no cluster is named, or no place to write.
        EngineError: the data set or the cluster cannot be used.
    """
    from converter import datasets

    with _on_cluster(given) as (spark, out, session, options):
        totals = datasets.read_dataset(spark, given.inputs, out, session, options, given.part.value)
        wrong = totals.errors + totals.left_out
        return _told(asdict(totals), wrong, f"{out}/{datasets.READINGS}", datasets.readings_at(spark, out))


def convert_dataset(given: DataSet, choices: "Callable[[Session], Session]", checked: bool) -> int:
    """Convert a data set, and tell what became of it.

    Args:
        given: the command.
        choices: what the command line says of the FHIR output.
        checked: whether resources are checked before they are written.

    Raises:
        CannotRunError: options contradict each other, no cluster is named, or no place to write.
        EngineError: the data set or the cluster cannot be used.
    """
    from converter import resource_datasets as datasets
    from converter.api import definitions_of

    with _on_cluster(given) as (spark, out, session, options):
        session = choices(session)
        definitions = definitions_of(session) if checked else None
        totals = datasets.convert_dataset(
            spark, given.inputs, out, session, options, given.part.value, definitions
        )
        notes = datasets.notes_at(spark, out)
        return _told(asdict(totals), totals.errors, f"{out}/{datasets.NOTES}", notes)


@contextmanager
def _on_cluster(given: DataSet) -> "Iterator[tuple[SparkSession, str, Session, SourceOptions]]":
    from converter.api import open_session
    from converter.engines.cluster_session import connected

    if given.others:
        raise CannotRunError(f"{given.asked}: the inputs are Parquet, and no view or encoding goes with it")
    if given.machines.master is None:
        raise CannotRunError(f"{given.asked}: data sets are taken on a cluster; name it with --engine spark")
    if given.out is None:
        raise CannotRunError(f"{given.asked} is no text: say where to write it with --out FOLDER")
    settings = settings_of(given.config)
    options = source_options(settings, "parquet", given.columns, system=given.system)
    session = open_session(settings, run=new_run(), time=now())
    with connected(given.machines.master) as spark:
        yield spark, given.out, session, options


def _told(totals: Mapping[str, int], wrong: int, where: str, rows: "DataFrame") -> int:
    """Tell what became of a data set, and the first errors; the exit status."""
    from converter.datasets import errors_in

    for name, number in totals.items():
        typer.echo(f"{name.replace('_', ' '):<9}{number:>16,}")
    if not wrong:
        return CLEAN
    shown = 0
    with Troubles() as troubles:
        for note, trouble in errors_in(rows, _SHOWN):
            troubles.show(trouble, note)
            shown += 1
    if wrong > shown:
        typer.echo(f"information: {wrong - shown:,} more errors stand in {where}", err=True)
    return INPUT_ERRORS
