"""The main path on one screen: read -> assess -> render -> check.

Takes notes and a Session; gives findings, abnormalities, FHIR resources and what is wrong with them, and
reports of an archive. The work itself is in the stages; here they are joined. Beside it `loading` fills an
archive and `searching` asks it.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from converter.model import Diagnostic, Note, Reading, Severity
from converter.model.record import SCHEMA
from converter.reading import ReadingOptions
from converter.settings import Settings
from converter.sources import note_from_text
from converter.version import __version__
from converter.words import Vocabulary, load_vocabulary

if TYPE_CHECKING:
    from converter.archive import Archive
    from converter.assess import AssessOptions
    from converter.audit import Audit, AuditOptions
    from converter.check import Checker, Definitions
    from converter.fhir import FhirOptions
    from converter.model import Assessment

FAULT = "reader-fault"


@dataclass(frozen=True, slots=True, kw_only=True)
class Session:
    """What stays the same over all notes of a run.

    Attributes:
        settings: what the site set.
        vocabulary: the words, scales and reflexes, the site's own among them.
        reading, assess, fhir: options of the stages, made from the settings.
        program: name and version.
        run: identifier of the run.
        time: when the run began, an ISO 8601 instant; None for outputs that carry no time.
    """

    settings: Settings
    vocabulary: Vocabulary
    reading: ReadingOptions
    assess: "AssessOptions"
    fhir: "FhirOptions"
    program: str
    run: str = ""
    time: str | None = None


def open_session(settings: Settings | None = None, *, run: str = "", time: str | None = None) -> Session:
    """Load the vocabulary and make the stages' options from the settings.

    Raises:
        VocabularyError: a word list of the site cannot be used.
        SettingsError: a setting names a scale, a rule or a file that cannot be used.
    """
    settings = settings or Settings()
    vocabulary = load_vocabulary(settings.path(name) for name in settings.vocabulary.files)
    return Session(
        settings=settings,
        vocabulary=vocabulary,
        reading=settings.reading_options(vocabulary.scales, vocabulary.reflexes),
        assess=settings.assess_options(),
        fhir=settings.fhir_options(recorded=time),
        program=program(),
        run=run,
        time=time,
    )


def program() -> str:
    """Name and version of the program."""
    return f"plexor {__version__}"


def read(text: str | Note, session: Session | None = None) -> Reading:
    """What a text, or a note, says about reflexes: `read("KJ 2+/3+").findings`."""
    from converter.reading import read_note

    note = note_from_text(text, "text") if isinstance(text, str) else text
    session = session or open_session()
    return read_note(note, session.vocabulary, session.reading, session.program)


def read_notes(notes: Iterable[Note], session: Session) -> Iterator[tuple[Note, Reading]]:
    """Each note with what it says about reflexes, in order; none is left out."""
    from converter.reading import read_note

    for note in notes:
        try:
            reading = read_note(note, session.vocabulary, session.reading, session.program)
        except Exception:
            reading = not_read(note, session)
        yield note, reading


def assess(note: Note, reading: Reading, session: Session) -> "tuple[Assessment, ...]":
    """What is abnormal in each exam of a note."""
    from converter.assess import assess_reading

    return assess_reading(reading, note, session.vocabulary, session.assess)


def convert(
    note: Note, reading: Reading, assessments: "Iterable[Assessment]", session: Session
) -> tuple[list[dict[str, Any]], tuple[Diagnostic, ...]]:
    """The FHIR resources of a note, and what is doubtful about them."""
    from converter.fhir import resources_of

    return resources_of(note, reading, assessments, session.vocabulary, session.fhir)


def check_resources(
    resources: Iterable[tuple[str, dict[str, Any]] | Diagnostic],
    checker: "Checker",
    profiles: Sequence[str] = (),
    *,
    second: bool = False,
) -> Iterator[Diagnostic]:
    """What is wrong with FHIR resources, each with the place it came from.

    Args:
        resources: pairs of a place and a resource, or what was wrong before that.
        checker: as `open_checker` makes it.
        profiles: canonicals to check against besides those in `meta.profile`.
        second: also give the opinion of the models of `fhir.resources`, as warnings.
    """
    from converter.check import second_opinion

    for item in resources:
        if isinstance(item, Diagnostic):
            yield item
            continue
        place, resource = item
        found = checker.check(resource, profiles)
        further = second_opinion(resource, checker.release) if second else []
        yield from (replace(trouble, source=place) for trouble in (*found, *further))


def open_checker(
    session: Session, folders: Iterable[Path] = (), release: str | None = None, must_support: bool = False
) -> "tuple[Checker, tuple[Diagnostic, ...]]":
    """A checker with the shipped, the site's and the given definitions; and what is wrong with those.

    Args:
        session: settings, among them the site's own folders of definitions.
        folders: further folders.
        release: `R4` or `R5`; else the one that the session writes.
        must_support: also report must-support elements that a resource lacks, as information.

    Raises:
        ValueError: no base definitions ship for the release.
    """
    from converter.check import Checker

    definitions = definitions_of(session, folders)
    return Checker(definitions, release or session.fhir.release, must_support), definitions.problems


def definitions_of(session: Session, folders: Iterable[Path] = ()) -> "Definitions":
    """The shipped, the site's and the given definitions, with what is wrong with them."""
    from converter.check import load_definitions

    settings = session.settings
    every = [*(settings.path(name) for name in settings.profiles.folders), *folders]
    return load_definitions(every, settings.fhir.canonical)


def audit(archive: Path, session: Session, options: "AuditOptions") -> "Audit":
    """How the examinations in an archive are documented.

    Raises:
        ArchiveError: there is no such archive.
    """
    from converter.archive import open_archive, stored_readings
    from converter.audit import audit_notes

    with open_archive(archive, read_only=True) as opened:
        read, kept = stored_readings(opened), has_text(opened)
        return audit_notes(read, session.vocabulary, options, has_text=kept)


def has_text(archive: "Archive") -> bool:
    """Whether an open archive keeps the notes' words."""
    from converter.archive import sql

    return any(kept for (kept,) in sql(archive, "SELECT quotes FROM archive_info").rows)


def patient_pages(archive: Path, session: Session) -> Iterator[tuple[str, str]]:
    """A page for each patient of an archive, as file name and HTML; notes that name none have no page.

    Raises:
        ArchiveError: there is no such archive.
    """
    from itertools import groupby

    from converter.archive import NoteKey, open_archive, sql, stored_readings
    from converter.audit import page_name

    wanted = "SELECT DISTINCT patient, system, id FROM current_notes WHERE patient IS NOT NULL ORDER BY ALL"
    with open_archive(archive, read_only=True) as opened:
        for patient, rows in groupby(sql(opened, wanted).rows, key=lambda row: row[0]):
            keys = [NoteKey(system, name) for _, system, name in rows]
            visits = [one for one in stored_readings(opened, keys) if one[0].patient == patient]
            yield page_name(patient), _patient_page(visits, session)


def _patient_page(read: Sequence["tuple[Note, Reading, tuple[Assessment, ...]]"], session: Session) -> str:
    from converter.assess import course_of, figure_svg
    from converter.audit import PatientVisit, patient_html

    words = session.vocabulary
    visits = [
        PatientVisit(
            note=note,
            reading=reading,
            drawings=tuple(figure_svg(one, reading, note, words) for one in assessments),
        )
        for note, reading, assessments in sorted(read, key=_by_time)
    ]
    course = course_of([(note, reading) for note, reading, _ in read], words, session.assess)
    return patient_html(course, visits, words, made=session.time or "", program=session.program)


def _by_time(read: "tuple[Note, Reading, tuple[Assessment, ...]]") -> tuple[bool, str]:
    """Notes without a time stand last."""
    return read[0].authored is None, read[0].authored or ""


def not_read(note: Note, session: Session, fault: Diagnostic | None = None) -> Reading:
    """What stands in for the reading of a note that the program itself failed on: a fault of ours, said."""
    fault = fault or Diagnostic(
        code=FAULT,
        severity=Severity.ERROR,
        message="The program failed on this note, so nothing was read from it; please report it.",
        source=note.source,
        line=note.line,
    )
    return Reading(
        id=note.id,
        system=note.system,
        note_hash=note.hash,
        schema=SCHEMA,
        program=session.program,
        vocabulary=session.vocabulary.fingerprint,
        diagnostics=(fault,),
    )
