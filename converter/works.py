"""The work that a run does on every note, in a form that any engine can carry; beside `api`.

Takes a Session; gives values that an engine opens where it works. What stands for a note that the work could
not be done on is made here too, so that every note that comes in comes out.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING, Any, NamedTuple

from converter.api import Session, assess, convert, not_read, read_notes
from converter.model import Diagnostic, Note, Reading, Severity
from converter.model.record import reading_to_record
from converter.reading import reader  # noqa: F401 - here already, so that workers, which are forked, share it

if TYPE_CHECKING:
    from converter.check import Checker, Definitions
    from converter.model import Assessment


def record_line(reading: Reading) -> str:
    """The record of a reading as one line of JSON; its only numbers are places and grades."""
    record = reading_to_record(reading)
    try:
        return _writer()(record)
    except TypeError:  # half characters, in a reading that did not come from our sources
        return _slowly(record)


@cache
def _writer() -> Callable[[dict[str, Any]], str]:
    try:
        import orjson
    except ImportError:
        return _slowly
    return lambda record: orjson.dumps(record).decode()


def _slowly(record: dict[str, Any]) -> str:
    import json

    return json.dumps(record, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


@dataclass(frozen=True, slots=True)
class ToReadings:
    """Reads a note."""

    session: Session

    def open(self) -> Callable[[Note], Reading]:
        """See `engines.Work`."""
        session = self.session
        return lambda note: _read(note, session)

    def instead(self, note: Note, fault: Diagnostic) -> Reading:
        """A reading that says what went wrong."""
        return not_read(note, self.session, fault)


class Line(NamedTuple):
    """A record as it is written, and what of it is told on the way.

    Attributes:
        text: one line of JSON, without its end.
        errors: the errors among the diagnostics of the reading.
        findings, unread: how many it holds.
    """

    text: str
    errors: tuple[Diagnostic, ...] = ()
    findings: int = 0
    unread: int = 0


@dataclass(frozen=True, slots=True)
class ToLines:
    """Reads a note and writes its record."""

    session: Session

    def open(self) -> Callable[[Note], Line]:
        """See `engines.Work`."""
        session = self.session
        return lambda note: _line(_read(note, session))

    def instead(self, note: Note, fault: Diagnostic) -> Line:
        """A record that says what went wrong."""
        return _line(not_read(note, self.session, fault))


@dataclass(frozen=True, slots=True)
class ToAssessments:
    """Reads a note and says what is abnormal in its exams."""

    session: Session

    def open(self) -> Callable[[Note], "tuple[Reading, tuple[Assessment, ...]]"]:
        """See `engines.Work`."""
        session = self.session

        def work(note: Note) -> "tuple[Reading, tuple[Assessment, ...]]":
            reading = _read(note, session)
            return reading, assess(note, reading, session)

        return work

    def instead(self, note: Note, fault: Diagnostic) -> "tuple[Reading, tuple[Assessment, ...]]":
        """A reading that says what went wrong, without exams."""
        return not_read(note, self.session, fault), ()


@dataclass(frozen=True, slots=True)
class Converted:
    """A note in FHIR.

    Attributes:
        reading_errors: the errors of its reading.
        resources: its resources.
        doubts: what is doubtful about them.
        faults: what the checker has against them, or why the work could not be done.
        failed: whether the work could not be done.
    """

    reading_errors: tuple[Diagnostic, ...]
    resources: list[dict[str, Any]]
    doubts: tuple[Diagnostic, ...]
    faults: tuple[Diagnostic, ...]
    failed: bool = False

    @property
    def refused(self) -> bool:
        """Whether nothing of the note may be written, since one of its resources is faulty."""
        return bool(_errors(self.faults))

    def told(self, note: Note) -> tuple[Diagnostic, ...]:
        """What is told of the note, in the same order wherever it is written."""
        refused = (_not_written(note),) if self.refused else ()
        return (*self.reading_errors, *self.doubts, *_errors(self.faults), *refused)


@dataclass(frozen=True, slots=True)
class ToResources:
    """Reads a note, assesses it, makes its FHIR resources, and checks them where that is wanted.

    Attributes:
        session: how notes are read and converted.
        definitions: what the resources are checked against, the same wherever the work is done; None for no
            check.
    """

    session: Session
    definitions: "Definitions | None" = None

    def open(self) -> Callable[[Note], Converted]:
        """See `engines.Work`."""
        session, checker = self.session, None
        if self.definitions is not None:
            from converter.check import Checker

            checker = Checker(self.definitions, session.fhir.release)

        def work(note: Note) -> Converted:
            reading = _read(note, session)
            return converted(note, reading, assess(note, reading, session), session, checker)

        return work

    def instead(self, note: Note, fault: Diagnostic) -> Converted:
        """No resources, and the fault."""
        return Converted((), [], (), (fault,), failed=True)


def converted(
    note: Note,
    reading: Reading,
    assessments: "tuple[Assessment, ...]",
    session: Session,
    checker: "Checker | None" = None,
) -> Converted:
    """A note that was read and assessed in FHIR; checked where a checker is given."""
    made, doubts = convert(note, reading, assessments, session)
    faults = [fault for one in made for fault in checker.check(one)] if checker is not None else []
    return Converted(_errors(reading.diagnostics), made, doubts, tuple(faults))


def _not_written(note: Note) -> Diagnostic:
    return Diagnostic(
        code="not-written",
        severity=Severity.WARNING,
        message="Nothing of this note was written, since a resource made from it is faulty.",
        source=note.source,
        line=note.line,
    )


def _read(note: Note, session: Session) -> Reading:
    ((_, reading),) = read_notes((note,), session)
    return reading


def _line(reading: Reading) -> Line:
    errors = _errors(reading.diagnostics)
    return Line(record_line(reading), errors, len(reading.findings), len(reading.unread))


def _errors(diagnostics: Sequence[Diagnostic]) -> tuple[Diagnostic, ...]:
    if not diagnostics:
        return ()
    wrong = (Severity.ERROR, Severity.FATAL)
    return tuple(one for one in diagnostics if one.severity in wrong)
