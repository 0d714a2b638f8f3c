"""De-identifies the notes of one patient: pseudonyms, moved dates, grouped ages, and no words of a note.

Takes all notes of one patient with readings and assessments; gives them changed, and how often what was
changed. Every field is built anew from what may pass (`allowed`) and from pseudonyms, so a field that is
unknown here, or holds what it should not, does not come through. Findings and abnormalities keep their links.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from converter.exports.ages import completed_years
from converter.exports.allowed import NOTE_KINDS, SEXES, Allowed
from converter.exports.deidentified_findings import FindingChanges
from converter.exports.pseudonyms import Pseudonyms
from converter.exports.values import Read
from converter.model import Assessment, Exam, Note, Reading
from converter.model.record import SCHEMA
from converter.words import Vocabulary

HIGHEST_AGE = 89
GROUPED_AGE = 90
ALTERED: Mapping[str, str] = {
    "patient, encounter, author, facility, note id": "replaced by HMAC-SHA256 pseudonyms",
    "system of the note id": "replaced by a pseudonym that is a URI",
    "note hash": "replaced by an HMAC, since a hash identifies a text; it no longer is that of any text",
    "identifiers of findings and abnormalities": "replaced by pseudonyms; links between them are kept",
    "dates of notes": "moved back by a number of days of 1 to 365, drawn from the key for each patient, so "
    "intervals in days are kept; times of day are removed; a date known only to the month or year is removed",
    "birth date": "removed",
    "age": f"as it was before dates were moved; {GROUPED_AGE} stands for {GROUPED_AGE} and older; removed "
    f"where it is not exact, and in all other notes of a patient who is over {HIGHEST_AGE} in one",
    "sex": "kept where it is a known code or word, else removed",
    "kind of note": "kept where it is a usual one, else removed",
    "text, quotes, offsets, unread wording, diagnostics, file names": "removed",
    "value as written": "kept where it is a grade or beats by its form, or one shipped wording for a value",
    "reasons and stated times": "kept where canonical, else removed",
    "sentences of abnormalities": "written anew from code, reflex and side",
    "order of the notes": "by pseudonym of the patient, so that it tells nothing of the identifiers",
}
"""What is done to each field, for the manifest."""


@dataclass(frozen=True, slots=True)
class Deidentifier:
    """De-identifies by one key and one vocabulary.

    Attributes:
        pseudonyms: by the site's key.
        vocabulary: the words that the notes were read with.
        allowed: what may pass.
        caution: the sentence that every assessment carries.
    """

    pseudonyms: Pseudonyms
    vocabulary: Vocabulary
    allowed: Allowed
    caution: str

    def patient(self, reads: Sequence[Read]) -> tuple[list[Read], Counter[str]]:
        """All notes of one patient, or one note that names none.

        Returns:
            The changed notes in the same order, and how often what was removed or altered.
        """
        counts: Counter[str] = Counter()
        ages = _ages([note for note, _, _ in reads], counts)
        changed = [self._read(read, age, counts) for read, age in zip(reads, ages, strict=True)]
        return changed, +counts

    def rank(self, patient: str | None, system: str | None, note: str) -> tuple[bool, str]:
        """Where a note stands in the order of pseudonyms; notes that name no patient stand last."""
        name = _said(patient)
        if name is None:
            return True, self.pseudonyms.name("note", system, note)
        return False, self.pseudonyms.name("patient", name)

    def _read(self, read: Read, age: int | None, counts: Counter[str]) -> Read:
        note, reading, assessments = read
        changed = self._note(note, age, counts)
        findings = FindingChanges(self.pseudonyms, self.allowed, (note.system, note.id), counts)
        counts["unread wordings removed"] += len(reading.unread)
        diagnostics = [*reading.diagnostics, *(one for each in assessments for one in each.diagnostics)]
        counts["diagnostics removed"] += len(diagnostics)
        return (
            changed,
            Reading(
                id=changed.id,
                system=changed.system,
                note_hash=changed.hash,
                schema=SCHEMA,
                program=reading.program,
                vocabulary=reading.vocabulary,
                exams=tuple(self._exam(exam, counts) for exam in reading.exams),
                findings=findings.findings(reading.findings),
            ),
            tuple(self._assessment(one, findings) for one in assessments),
        )

    def _note(self, note: Note, age: int | None, counts: Counter[str]) -> Note:
        names = self.pseudonyms
        authored = self._moved(note, counts)
        return Note(
            id=names.name("note", note.system, note.id),
            text="",
            hash=names.digest("hash", note.hash),
            system=None if note.system is None else names.uri("system", note.system),
            patient=self._name("patient", note.patient),
            encounter=self._name("encounter", note.encounter),
            author=self._name("author", note.author),
            facility=self._name("facility", note.facility),
            authored=authored,
            authored_precision=None if authored is None else "day",
            kind=_kept(note.kind, NOTE_KINDS, "kinds of note removed", counts),
            age=age,
            sex=_kept(note.sex, SEXES, "sexes removed", counts),
        )

    def _name(self, kind: str, value: str | None) -> str | None:
        said = _said(value)
        return None if said is None else self.pseudonyms.name(kind, said)

    def _moved(self, note: Note, counts: Counter[str]) -> str | None:
        """The day of the note, moved back; None where it is not known to the day."""
        if note.authored is None:
            return None
        patient = _said(note.patient)
        whose = ("patient", patient) if patient is not None else ("note", note.system, note.id)
        try:
            day = date.fromisoformat(note.authored[:10]) - timedelta(days=self.pseudonyms.days(*whose))
        except (ValueError, OverflowError):
            counts["dates removed"] += 1
            return None
        counts["dates moved"] += 1
        return day.isoformat()

    def _exam(self, exam: Exam, counts: Counter[str]) -> Exam:
        stated = self.allowed.time(exam.stated_time)
        counts["stated times removed"] += exam.stated_time is not None and stated is None
        status = self.allowed.choice("status", exam.status) or "historical"
        return Exam(exam=exam.exam, status=status, stated_time=stated, start=0, end=0)

    def _assessment(self, one: Assessment, findings: FindingChanges) -> Assessment:
        return Assessment(
            exam=one.exam,
            abnormalities=findings.abnormalities(one.abnormalities),
            not_examined=findings.not_examined(one.not_examined),
            caution=self.caution,
        )


def _ages(notes: Sequence[Note], counts: Counter[str]) -> list[int | None]:
    """The age at each note: exact up to 89, then grouped.

    Where a patient is over 89 at one note, an exact age at another would tell that age by the interval, so
    all other ages of that patient are removed.
    """
    known = [completed_years(note) for note in notes]
    old = any(age is not None and age[1] > HIGHEST_AGE for age in known)
    ages: list[int | None] = []
    for age in known:
        if age is None:
            ages.append(None)
        elif age[0] > HIGHEST_AGE:
            counts["ages grouped"] += 1
            ages.append(GROUPED_AGE)
        elif old or age[0] != age[1]:
            counts["ages removed"] += 1
            ages.append(None)
        else:
            ages.append(age[0])
    counts["birth dates removed"] += sum(note.birth_date is not None for note in notes)
    return ages


def _said(value: str | None) -> str | None:
    """An identifier, or None where it is blank."""
    return value if value is not None and value.strip() else None


def _kept(value: str | None, known: frozenset[str], what: str, counts: Counter[str]) -> str | None:
    if value is None:
        return None
    kept = value.strip().lower()
    if kept in known:
        return kept
    counts[what] += 1
    return None
