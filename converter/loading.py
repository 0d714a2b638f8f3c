"""Notes into the archive: read what is new, pass by what is known, store; beside `api`.

Takes notes and a Session; gives the totals of the run. Storing itself belongs to `archive`.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import asdict, dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from converter.api import FAULT, Session, assess
from converter.engines import Done, local_engine
from converter.model import Assessment, Diagnostic, Note, Reading, Severity
from converter.settings import Settings
from converter.sources import NOTE_KEPT
from converter.works import ToAssessments

if TYPE_CHECKING:
    from converter.archive import Archive, Item, RunTotals

_FAULTS = frozenset({FAULT, "note-not-done", "note-stops-worker"})
"""Codes of a reading that stands for a note on which the program itself failed."""
_BATCH_NOTES, _BATCH_CHARACTERS = 1000, 8_000_000


def _nothing(*_: object) -> None:
    pass


@dataclass(frozen=True, slots=True, kw_only=True)
class Loading:
    """How to load.

    Attributes:
        quotes: False keeps all text out of the archive; the first load settles it.
        only_failed: take only notes that failed in an earlier load and have not gone through since.
        finished: gives the time when the last note is stored, ISO 8601; else the session's time stands.
        progress: called with the totals so far after each transaction.
        fault: called for each note that the program itself failed on.
        workers: how many processes read; None for one on each core.
        warn: called for each worker that dies.
    """

    quotes: bool = True
    only_failed: bool = False
    finished: Callable[[], str] | None = None
    progress: Callable[["RunTotals"], None] = _nothing
    fault: Callable[[Diagnostic, Note], None] = _nothing
    workers: int | None = 1
    warn: Callable[[Diagnostic], None] = _nothing


def load(
    items: Iterable[Note | Diagnostic], archive: Path | str, session: Session, how: Loading | None = None
) -> "RunTotals":
    """Read, assess and store notes; what could not be taken from its source is counted as failed.

    A note that the archive holds, read with this vocabulary by this program, is not read again. No two notes
    of one load may share an identity; `sources` sees to that.

    Raises:
        ArchiveError: the archive cannot be written.
    """
    from converter.archive import LoadOptions, RunInfo, open_archive
    from converter.archive import load as store

    how, time = how or Loading(), session.time or ""
    run = RunInfo(
        run=session.run,
        program=session.program,
        started=time,
        finished=how.finished or (lambda: time),
        settings=settings_record(session.settings, quotes=how.quotes),
    )
    options = LoadOptions(
        quotes=how.quotes,
        progress=how.progress,
        assess=lambda note, reading: assess(note, reading, session),
    )
    with open_archive(archive, create=not how.only_failed):
        pass  # an archive that cannot be written is told of before any note is read
    with local_engine(ToAssessments(session), how.workers, how.warn) as engine:
        items = engine.prepared(items)  # workers start while no database is open
        with open_archive(archive, create=not how.only_failed) as opened:
            wanted = _failed_only(items, opened) if how.only_failed else items
            read = engine.run(_needed(wanted, opened, session))
            return store(opened, map(partial(_item, how), read), run, session.vocabulary, options)


def settings_record(settings: Settings, quotes: bool) -> dict[str, str]:
    """The settings of a run as plain pairs, e.g. `reading.pair_order`; unset ones are left out."""
    from json import dumps

    sections = {name: section for name, section in asdict(settings).items() if isinstance(section, dict)}
    sections["archive"] |= {"quotes": quotes}
    return {
        f"{section}.{name}": value if isinstance(value, str) else dumps(value)
        for section, entries in sections.items()
        for name, value in entries.items()
        if value is not None
    }


@dataclass(frozen=True, slots=True)
class _Known:
    """A note that need not be read again: no work for an engine."""

    note: Note


_Read = Done[tuple[Reading, tuple[Assessment, ...]]]


def _needed(
    items: Iterable[Note | Diagnostic], archive: "Archive", session: Session
) -> Iterator[Note | Diagnostic | _Known]:
    """The items, those notes wrapped that need not be read."""
    for item, needed in _with_need(items, archive, session):
        yield item if needed or isinstance(item, Diagnostic) else _Known(item)


def _item(how: Loading, done: _Read | Diagnostic | _Known) -> "Item":
    """What the archive is to store of an item."""
    from converter.archive import Failed

    if isinstance(done, Diagnostic):
        return replace(done, severity=Severity.WARNING) if done.code in NOTE_KEPT else done
    if isinstance(done, _Known):
        return done.note
    reading, assessments = done.result
    fault = next((trouble for trouble in reading.diagnostics if trouble.code in _FAULTS), None)
    if fault is None:
        return done.note, reading, assessments
    how.fault(fault, done.note)
    return Failed(diagnostic=fault, note=done.note)


def _with_need(
    items: Iterable[Note | Diagnostic], archive: "Archive", session: Session
) -> Iterator[tuple[Note | Diagnostic, bool]]:
    """Each item, in order, with whether it is a note that has to be read."""
    from converter.archive import needs_reading
    from converter.archive.batching import batches

    for batch in batches(items, _characters, _BATCH_NOTES, _BATCH_CHARACTERS):
        notes = [item for item in batch if isinstance(item, Note)]
        asked = needs_reading(archive, notes, session.vocabulary.fingerprint, session.program)
        for item in batch:
            yield next(asked) if isinstance(item, Note) else (item, False)


def _characters(item: Note | Diagnostic) -> int:
    return len(item.text) if isinstance(item, Note) else 0


def _failed_only(items: Iterable[Note | Diagnostic], archive: "Archive") -> Iterator[Note | Diagnostic]:
    """The items at the place, or with the identity, of a note that failed before."""
    from converter.archive import failed_notes

    failed = list(failed_notes(archive))
    names = {(row.system, row.id) for row in failed if row.id is not None}
    places = {(row.source, row.line) for row in failed if row.line is not None}
    files = {row.source for row in failed if row.line is None and row.id is None}
    for item in items:
        known = isinstance(item, Note) and (item.system, item.id) in names
        if known or (item.source, item.line) in places or (item.source is not None and item.source in files):
            yield item
