"""What several targets ask of a note: the day it was written, and its exams by number."""

from datetime import date

from converter.model import Exam, Note, Reading


def day_of(note: Note) -> date | None:
    """The day on which a note was written, by the clock of the place, or None where it is not known."""
    if note.authored is None or note.authored_precision not in {"day", "minute", "second"}:
        return None
    try:
        return date.fromisoformat(note.authored[:10])
    except ValueError:
        return None


def exams_of(reading: Reading) -> dict[int, Exam]:
    """The exams of a reading by their number."""
    return {exam.exam: exam for exam in reading.exams}
