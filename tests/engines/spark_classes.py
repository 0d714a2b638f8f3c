"""Keeps the classes that Spark loads in a file that Java maps, so that a cluster starts in less time.

Run by `.ci/parts` with the folder of real parts: `python spark_classes.py FOLDER`. Does once, in one process,
what the cluster's processes do, and has Java write what was loaded (class data sharing) when it ends. The
archive counts only for the same class path, in which the folder of Spark's settings stands first: it must be
this one, and empty.
"""

import os
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

FOLDER, SETTINGS, ARCHIVE = "spark-classes", "settings", "spark.jsa"


def main() -> None:
    """Write the archive."""
    parts = Path(sys.argv[1]).resolve()
    kept = parts / FOLDER
    (kept / SETTINGS).mkdir(parents=True, exist_ok=True)
    (kept / ARCHIVE).unlink(missing_ok=True)
    java = f"-XX:+UseSerialGC -XX:ArchiveClassesAtExit={kept / ARCHIVE}"
    os.environ |= {
        "SPARK_HOME": str(parts / "spark" / "pyspark"),
        "SPARK_CONF_DIR": str(kept / SETTINGS),
        "SPARK_LOCAL_IP": "127.0.0.1",
        "PYSPARK_PYTHON": sys.executable,
        "PYTHONPATH": str(parts / "spark"),
        "PYSPARK_SUBMIT_ARGS": f"--driver-java-options '{java}' --master local[2] pyspark-shell",
    }
    sys.path.insert(0, str(parts / "spark"))
    with TemporaryDirectory() as scratch:
        work(scratch)
    if not (kept / ARCHIVE).is_file():
        sys.exit("Java wrote no archive of classes")


def work(scratch: str) -> None:
    """Do what is done with data sets, small, and end Java."""
    from pyspark import StorageLevel
    from pyspark.sql import SparkSession
    from pyspark.sql import functions as sql

    spark = SparkSession.builder.config("spark.ui.enabled", "false").getOrCreate()
    counted = spark.sparkContext.accumulator(0)

    def same(batches: Iterable[Any]) -> Iterator[Any]:
        for batch in batches:
            counted.add(batch.num_rows)
            yield batch

    spark.sparkContext.parallelize(range(8), 4).map(str).collect()
    rows = [(str(n), f"2031-0{1 + n % 3}") for n in range(90)]
    frame = spark.createDataFrame(rows, "id string, date string").repartition(3)
    made = frame.mapInArrow(same, frame.schema).persist(StorageLevel.DISK_ONLY)
    parted = made.hint("rebalance", "date").sortWithinPartitions("date", "id").write.partitionBy("date")
    parted.option("compression", "zstd").parquet(f"{scratch}/set")
    read = spark.read.option("mergeSchema", "true").parquet(f"{scratch}/set")
    place = sql.struct(sql.col("_metadata.file_path"), sql.col("_metadata.row_index"))
    named = read.groupBy(sql.trim("id").alias("id")).agg(sql.count("*").alias("rows"), sql.min(place))
    named.where("rows > 1").agg(sql.count("*")).first()
    read.agg(sql.countDistinct("id")).first()
    read.orderBy("date", "id").limit(3).collect()
    gateway: Any = spark.sparkContext._gateway
    spark.stop()
    gateway.shutdown()
    gateway.proc.stdin.close()
    gateway.proc.wait()


if __name__ == "__main__":
    main()
