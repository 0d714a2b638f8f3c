"""The archive: one DuckDB file that keeps every note and reading that was ever loaded, and searches them.

Takes notes with their readings and assessments; gives totals, found rows and plain SQL over documented views.
Leaves reading to `reading`, rules to `assess`, and FHIR to `fhir`.
"""

from converter.archive.cohort import Cohort
from converter.archive.fhir_search import query_from_fhir
from converter.archive.finding import COUNTABLE, count, find
from converter.archive.loading import load
from converter.archive.lookup import already_read, failed_notes, first_read, first_reads, needs_reading
from converter.archive.opening import open_archive
from converter.archive.parquet import write_parquet, write_table
from converter.archive.plain_sql import SqlResult, sql
from converter.archive.queries import (
    ABSENT_ANKLE_BRISK_KNEE,
    Asymmetry,
    Change,
    CountRow,
    FindQuery,
    FoundRow,
    Pattern,
    Sign,
    Together,
)
from converter.archive.stored import stored_readings
from converter.archive.values import (
    Archive,
    ArchiveError,
    Failed,
    FailedRow,
    FindingKey,
    Item,
    LoadOptions,
    NoteKey,
    RunInfo,
    RunTotals,
)

__all__ = [
    "ABSENT_ANKLE_BRISK_KNEE",
    "COUNTABLE",
    "Archive",
    "ArchiveError",
    "Asymmetry",
    "Change",
    "Cohort",
    "CountRow",
    "Failed",
    "FailedRow",
    "FindQuery",
    "FindingKey",
    "FoundRow",
    "Item",
    "LoadOptions",
    "NoteKey",
    "Pattern",
    "RunInfo",
    "RunTotals",
    "Sign",
    "SqlResult",
    "Together",
    "already_read",
    "count",
    "failed_notes",
    "find",
    "first_read",
    "first_reads",
    "load",
    "needs_reading",
    "open_archive",
    "query_from_fhir",
    "sql",
    "stored_readings",
    "write_parquet",
    "write_table",
]
