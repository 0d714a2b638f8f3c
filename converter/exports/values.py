"""The values of an export: what all targets share, what a target is, and the manifest.

Plain frozen values; the manifest says as a plain dict what `manifest.json` holds.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Protocol, TypeAlias

from converter.model import Assessment, Note, Reading

if TYPE_CHECKING:
    from converter.exports.writer import Writer

MANIFEST = "manifest.json"
SCHEMA = "plexor-export-1"

Read: TypeAlias = tuple[Note, Reading, tuple[Assessment, ...]]
Reads: TypeAlias = Callable[[int], Iterator[Read]]
"""Gives the notes from the one with this number on, counted from 0; always the same notes in the same order:
by patient (notes that name none last), time (without one last), system (without one first), id."""


class ExportError(Exception):
    """The export cannot be done; the message is one plain sentence without text of any note."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Common:
    """What the manifest of every target says.

    Attributes:
        program: name and version.
        vocabulary: fingerprint of the words, scales and reflexes of this run.
        caution: the sentence that every export carries.
        made: when the export was begun, an ISO 8601 instant, or None.
        filters: what chose the notes, by the name of the option; empty for all notes.
        state: fingerprint of what the archive holds of the chosen notes; where it differs, an interrupted
            export is begun anew.
        words_kept: whether the archive keeps the notes' words; without them texts and quotes are empty.
    """

    program: str
    vocabulary: str
    caution: str
    made: str | None = None
    filters: Mapping[str, Any] = field(default_factory=dict)
    state: str = ""
    words_kept: bool = True


class Target(Protocol):
    """A format to export to.

    It holds its own choices and nothing that it learns from the notes: an interrupted export goes on with a
    new one. What must outlast a part goes into `Writer.add`.
    """

    @property
    def name(self) -> str:
        """The name behind `--to`."""

    @property
    def options(self) -> Mapping[str, Any]:
        """The target's own choices as plain JSON values; an interrupted export goes on only with the same."""

    def write(self, reads: Iterator[Read], writer: "Writer") -> None:
        """Write one part of the notes, all of them.

        It is called once for each part: some hundred notes, with all notes of a patient in one part. A file
        that is opened again goes on where the part before ended. A note that cannot be written is given to
        `Writer.leave_out`.
        """

    def finish(self, writer: "Writer") -> Mapping[str, Any]:
        """Write what stands at the end; called once, after the last part. Gives further manifest entries.

        A file that must be there even without notes is opened here.
        """


@dataclass(frozen=True, slots=True)
class ExportedFile:
    """One file of an export.

    Attributes:
        name: path inside the folder, with `/`.
        rows: records in it, as its target counts them.
        bytes: its size.
        sha256: of its content, lower-case hexadecimal.
    """

    name: str
    rows: int
    bytes: int
    sha256: str


@dataclass(frozen=True, slots=True)
class ReadWith:
    """How many of the notes were read by one program with one vocabulary."""

    program: str
    vocabulary: str
    notes: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Manifest:
    """What an export holds and how it came to be.

    Attributes:
        target, options: name and choices of the target.
        common: what all targets share.
        notes, findings: how many came in; a note that was left out is among them.
        left_out: notes that were left out, by reason; `left-out.csv` names them.
        remarks: what was doubtful, counted by code.
        read_with: programs and vocabularies that read the notes.
        files: in the order of their names.
        more: the target's own entries.
        resumed_after: notes that an earlier, interrupted run had written; not part of the file.
    """

    target: str
    options: Mapping[str, Any]
    common: Common
    notes: int
    findings: int
    left_out: Mapping[str, int]
    remarks: Mapping[str, int]
    read_with: tuple[ReadWith, ...]
    files: tuple[ExportedFile, ...]
    more: Mapping[str, Any]
    resumed_after: int = 0

    @property
    def written(self) -> int:
        """Notes that the target wrote."""
        return self.notes - sum(self.left_out.values())

    def record(self) -> dict[str, Any]:
        """What `manifest.json` holds, in its order."""
        common = self.common
        return {
            "schema": SCHEMA,
            "target": self.target,
            "program": common.program,
            "vocabulary": common.vocabulary,
            "made": common.made,
            "caution": common.caution,
            "filters": dict(common.filters),
            "filters_choose": CHOOSING,
            "options": dict(self.options),
            "words_kept": common.words_kept,
            "counts": {
                "notes": self.notes,
                "notes_written": self.written,
                "notes_left_out": dict(self.left_out),
                "findings": self.findings,
                "remarks": dict(self.remarks),
            },
            "read_with": [
                {"program": one.program, "vocabulary": one.vocabulary, "notes": one.notes}
                for one in self.read_with
            ],
            "files": [
                {"name": one.name, "rows": one.rows, "bytes": one.bytes, "sha256": one.sha256}
                for one in self.files
            ],
            **self.more,
        }


CHOOSING = (
    "Filters choose notes: a note is in where it, or at least one finding in it, matches all of them. All "
    "findings of a chosen note are in, also those that do not match."
)
