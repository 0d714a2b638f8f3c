"""What a caller can say about where notes come from."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal, get_args

NoteField = Literal[
    "id",
    "text",
    "system",
    "patient",
    "encounter",
    "author",
    "facility",
    "authored",
    "kind",
    "birth_date",
    "age",
    "sex",
]
FIELDS: tuple[str, ...] = get_args(NoteField)
"""The fields of a note that a column or a JSON field can hold."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceOptions:
    """How to read the inputs.

    Attributes:
        input_format: name of a format (`text`, `jsonl`, `csv`, `tsv`) to use for every input, or None to
            find it from each file's content and name.
        columns: our field -> the input's column, e.g. `{"text": "NOTE_TEXT"}`; a field that is not named
            here is looked for under its own name.
        system: URI of the space in which the ids are unique, for notes that do not name one.
        file_name: which fields the names of plain text files hold, e.g. `{patient}-V*`; see `file_names`.
        encoding: the inputs' character encoding, or None for UTF-8 with a fallback to Windows-1252.
        sections: which sections of CDA documents and FHIR Compositions are read; see `sections`.
        largest_note: notes of more characters than this are refused, so that memory stays bounded.
    """

    input_format: str | None = None
    columns: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))
    system: str | None = None
    file_name: str | None = None
    encoding: str | None = None
    sections: tuple[str, ...] = ("examination",)
    largest_note: int = 32 * 1024 * 1024

    def column(self, name: str) -> str:
        """The input's name for one of our fields."""
        return self.columns.get(name, name)
