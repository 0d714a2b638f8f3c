"""Reaches a Spark cluster, and lets go of it; what went wrong there is told in one sentence.

What a site sets for its cluster (memory, cores, encryption, network) stays where Spark looks for it, in
`spark-defaults.conf`; nothing of that is set here.
"""

import os
import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from converter.engines.engine import EngineError

if TYPE_CHECKING:
    from pyspark.sql import SparkSession

_NAME = "plexor"
_LONGEST = 300
_OURS = {
    "spark.ui.showConsoleProgress": "false",  # it would be written between our own messages
    "spark.sql.parquet.binaryAsString": "true",
    "spark.sql.sources.partitionColumnTypeInference.enabled": "false",  # 007 is no 7
    "spark.sql.execution.arrow.maxRecordsPerBatch": "1000",  # notes are long
}


@contextmanager
def connected(master: str) -> Iterator["SparkSession"]:
    """A session on a cluster, ended at the end unless it was there before.

    Args:
        master: the cluster's URL as Spark writes it, e.g. `spark://host:7077` or `yarn`.

    Raises:
        EngineError: Spark or Java is not installed, or the cluster cannot be reached.
    """
    try:
        from pyspark.sql import SparkSession
    except ImportError as error:
        raise EngineError("Spark is not installed here: pip install 'plexor[spark]'") from error
    before = SparkSession.getActiveSession()
    session = before or _started(SparkSession.builder, master)
    try:
        yield session
    finally:
        if before is None:
            session.stop()


def _started(builder: Any, master: str) -> "SparkSession":
    os.environ.setdefault("PYSPARK_PYTHON", sys.executable)
    builder = builder.appName(_NAME).master(master)
    for key, value in _OURS.items():
        builder = builder.config(key, value)
    try:
        session: SparkSession = builder.getOrCreate()
    except Exception as error:
        raise EngineError(f"the cluster {master} cannot be used: {reason_of(error)}") from error
    session.sparkContext.setLogLevel("ERROR")
    return session


def reason_of(error: Exception) -> str:
    """The first line of what Spark or Java says about an error, or what a task of ours says."""
    java = getattr(error, "java_exception", None)
    said = str(java.getMessage() if java is not None else error).strip()
    ours = re.search(r"\bEngineError: (.+)", said)
    if ours is not None:
        return ours[1]
    line = (said.splitlines() or [type(error).__name__])[0]
    if "JAVA_GATEWAY_EXITED" in line:
        return "Java 17 or newer is needed, and could not be started"
    return line if len(line) <= _LONGEST else f"{line[:_LONGEST]} ..."
