"""Data sets of notes that are too large for one machine: Parquet in, Parquet by date out; beside `api`.

Takes the Parquet files of notes, a folder to write to, and a Session; gives what became of the notes. Reading
itself belongs to `frames`. What was written is counted again and compared with what the tasks counted. Data
sets of FHIR resources are written by `resource_datasets`, with the means that stand here.
"""

import json
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from itertools import islice
from typing import TYPE_CHECKING, Any, Literal

from converter.api import Session
from converter.engines import EngineError
from converter.frames import FINDING_SCHEMA, PLACE, READING_SCHEMA, findings_in, readings_of
from converter.model import Diagnostic, Note, Severity
from converter.sources import FIELDS, SourceOptions

if TYPE_CHECKING:
    from pyspark.sql import Column, DataFrame, SparkSession

Part = Literal["day", "month", "year"]
PARTS: Mapping[Part, int] = {"day": 10, "month": 7, "year": 4}
"""How many characters of a date make the name of a part."""
DATE, NO_DATE = "date", "unknown"
READINGS, FINDINGS, RUN = "readings", "findings", "run.json"
_SHOWN = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Totals:
    """What became of a data set; `rows` is the sum of the next three.

    Attributes:
        rows: rows that came in.
        read: notes that were read.
        failed: notes that the program failed on; their records say so.
        left_out: rows that are no notes, since they have no text or too much; `troubles` says so.
        findings, unread, errors: in the records.
        ended: processes that a note ended.
    """

    rows: int = 0
    read: int = 0
    failed: int = 0
    left_out: int = 0
    findings: int = 0
    unread: int = 0
    errors: int = 0
    ended: int = 0

    @property
    def adds_up(self) -> bool:
        """Whether each row that came in came out."""
        return self.rows == self.read + self.failed + self.left_out


def read_dataset(
    spark: "SparkSession",
    inputs: Sequence[str],
    out: str,
    session: Session,
    options: SourceOptions,
    part: Part = "month",
) -> Totals:
    """Read notes in Parquet, and write readings and findings in Parquet, each partitioned by date.

    Writes `readings` by `frames.READING_SCHEMA`, `findings` by `frames.FINDING_SCHEMA` and `run.json`. A part
    is named `date=2031-04`; notes without a date stand in `date=unknown`. What is there is never overwritten.

    Args:
        spark: a session on the cluster.
        inputs: files, folders or patterns that every machine of the cluster reaches under these names.
        out: a folder that every machine reaches.
        session: how notes are read.
        options: how the columns are called.
        part: what of a date makes a part.

    Raises:
        EngineError: a file cannot be read, two notes share an identity, the folder cannot be written, or what
            was written is not what was read. Nothing is left half done but folders without `_SUCCESS`.
    """
    with told_as_engine_error("the data set could not be read"):
        totals = _read_and_write(spark, notes_in(spark, inputs, options), out, session, options, part)
        write_run(spark, f"{out}/{RUN}", asdict(totals), session)
    return totals


@contextmanager
def told_as_engine_error(what: str) -> Iterator[None]:
    """Tell whatever fails inside as an `EngineError`, with the reason that the cluster gives."""
    from converter.engines.cluster_session import reason_of

    try:
        yield
    except EngineError:
        raise
    except Exception as error:
        raise EngineError(f"{what}: {reason_of(error)}") from error


def _read_and_write(
    spark: "SparkSession", notes: "DataFrame", out: str, session: Session, options: SourceOptions, part: Part
) -> Totals:
    from converter.engines.cluster_tally import Tally

    refuse_shared_identities(notes, options.system)
    tally = Tally(spark.sparkContext)
    write(dated(readings_of(notes, session, tally, options), part), f"{out}/{READINGS}")
    written = readings_at(spark, out)
    counted = tally.total()
    totals = Totals(read=counted.pop("done", 0), **counted)
    compare(written, {name: getattr(totals, name) for name in ("rows", "findings", "unread", "errors")})
    if not totals.adds_up:
        raise EngineError(f"the rows of {asdict(totals)} do not add up: keep nothing of this run")
    write(dated(findings_in(written), part), f"{out}/{FINDINGS}")
    if stored(spark, f"{out}/{FINDINGS}", FINDING_SCHEMA).count() != totals.findings:
        raise EngineError(f"{out}/{FINDINGS} holds another number of findings than were read")
    return totals


def notes_in(spark: "SparkSession", inputs: Sequence[str], options: SourceOptions) -> "DataFrame":
    """The notes of Parquet files as a frame that `frames.readings_of` takes, each row with its place.

    Files that differ in their columns are taken together.

    Raises:
        EngineError: no column holds the text of notes.
    """
    from pyspark.sql import functions as sql

    frame = spark.read.option("mergeSchema", "true").parquet(*inputs)
    kinds = {field.name: field.dataType for field in frame.schema.fields}
    columns = {name: _found(options.column(name), list(kinds)) for name in FIELDS}
    unknown = sorted(name for name in options.columns if columns[name] is None)
    if columns["text"] is None or unknown:
        wanted = options.column(unknown[0] if unknown else "text")
        raise EngineError(f"there is no column {wanted}; the columns are {', '.join(list(kinds)[:_SHOWN])}")
    values = [_as_text(kinds[name], name).alias(field) for field, name in columns.items() if name is not None]
    file = sql.col("_metadata.file_path").alias("source")
    line = (sql.col("_metadata.row_index") + 1).cast("string").alias("line")
    return frame.select(*values, file, line)


def _found(wanted: str, names: Sequence[str]) -> str | None:
    """The column of that name; letter case decides only between two that differ in it."""
    alike = [name for name in names if name.casefold() == wanted.casefold()]
    return wanted if wanted in alike else next(iter(alike), None)


def _as_text(kind: object, name: str) -> "Column":
    """A column as text, written as the source of one machine writes it.

    Raises:
        EngineError: it holds no single values.
    """
    from pyspark.sql import functions as sql
    from pyspark.sql import types

    column = sql.col("`" + name.replace("`", "``") + "`")
    if isinstance(kind, types.ArrayType | types.MapType | types.StructType):
        raise EngineError(f"the column {name} holds no single values")
    if isinstance(kind, types.FractionalType) and not isinstance(kind, types.DecimalType):
        return column  # written by the task, since Spark writes large ones as powers of ten
    if isinstance(kind, types.TimestampType):
        universal = sql.to_utc_timestamp(column, sql.current_timezone()).cast("string")
        return sql.concat(universal, sql.lit("+00"))
    return column.cast("string")


def refuse_shared_identities(notes: "DataFrame", system: str | None) -> None:
    """See to it that a note's system and id are its own: which of two stands would depend on chance.

    Args:
        notes: as `notes_in` gives them; one without an id is called by its file and row.
        system: that of notes which name none.

    Raises:
        EngineError: some are not.
    """
    from pyspark.sql import functions as sql

    given = {name: sql.col(name) if name in notes.columns else sql.lit(None) for name in ("system", "id")}
    system_of, id_of = (sql.nullif(sql.trim(column.cast("string")), sql.lit("")) for column in given.values())
    stem = sql.substring_index(sql.substring_index("source", "/", -1), ".", 1)
    spare = sql.concat(sql.when(stem == "", "note").otherwise(stem), sql.lit(":"), sql.col("line"))
    named = notes.select(
        sql.coalesce(system_of, sql.lit(system)).alias("of"),
        sql.coalesce(id_of, spare).alias("name"),
        "source",
        "line",
    )
    shared = named.groupBy("of", "name").agg(
        sql.count("*").alias("rows"), sql.min(sql.struct("source", "line")).alias("first")
    )
    found = (
        shared.where("rows > 1").agg(sql.count("*").alias("many"), sql.min("first").alias("first")).first()
    )
    if found is not None and found["many"]:
        raise EngineError(
            f"{found['many']} identities stand for more than one note, one of them in "
            f"{found['first']['source']}, row {found['first']['line']}; nothing was read. Name the column of "
            "the system that the ids belong to, leave the copies out, or give ids to notes that have none, "
            "since files named alike give them the same"
        )


def dated(frame: "DataFrame", part: Part) -> "DataFrame":
    """A frame with the part that each row belongs to, rows of one part together, in a fixed order."""
    from pyspark.sql import functions as sql

    date = sql.coalesce(sql.substring("authored", 1, PARTS[part]), sql.lit(NO_DATE))
    within = [name for name in ("start", "finding", "place") if name in frame.columns]
    order = [DATE, "system", "id", *within]
    return frame.withColumn(DATE, date).hint("rebalance", DATE).sortWithinPartitions(*order)


def write(frame: "DataFrame", folder: str) -> None:
    """Write a frame that `dated` gave.

    Raises:
        Exception: of Spark's; the folder is there already, or cannot be written.
    """
    frame.write.partitionBy(DATE).mode("errorifexists").option("compression", "zstd").parquet(folder)


def stored(spark: "SparkSession", folder: str, schema: str) -> "DataFrame":
    """What was written, which may be nothing."""
    return spark.read.schema(f"{schema}, {DATE} string").parquet(folder)


def readings_at(spark: "SparkSession", out: str) -> "DataFrame":
    """The readings that `read_dataset` wrote, each with the part that it stands in."""
    return stored(spark, f"{out}/{READINGS}", READING_SCHEMA)


def compare(written: "DataFrame", counted: Mapping[str, int]) -> None:
    """See to it that what was written is what the tasks counted.

    Args:
        written: a frame of it.
        counted: `rows`, and the sum of each column of numbers that is named.

    Raises:
        EngineError: it is not.
    """
    from pyspark.sql import functions as sql

    sums = [sql.coalesce(sql.sum(name), sql.lit(0)).alias(name) for name in counted if name != "rows"]
    found = written.agg(sql.count("*").alias("rows"), *sums).first()
    there = found.asDict() if found is not None else {}
    if there != dict(counted):
        raise EngineError(f"{there} were written, but {counted} were counted: keep nothing of this run")


def errors_in(written: "DataFrame", number: int) -> Iterator[tuple[Note, Diagnostic]]:
    """The first errors of what was written, each with its note, which comes without its text.

    Args:
        written: rows by `frames.READING_SCHEMA`, or with `errors`, `troubles`, `source` and `line` of their
            own, and the part that they stand in.
        number: as many notes are looked at, and errors given.
    """
    from pyspark.sql import Row

    names = ("id", "note_hash", *PLACE, "troubles", "record")
    wrong = written.where("errors IS NULL OR errors > 0").orderBy(DATE, "system", "id").limit(number)
    rows = wrong.select(*(name for name in names if name in written.columns)).collect()
    told = ((_without_text(row), one) for row in map(Row.asDict, rows) for one in _told_in(row))
    return islice((pair for pair in told if pair[1].severity in (Severity.ERROR, Severity.FATAL)), number)


def _without_text(row: Mapping[str, Any]) -> Note:
    """The note of a row, as messages need it."""
    source, line = (row.get(name) for name in PLACE)
    return Note(id=row["id"] or "", text="", hash=row["note_hash"] or "", source=source, line=line)


def _told_in(row: Mapping[str, Any]) -> Iterator[Diagnostic]:
    """What a row tells of its note: its own troubles, and those of its record."""
    troubles = json.loads(row["troubles"] or "[]")
    record = json.loads(row.get("record") or '{"diagnostics": []}')
    for one in (*troubles, *record["diagnostics"]):
        yield Diagnostic(**{**one, "severity": Severity(one["severity"])})


def write_run(spark: "SparkSession", file: str, totals: Mapping[str, int], session: Session) -> None:
    """Write what became of the run, by the file system that the data set lies on."""
    content = {
        "run": session.run,
        "time": session.time,
        "program": session.program,
        "vocabulary": session.vocabulary.fingerprint,
        "totals": dict(totals),
    }
    virtual = spark.sparkContext._jvm
    assert virtual is not None
    path = virtual.org.apache.hadoop.fs.Path(file)
    system = path.getFileSystem(spark._jsparkSession.sessionState().newHadoopConf())
    stream = system.create(path, False)
    stream.write(bytearray(json.dumps(content, indent=2, ensure_ascii=False).encode() + b"\n"))
    stream.close()
