"""Notes into the archive: read what is new, pass by what is known, store; beside `api`.

Takes notes and a Session; gives the totals of the run. Storing itself belongs to `archive`.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from converter.api import FAULT, Session, assess, read_notes
from converter.model import Diagnostic, Note, Severity
from converter.settings import Settings
from converter.sources import NOTE_KEPT

if TYPE_CHECKING:
    from converter.archive import Archive, Item, RunTotals

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
    """

    quotes: bool = True
    only_failed: bool = False
    finished: Callable[[], str] | None = None
    progress: Callable[["RunTotals"], None] = _nothing
    fault: Callable[[Diagnostic, Note], None] = _nothing


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
    with open_archive(archive, create=not how.only_failed) as opened:
        wanted = _failed_only(items, opened) if how.only_failed else items
        return store(opened, _to_store(wanted, opened, session, how), run, session.vocabulary, options)


def settings_record(settings: Settings, quotes: bool) -> dict[str, str]:
    """The settings of a run as plain pairs, e.g. `reading.pair_order`; unset ones are left out."""
    from json import dumps

    sections = settings.model_dump(mode="json")
    sections["archive"] |= {"quotes": quotes}
    return {
        f"{section}.{name}": value if isinstance(value, str) else dumps(value)
        for section, entries in sections.items()
        for name, value in entries.items()
        if value is not None
    }


def _to_store(
    items: Iterable[Note | Diagnostic], archive: "Archive", session: Session, how: Loading
) -> "Iterator[Item]":
    for item, needed in _with_need(items, archive, session):
        if isinstance(item, Diagnostic):
            yield replace(item, severity=Severity.WARNING) if item.code in NOTE_KEPT else item
        elif needed:
            yield _read(item, session, how)
        else:
            yield item


def _read(note: Note, session: Session, how: Loading) -> "Item":
    from converter.archive import Failed

    ((_, reading),) = read_notes((note,), session)
    fault = next((trouble for trouble in reading.diagnostics if trouble.code == FAULT), None)
    if fault is None:
        return note, reading, assess(note, reading, session)
    how.fault(fault, note)
    return Failed(diagnostic=fault, note=note)


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
