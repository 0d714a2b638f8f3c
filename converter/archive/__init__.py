"""The archive: one DuckDB file that keeps every note and reading that was ever loaded, and searches them.

Takes notes with their readings and assessments; gives totals, found rows and plain SQL over documented views.
Leaves reading to `reading`, rules to `assess`, and FHIR to `fhir`.
"""

from converter.archive.amended import amended
from converter.archive.amending import AmendmentError, Maker, amend, undo
from converter.archive.amendments import amendments
from converter.archive.cohort import Cohort
from converter.archive.fhir_search import query_from_fhir
from converter.archive.finding import COUNTABLE, count, find
from converter.archive.forgetting import Forgotten, Whom, forget, lift_guard
from converter.archive.linking import Link, relink
from converter.archive.loading import load
from converter.archive.lookup import (
    already_read,
    failed_notes,
    first_read,
    first_reads,
    needs_reading,
    note_keys,
    notes_of_patient,
    notes_with_words,
)
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
from converter.archive.stored import every_reading, stored_readings
from converter.archive.values import (
    Archive,
    ArchiveBusyError,
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
    "AmendmentError",
    "Archive",
    "ArchiveBusyError",
    "ArchiveError",
    "Asymmetry",
    "Change",
    "Cohort",
    "CountRow",
    "Failed",
    "FailedRow",
    "FindQuery",
    "FindingKey",
    "Forgotten",
    "FoundRow",
    "Item",
    "Link",
    "LoadOptions",
    "Maker",
    "NoteKey",
    "Pattern",
    "RunInfo",
    "RunTotals",
    "Sign",
    "SqlResult",
    "Together",
    "Whom",
    "already_read",
    "amend",
    "amended",
    "amendments",
    "count",
    "every_reading",
    "failed_notes",
    "find",
    "first_read",
    "first_reads",
    "forget",
    "lift_guard",
    "load",
    "needs_reading",
    "note_keys",
    "notes_of_patient",
    "notes_with_words",
    "open_archive",
    "query_from_fhir",
    "relink",
    "sql",
    "stored_readings",
    "undo",
    "write_parquet",
    "write_table",
]
