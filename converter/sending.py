"""Sends an archive to a FHIR server, beside `api`: joins the archive, FHIR with its ledger, and the upload.

Takes an archive and a server; gives what the server said. The ledger says what was sent before, so that what
no longer holds is taken back and what changed is corrected; `upload` remembers what the server accepted, so
that only the rest is sent.
"""

import hashlib
import shutil
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

from converter.api import Session, convert, has_text, open_checker
from converter.model import Assessment, Diagnostic, Note, Reading, Severity

if TYPE_CHECKING:
    from converter.archive import Archive
    from converter.fhir import Ledger, NoteEntry
    from converter.upload import Accepted, Answer, Parcel, Patience, Server

Read = tuple[Note, Reading, tuple[Assessment, ...]]
Tell = Callable[[Diagnostic, Note | None], None]
WOULD_BE_SENT = "would-be-sent"


@dataclass(frozen=True, slots=True, kw_only=True)
class SendOptions:
    """How to send.

    Attributes:
        ledger: folder of what was sent before, made where it is missing; one for each server.
        batch_notes: notes in one transaction.
        dry_run: send nothing, say what would be sent.
        again: also what the server has accepted before in the same words.
        take_back: also take back what was sent for notes that the archive holds no more.
        checked: check each resource; a note with a faulty one is not sent.
        patience: how often and how long to try.
        wait: waits so many seconds.
    """

    ledger: Path
    batch_notes: int = 10
    dry_run: bool = False
    again: bool = False
    take_back: bool = False
    checked: bool = True
    patience: "Patience"
    wait: Callable[[float], None]


@dataclass(slots=True)
class Totals:
    """What became of the notes that were looked at; each is in one of the first three.

    Attributes:
        sent: given to the server, or would be.
        unchanged: accepted before in the same words, so not sent.
        refused_here: not sent, since they name no system, came with two texts, or have a faulty resource.
        missing: sent before and not in the archive any more.
        answers: fate of a resource -> how many.
    """

    sent: int = 0
    unchanged: int = 0
    refused_here: int = 0
    missing: int = 0
    answers: Counter[str] = field(default_factory=Counter)


def send(
    archive: Path | str,
    server: "Server",
    options: SendOptions,
    session: Session,
    tell: Tell,
    answered: "Callable[[Answer], None]",
) -> Totals:
    """Send all notes of an archive that the server has not accepted yet.

    Args:
        archive: the file.
        server: where to.
        options: how.
        session: how resources are made.
        tell: called with what is doubtful, and why a note is not sent.
        answered: called with what the server said about each resource.

    Raises:
        ArchiveError: there is no such archive.
        UploadError: the server cannot be reached, refuses us, or the ledger cannot be used; what the server
            accepted before that is remembered.
        OSError: the ledger cannot be written.
    """
    from converter.archive import Cohort, FindQuery, open_archive
    from converter.fhir import Ledger
    from converter.upload import Accepted

    with ExitStack() as stack:
        opened = stack.enter_context(open_archive(archive, read_only=True))
        folder = stack.enter_context(_folder(options))
        accepted = stack.enter_context(Accepted(folder, server.address, session.fhir.base))
        sending = _Sending(opened, Ledger(folder), accepted, options, session, tell)
        return sending.run(Cohort(opened, FindQuery()).reads(), server, answered)


class _Sending:
    """One run over the notes of an archive."""

    def __init__(
        self,
        archive: "Archive",
        ledger: "Ledger",
        accepted: "Accepted",
        options: SendOptions,
        session: Session,
        tell: Tell,
    ) -> None:
        self._archive = archive
        self._ledger = ledger
        self._accepted = accepted
        self._options = options
        self._session = session
        self._tell = tell
        self._quotes = session.fhir.quotes and has_text(archive)
        self._checker = open_checker(session)[0] if options.checked else None
        self.totals = Totals()

    def run(self, reads: Iterator[Read], server: "Server", answered: "Callable[[Answer], None]") -> Totals:
        """Send everything; where it ends early, the journal of the ledger is kept."""
        finished = False
        try:
            for answer in self._answers(self._parcels(reads), server):
                self.totals.answers[answer.fate] += 1
                answered(answer)
            finished = True
        finally:
            if finished:
                self._ledger.close()
            else:
                self._ledger.abandon(forget=False)
        return self.totals

    def _answers(self, parcels: "Iterator[Parcel]", server: "Server") -> "Iterator[Answer]":
        from converter.fhir import json_text
        from converter.upload import Uploader, open_client

        options = self._options
        if options.dry_run:
            yield from (answer for parcel in parcels for answer in self._would_be(parcel))
            return
        with open_client(server, options.patience, options.wait) as client:
            uploader = Uploader(client, self._accepted, self._bundle, json_text, options.batch_notes)
            yield from uploader.send(parcels)

    def _parcels(self, reads: Iterator[Read]) -> "Iterator[Parcel]":
        from converter.archive import first_reads

        for read, recorded in first_reads(self._archive, reads):
            made = self._made(read, recorded)
            if made is None:
                self.totals.refused_here += 1
            elif (parcel := self._settled(made)) is not None:
                yield parcel
        for entry in self._ledger.not_seen():
            self.totals.missing += 1
            if self._options.take_back and (parcel := self._withdrawn(entry)) is not None:
                yield parcel

    def _made(self, read: Read, recorded: str | None) -> list[dict[str, Any]] | None:
        """The resources of a note, or None where it cannot be sent; that is told."""
        note, reading, assessments = read
        if note.system is None:
            self._tell(_NO_SYSTEM, note)
            return None
        fhir = replace(self._session.fhir, recorded=recorded, quotes=self._quotes)
        resources, doubts = convert(note, reading, assessments, replace(self._session, fhir=fhir))
        checked = self._checker.check if self._checker is not None else None
        faults = [fault for one in resources for fault in checked(one)] if checked is not None else []
        wrong = [one for one in (*doubts, *faults) if _is_error(one)]
        for doubt in (*doubts, *(fault for fault in faults if _is_error(fault))):
            self._tell(doubt, note)
        return None if wrong else resources

    def _settled(self, resources: list[dict[str, Any]]) -> "Parcel | None":
        """What is to be sent for a note; None where the server has just that, or had the note already."""
        from converter.fhir import settle

        document = next(one for one in resources if one["resourceType"] == "DocumentReference")
        if self._ledger.seen(document["id"]) is not None:
            self._tell(_TWO_TEXTS, None)
            self.totals.refused_here += 1
            return None
        settled, entry = settle(resources, self._ledger.previous(document["id"]), self._session.fhir.release)
        self._ledger.record(entry)
        return self._parcel(entry, settled)

    def _withdrawn(self, entry: "NoteEntry") -> "Parcel | None":
        from converter.fhir import withdraw

        resources, entry = withdraw(entry, self._session.fhir.release)
        self._ledger.record(entry)
        return self._parcel(entry, resources) if resources else None

    def _parcel(self, entry: "NoteEntry", resources: list[dict[str, Any]]) -> "Parcel | None":
        from converter.fhir import json_text
        from converter.upload import Parcel

        written = "\n".join(json_text(one) for one in resources)
        digest = hashlib.sha256(written.encode("utf-8", errors="replace")).hexdigest()
        if not self._options.again and self._accepted.has(entry.note, digest):
            self.totals.unchanged += 1
            return None
        self.totals.sent += 1
        return Parcel(
            note=entry.note, system=entry.system, id=entry.id, digest=digest, resources=tuple(resources)
        )

    def _bundle(self, resources: list[dict[str, Any]]) -> dict[str, Any]:
        from converter.fhir import transaction

        return transaction(resources, self._session.fhir)

    def _would_be(self, parcel: "Parcel") -> "Iterator[Answer]":
        from converter.upload.answers import same_answer

        return same_answer(0, [parcel], self._bundle(list(parcel.resources)), WOULD_BE_SENT, None, None)


@contextmanager
def _folder(options: SendOptions) -> Iterator[Path]:
    """The folder of the ledger; a dry run works on a copy."""
    if not options.dry_run:
        options.ledger.mkdir(mode=0o700, parents=True, exist_ok=True)
        yield options.ledger
        return
    with TemporaryDirectory(prefix="plexor-") as scratch:
        if options.ledger.is_dir():
            shutil.copytree(options.ledger, scratch, dirs_exist_ok=True)
        yield Path(scratch)


def _is_error(doubt: Diagnostic) -> bool:
    return doubt.severity in (Severity.ERROR, Severity.FATAL)


_NO_SYSTEM = Diagnostic(
    code="no-note-system",
    severity=Severity.ERROR,
    message="The note names no system in which its id is unique, so it is not sent.",
    hint="Load it again with --system URI, or set system under [notes] in plexor.toml.",
)
_TWO_TEXTS = Diagnostic(
    code="one-identity-two-texts",
    severity=Severity.ERROR,
    message="A note stands in the archive with two texts; the second is not sent.",
    hint="Give each note an id of its own.",
)
