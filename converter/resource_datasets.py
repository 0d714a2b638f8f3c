"""Data sets of FHIR resources: notes in Parquet in, resources in Parquet by date out; beside `api`.

Takes the Parquet files of notes, a folder to write to, and a Session; gives what became of the notes. The
machines of the cluster write; nothing is gathered on the one that asks. Converting belongs to
`resource_frames`, reading and writing files to `datasets`. What was written is counted again and compared
with what the tasks counted.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields
from typing import TYPE_CHECKING

from converter.api import Session
from converter.datasets import (
    RUN,
    Part,
    compare,
    dated,
    notes_in,
    refuse_shared_identities,
    stored,
    told_as_engine_error,
    write,
    write_run,
)
from converter.engines import EngineError
from converter.resource_frames import (
    ACCOUNT_SCHEMA,
    RESOURCE_SCHEMA,
    account_in,
    conversions_of,
    resources_in,
)
from converter.sources import SourceOptions

if TYPE_CHECKING:
    from pyspark.sql import DataFrame, SparkSession

    from converter.check import Definitions

RESOURCES, NOTES = "resources", "notes"


@dataclass(frozen=True, slots=True, kw_only=True)
class ResourceTotals:
    """What became of a data set; `rows` is the sum of the next four.

    Attributes:
        rows: rows that came in.
        converted: notes whose resources were written.
        refused: notes of which nothing was written, since a resource made from them is faulty.
        failed: notes that the program failed on.
        left_out: rows that are no notes, since they have no text or too much.
        resources: rows written, the program's Device among them.
        errors: among the troubles of the notes.
        ended: processes that a note ended.
    """

    rows: int = 0
    converted: int = 0
    refused: int = 0
    failed: int = 0
    left_out: int = 0
    resources: int = 0
    errors: int = 0
    ended: int = 0

    @property
    def adds_up(self) -> bool:
        """Whether each row that came in came out."""
        return self.rows == self.converted + self.refused + self.failed + self.left_out


def convert_dataset(
    spark: "SparkSession",
    inputs: Sequence[str],
    out: str,
    session: Session,
    options: SourceOptions,
    part: Part = "month",
    definitions: "Definitions | None" = None,
) -> ResourceTotals:
    """Convert notes in Parquet, and write their FHIR resources in Parquet, partitioned by date.

    Writes `resources` by `resource_frames.RESOURCE_SCHEMA`, `notes` by `resource_frames.ACCOUNT_SCHEMA` (what
    became of each) and `run.json`. A part is named `date=2031-04`, after the date of the note; notes without
    one, and the program's Device, stand in `date=unknown`. Nothing is overwritten, or taken back.

    Args:
        spark: a session on the cluster.
        inputs: see `datasets.read_dataset`.
        out: a folder that every machine reaches.
        session: how notes are read and converted.
        options: how the columns are called.
        part: what of a date makes a part.
        definitions: what resources are checked against before they are written; None for no check.

    Raises:
        EngineError: a file cannot be read, two notes share an identity, the folder cannot be written, or what
            was written is not what was made. Nothing is left half done but folders without `_SUCCESS`.
    """
    with told_as_engine_error("the data set could not be converted"):
        notes = notes_in(spark, inputs, options)
        refuse_shared_identities(notes, options.system or session.fhir.default_system)
        totals = _convert_and_write(spark, notes, out, session, options, part, definitions)
        write_run(spark, f"{out}/{RUN}", asdict(totals), session)
    return totals


def notes_at(spark: "SparkSession", out: str) -> "DataFrame":
    """What `convert_dataset` wrote of each note, with the part that it stands in."""
    return stored(spark, f"{out}/{NOTES}", ACCOUNT_SCHEMA)


def _convert_and_write(
    spark: "SparkSession",
    notes: "DataFrame",
    out: str,
    session: Session,
    options: SourceOptions,
    part: Part,
    definitions: "Definitions | None",
) -> ResourceTotals:
    from pyspark import StorageLevel

    from converter.engines.cluster_tally import Tally

    tally = Tally(spark.sparkContext)
    made = conversions_of(notes, session, definitions, tally, options).persist(StorageLevel.DISK_ONLY)
    try:
        write(dated(account_in(made), part), f"{out}/{NOTES}")
        write(dated(resources_in(made), part), f"{out}/{RESOURCES}")
    finally:
        made.unpersist()
    counted = tally.total()
    own, device = counted["resources"], min(counted["devices"], 1)
    kept = {field.name: counted[field.name] for field in fields(ResourceTotals)}
    totals = ResourceTotals(**kept | {"resources": own + device})
    compare(notes_at(spark, out), {"rows": totals.rows, "resources": own, "errors": totals.errors})
    _compare_resources(stored(spark, f"{out}/{RESOURCES}", RESOURCE_SCHEMA), totals)
    return totals


def _compare_resources(resources: "DataFrame", totals: ResourceTotals) -> None:
    """See to it that the resources were written that were made, and that each note has its own document.

    Raises:
        EngineError: they were not, or two notes came out as one.
    """
    from pyspark.sql import functions as sql

    document = sql.when(sql.col("type") == "DocumentReference", sql.col("resource_id"))
    found = resources.agg(sql.count("*").alias("resources"), sql.countDistinct(document).alias("documents"))
    there = found.first()
    counted = (totals.resources, totals.converted)
    if there is None or tuple(there) != counted or not totals.adds_up:
        raise EngineError(
            f"{there} were written, but {counted} were counted, of {asdict(totals)}: keep nothing of this run"
        )
