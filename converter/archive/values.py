"""The values that go into and come out of the archive: runs, totals, failed notes, and the one error.

Plain frozen values; the searches have theirs in `queries`.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields
from typing import TYPE_CHECKING, NamedTuple, Self, TypeAlias

from converter.model import Assessment, Diagnostic, Note, Reading

if TYPE_CHECKING:
    from pathlib import Path
    from types import TracebackType

    import duckdb


class ArchiveError(Exception):
    """The archive cannot do what was asked; the message is one plain sentence without text of any note."""


class ArchiveBusyError(ArchiveError):
    """Another program has the archive open just now; the same call may succeed in a moment."""


class NoteKey(NamedTuple):
    """The identity of a note: `id` is unique within `system`."""

    system: str | None
    id: str


class FindingKey(NamedTuple):
    """The identity of a finding of the archive: its note, and its identifier within the note."""

    system: str | None
    id: str
    finding: str


@dataclass(frozen=True, slots=True)
class Archive:
    """An open archive; close it, or use it in a `with` statement.

    Attributes:
        path: the file.
        connection: the database connection.
        read_only: whether nothing can be written through it.
    """

    path: "Path"
    connection: "duckdb.DuckDBPyConnection"
    read_only: bool

    def close(self) -> None:
        """Close the file, so that others can write to it."""
        self.connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: "TracebackType | None"
    ) -> None:
        self.close()


@dataclass(frozen=True, slots=True, kw_only=True)
class RunInfo:
    """What a run says of itself; the caller passes it in, since the archive looks at no clock.

    Attributes:
        run: identifier of the run, chosen by the caller.
        program: name and version of the program.
        started: when the run began, ISO 8601.
        finished: asked once, after the last note is stored; gives ISO 8601.
        settings: the settings of the run, kept for the record.
    """

    run: str
    program: str
    started: str
    finished: Callable[[], str]
    settings: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Failed:
    """A note that could be taken from its source but not read.

    Attributes:
        diagnostic: why, in one sentence.
        note: the note, as far as it is known.
    """

    diagnostic: Diagnostic
    note: Note


Read: TypeAlias = tuple[Note, Reading, tuple[Assessment, ...]]
Assess: TypeAlias = Callable[[Note, Reading], tuple[Assessment, ...]]
"""Tells what is abnormal in a reading, for readings that a person amended."""
Item: TypeAlias = Read | Note | Failed | Diagnostic
"""What `load` takes, one a note:

- a note with its reading and assessments;
- a Note alone, where `already_read` or `needs_reading` said that reading it again is not needed;
- Failed, for a note that could not be read;
- a Diagnostic from the source: of severity error or fatal it stands for one note that could not be taken,
  else it is a remark that stands for no note.
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class RunTotals:
    """What became of the notes of a run. The first line is the sum of the next six.

    Attributes:
        notes_in: notes that came in.
        with_findings: new notes read, with findings.
        without_findings: new notes read, with no finding.
        duplicate: notes that stand in the archive with the same text and the same reading.
        superseded: notes whose earlier text or reading was replaced; the earlier one is kept as history.
        failed: notes that could not be taken, read or stored; `failed_notes` lists them.
        kept_out: notes that stay out because they were forgotten.
        findings: findings stored.
        abnormalities: abnormalities stored.
        unread: pieces of reflex wording that no rule understood.
        diagnostics: diagnostics stored with notes or with the run.
    """

    notes_in: int = 0
    with_findings: int = 0
    without_findings: int = 0
    duplicate: int = 0
    superseded: int = 0
    failed: int = 0
    kept_out: int = 0
    findings: int = 0
    abnormalities: int = 0
    unread: int = 0
    diagnostics: int = 0

    @property
    def adds_up(self) -> bool:
        """Whether every note that came in is accounted for."""
        return self.notes_in == (
            self.with_findings
            + self.without_findings
            + self.duplicate
            + self.superseded
            + self.failed
            + self.kept_out
        )

    def plus(self, other: "RunTotals") -> "RunTotals":
        """The sum of both, count by count."""
        return RunTotals(**{name: getattr(self, name) + getattr(other, name) for name in TOTALS})


TOTALS = tuple(entry.name for entry in fields(RunTotals))


@dataclass(frozen=True, slots=True, kw_only=True)
class LoadOptions:
    """How to load.

    Attributes:
        quotes: False keeps the notes' text, and every quotation of it, out of the archive. The first load
            settles it for the archive; a later load that says otherwise is refused.
        batch_notes: notes stored in one transaction.
        batch_characters: a transaction is closed early once its notes hold this many characters.
        progress: called with the totals so far after each transaction.
        assess: assesses readings to which amendments were applied; without it, a note with amendments fails.
    """

    quotes: bool = True
    batch_notes: int = 1000
    batch_characters: int = 8_000_000
    progress: Callable[[RunTotals], None] | None = None
    assess: Assess | None = None


@dataclass(frozen=True, slots=True)
class FailedRow:
    """A note that failed and has not gone through since.

    Attributes:
        run: identifier of the run in which it failed last.
        system, id, note_hash: identity of the note, as far as it was known.
        source, line: the place it came from, as far as it was known.
        code, message, hint: why; without message and hint in an archive without quotes.
    """

    run: str
    system: str | None
    id: str | None
    note_hash: str | None
    source: str | None
    line: int | None
    code: str
    message: str | None
    hint: str | None
