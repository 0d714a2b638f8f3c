"""The course of each patient over the notes of a run: reading -> courses, beside `api`.

Takes the readings of many notes, in any order; gives one Course a patient, in the order in which patients
first appear. Of each note it keeps what a course rests on, never the text. What a course is belongs to
`assess`.
"""

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import replace

from converter.api import Session
from converter.assess import course_of
from converter.model import Course, Diagnostic, Note, Reading, Severity

NO_PATIENT = "no-patient"
SEVERAL_SYSTEMS = "patient-of-several-systems"

_Who = tuple[str | None, str]
"""The space in which a patient's identifier counts, and the identifier."""


def courses_of(readings: Iterable[tuple[Note, Reading]], session: Session) -> Iterator[Course | Diagnostic]:
    """The course of each patient with an exam of reflexes; at the end, what could not be joined.

    Patient 17 of one note system is not patient 17 of another, so their courses are kept apart and say so,
    unless the settings name one `patient_system` for all. Notes that name no patient are in no course.
    """
    one_space = session.settings.fhir.patient_system is not None
    notes: dict[_Who, list[tuple[Note, Reading]]] = {}
    nameless = 0
    for note, reading in readings:
        if not reading.exams:
            continue
        if not note.patient:
            nameless += 1
            continue
        notes.setdefault((None if one_space else note.system, note.patient), []).append(_lean(note, reading))
    spaces = Counter(patient for _, patient in notes)
    for who in list(notes):
        course = course_of(notes.pop(who), session.vocabulary, session.assess)
        yield course if spaces[who[1]] == 1 else _kept_apart(course, *who)
    if nameless:
        yield _nameless(nameless)


def _lean(note: Note, reading: Reading) -> tuple[Note, Reading]:
    """A note and its reading without what no course looks at, so that many of them fit into memory."""
    findings = tuple(replace(finding, spans=()) for finding in reading.findings)
    return (
        replace(note, text="", origin=()),
        replace(reading, findings=findings, unread=(), diagnostics=()),
    )


def _kept_apart(course: Course, system: str | None, patient: str) -> Course:
    here = f"notes of {system}" if system else "notes without a system"
    doubt = Diagnostic(
        code=SEVERAL_SYSTEMS,
        severity=Severity.WARNING,
        message=f"Patient {patient} is named in several note systems; this course is of the {here} alone",
        hint="Where they are one person, set patient_system under [fhir].",
    )
    return replace(course, diagnostics=(*course.diagnostics, doubt))


def _nameless(number: int) -> Diagnostic:
    what = "1 note with reflexes names" if number == 1 else f"{number} notes with reflexes name"
    return Diagnostic(
        code=NO_PATIENT,
        severity=Severity.WARNING,
        message=f"{what} no patient, so no course holds {'it' if number == 1 else 'them'}.",
        hint="See --column for naming the patient's column.",
    )
