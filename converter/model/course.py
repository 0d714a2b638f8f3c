"""The course of one patient's reflexes over time: visits, the value at each, and what changed."""

from dataclasses import dataclass

from converter.model.diagnostic import Diagnostic


@dataclass(frozen=True, slots=True, kw_only=True)
class Visit:
    """One exam of one patient at one time.

    Attributes:
        note: identifier of the note.
        system: the space in which it is unique, or None.
        exam: number of the exam within the note.
        authored: ISO 8601 time of the note as given, or None.
        author: identifier of the examiner, or None.
        scales: the scales that were used.
    """

    note: str
    system: str | None
    exam: int
    authored: str | None
    author: str | None
    scales: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CourseCell:
    """What one visit says of one reflex on one side.

    Attributes:
        short: the value for this side in its shortest form, e.g. `2+`.
        written: the value as the note has it.
        level: its level, or None.
        grade_low: lowest grade, or None.
        grade_high: highest grade, or None.
        scale: the scale of the grade, or None.
        rests_on: identifiers of findings within the visit's note.
    """

    short: str
    written: str
    level: str | None
    grade_low: float | None
    grade_high: float | None
    scale: str | None
    rests_on: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CourseRow:
    """One reflex on one side across the visits; a visit without a value has None."""

    site: str
    side: str
    cells: tuple[CourseCell | None, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """What changed between two visits.

    Attributes:
        code: code in plexor's CodeSystem of abnormalities.
        rule: the rule that found it.
        sites: the reflexes concerned.
        side: `left`, `right`, `both` or `unspecified`.
        before: index of the earlier visit.
        after: index of the later visit.
        direction: `up`, `down` or None.
        size: grades on one scale, or None.
        certainty: `stated` or `uncertain`.
        days: days between the two, or None where a time is not known to the day.
        same_examiner: whether both visits name one examiner; None where either names none.
        same_scale: whether both values stand on one scale; None where either is a word.
        sentence: one plain sentence.
        rests_on: (note, finding) identifiers.
        source: where the rule comes from.
    """

    code: str
    rule: str
    sites: tuple[str, ...]
    side: str
    before: int
    after: int
    direction: str | None = None
    size: float | None = None
    certainty: str = "stated"
    days: int | None = None
    same_examiner: bool | None = None
    same_scale: bool | None = None
    sentence: str
    rests_on: tuple[tuple[str, str], ...]
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Course:
    """The course of one patient.

    Attributes:
        patient: identifier of the patient, or None where the notes name none.
        visits: in order of time; those without a time last.
        rows: reflexes by side, from the head down.
        changes: what changed, in order of time.
        diagnostics: what is doubtful about the course.
        caution: the sentence that every course carries.
    """

    patient: str | None
    visits: tuple[Visit, ...]
    rows: tuple[CourseRow, ...]
    changes: tuple[Change, ...]
    diagnostics: tuple[Diagnostic, ...]
    caution: str
