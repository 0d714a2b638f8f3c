"""The process that an executor forks its Python workers from, with what they import already imported."""

import pandas  # noqa: F401
import pyarrow.parquet  # noqa: F401
import pyspark.sql.pandas.serializers  # noqa: F401
from pyspark import daemon

import converter.resource_datasets  # noqa: F401

if __name__ == "__main__":
    daemon.manager()
