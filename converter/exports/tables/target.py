"""The target `tables`: tidy tables for analysis as CSV and Parquet, with a dictionary and schemas.

Takes the notes; gives seven tables, each as CSV and Parquet, `dictionary.csv`, a JSON Schema for each table,
`datapackage.json`, and a ViewDefinition that makes the table of findings from FHIR.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from itertools import groupby
from typing import Any

from converter.exports.tables.describing import (
    DICTIONARY,
    data_package,
    dictionary_rows,
    json_schema,
    pretty,
)
from converter.exports.tables.exams import exam_rows, patient_rows
from converter.exports.tables.fields import tables
from converter.exports.tables.files import csv_rows, write_parquet
from converter.exports.tables.rows import Naming, Row, finding_rows, reflex_rows
from converter.exports.tables.view import view_definition
from converter.exports.values import Read
from converter.exports.writer import Writer
from converter.words import Vocabulary

_TITLE = "Reflex findings from clinical notes"
_Write = Callable[[Row], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class TablesTarget:
    """Exports analysis tables.

    Attributes:
        vocabulary: reflexes, scales and words.
        naming: names of notes and findings in the FHIR export.
        base: canonical base of our profiles.
        caution: the sentence that every description carries.
        quotes: whether the words of the notes are given.
    """

    vocabulary: Vocabulary
    naming: Naming
    base: str
    caution: str
    quotes: bool = True
    name: str = "tables"

    @property
    def options(self) -> Mapping[str, Any]:
        """The choices that decide about the bytes."""
        return {"quotes": self.quotes, "base": self.base}

    def write(self, reads: Iterator[Read], writer: Writer) -> None:
        """Write the rows of some notes."""
        rows = self._open(writer)
        for _, mine in groupby(reads, key=lambda read: read[0].patient):
            notes = list(mine)
            for note, reading, _ in notes:
                for row in finding_rows(note, reading, self.vocabulary, self.naming, self.quotes):
                    rows["findings"](row)
                for row in reflex_rows(note, reading, self.vocabulary, self.naming):
                    rows["reflexes"](row)
                for name, row in exam_rows(note, reading, self.vocabulary, self.naming):
                    rows[name](row)
            for row in patient_rows(notes, self.vocabulary):
                rows["patient_time"](row)

    def finish(self, writer: Writer) -> Mapping[str, Any]:
        """Write the Parquet files and what describes the tables."""
        self._open(writer)
        writer.end_part()  # so that the CSV files are on the disk, also those without a row
        every = tables(self.vocabulary).values()
        write_parquet(every, writer)
        for table in every:
            self._text(writer, f"schemas/{table.name}.schema.json", json_schema(table, self.caution))
        self._text(writer, "datapackage.json", data_package(every, _TITLE, self.caution))
        self._text(writer, "findings.view.json", view_definition(self.base, self.caution))
        write = writer.csv("dictionary.csv", DICTIONARY)
        for row in dictionary_rows(every):
            write(row)
        return {"rows": {table.name: writer.rows(f"{table.name}.csv") for table in every}}

    def _open(self, writer: Writer) -> dict[str, _Write]:
        return {name: csv_rows(table, writer) for name, table in tables(self.vocabulary).items()}

    @staticmethod
    def _text(writer: Writer, name: str, value: Any) -> None:
        writer.open_text(name).write(pretty(value))
