"""`plexor read --format parquet`: a data set of notes into one of readings and findings, on a cluster."""

from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from converter.cli.clock import new_run, now
from converter.cli.options import settings_of, source_options
from converter.cli.running import CLEAN, INPUT_ERRORS, CannotRunError

if TYPE_CHECKING:
    from converter.datasets import Part
    from converter.engines import Machines


def read_dataset(
    inputs: Sequence[str],
    out: str | None,
    part: "Part",
    machines: "Machines",
    config: Path | None,
    columns: Sequence[str] | None,
    system: str | None,
) -> int:
    """Read a data set, and tell what became of it.

    Raises:
        CannotRunError: it is not said where to write, or no cluster is named.
        EngineError: the data set or the cluster cannot be used.
    """
    from converter import datasets
    from converter.api import open_session
    from converter.engines.cluster_session import connected

    if machines.master is None:
        raise CannotRunError("--format parquet: data sets are read on a cluster; name it with --engine spark")
    if out is None:
        raise CannotRunError("--format parquet is no text: say where to write it with --out FOLDER")
    settings = settings_of(config)
    options = source_options(settings, "parquet", columns, system=system)
    session = open_session(settings, run=new_run(), time=now())
    with connected(machines.master) as spark:
        totals = datasets.read_dataset(spark, inputs, out, session, options, part)
    for name, number in asdict(totals).items():
        typer.echo(f"{name.replace('_', ' '):<9}{number:>16,}")
    return INPUT_ERRORS if totals.failed or totals.left_out else CLEAN
