"""Takes a patient or a note out of an archive, and out of the servers that had them from us; beside `api`.

Takes an archive, whom to forget and a Session; gives counts and a FHIR Bundle of retractions. The archive
itself belongs to `archive`, what was sent to `fhir`.
"""

from collections.abc import Iterator
from dataclasses import replace
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Any

from converter.api import Session, convert, has_text
from converter.fhir import retractions

if TYPE_CHECKING:
    from converter.archive import Archive, Forgotten, NoteKey, Whom
    from converter.fhir.retraction import Way

Json = dict[str, Any]


def retraction_bundle(archive: Path, whom: "Whom", session: Session, way: "Way") -> Json:
    """What takes back all that can have been sent of a patient or a note; to be made before forgetting.

    As `entered-in-error` it speaks of what the notes hold now, also of findings that a person rejected: an
    earlier finding was taken back when the note was sent anew, and no record is to be made on a server only
    to be withdrawn. As `delete` it also speaks of what earlier readings held, and of the records that
    `--expand` adds.

    Raises:
        ArchiveError: there is no such archive.
    """
    from converter.archive import open_archive

    fhir = replace(session.fhir, expand=way == "delete" or session.fhir.expand, recorded=session.time)
    asked = replace(session, fhir=replace(fhir, diagnostic_report=way == "delete" or fhir.diagnostic_report))
    with open_archive(archive, read_only=True) as opened:
        fhir = replace(asked.fhir, quotes=asked.fhir.quotes and has_text(opened))
        resources = list(_resources(opened, whom, replace(asked, fhir=fhir), way))
    return retractions(resources, asked.fhir, way)


def forget(
    archive: Path, whom: "Whom", by: str, session: Session, salt: str, *, guard: bool = True
) -> "Forgotten":
    """Take a patient or a note out of an archive; nothing of them is left in its file.

    Args:
        archive: the file.
        whom: the patient or the note.
        by: who has it forgotten.
        session: its time is when.
        salt: random text, for an archive that has none yet.
        guard: keep a salted digest, so that the same source does not bring it back.

    Raises:
        ArchiveError: there is nothing to forget, or the archive cannot be written.
    """
    from converter import archive as store

    return store.forget(archive, whom, by, session.time or "", salt, guard)


def _resources(archive: "Archive", whom: "Whom", session: Session, way: "Way") -> Iterator[Json]:
    from converter.archive import every_reading, stored_readings

    keys = list(_keys(archive, whom))
    held = [stored_readings(archive, keys), stored_readings(archive, keys, as_read=True)]
    held += [every_reading(archive, keys)] if way == "delete" else []
    for note, reading, assessments in chain.from_iterable(held):
        if _is_about(note.patient, whom):
            yield from convert(note, reading, assessments, session)[0]


def _is_about(patient: str | None, whom: "Whom") -> bool:
    return whom.note is not None or patient in (None, whom.patient)


def _keys(archive: "Archive", whom: "Whom") -> "Iterator[NoteKey]":
    from converter.archive import notes_of_patient

    if whom.note is not None:
        yield whom.note
    elif whom.patient is not None:
        yield from notes_of_patient(archive, whom.patient, whom.system)


def lift(archive: Path, whom: "Whom") -> int:
    """Let a patient or a note that was forgotten come in again; 0 where nothing kept it out.

    Raises:
        ArchiveError: there is no such archive, or it cannot be written.
    """
    from converter.archive import lift_guard, open_archive

    with open_archive(archive, create=False) as opened:
        return lift_guard(opened, whom)
