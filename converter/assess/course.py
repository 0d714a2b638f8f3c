"""The course of one patient's reflexes across exams.

Takes the notes and readings of one patient in any order; gives the visits in order of time, each reflex by
side across them, and what changed. Every change says the interval, and whether examiner and scale were the
same. Leaves what counts as a change to `changes`.
"""

from collections.abc import Iterator, Sequence

from converter.assess.changes import Seen, changes_of
from converter.assess.exam_view import SIDES, ExamView, Place, view_of
from converter.assess.options import AssessOptions
from converter.assess.rules import CAUTION
from converter.assess.strength import Strength
from converter.model import Diagnostic, Note, Reading, Severity
from converter.model.course import Course, CourseCell, CourseRow, Visit
from converter.words import Vocabulary

RATER_CAUTION = (
    "Raters differ: 28 % of 160 reflexes differed by two or more steps between raters on a nine-step scale "
    "(Stam & van Crevel 1990, 10.1007/BF00314735), so a change may lie with the examiner or the scale."
)


def course_of(
    visits: Sequence[tuple[Note, Reading]], vocabulary: Vocabulary, options: AssessOptions | None = None
) -> Course:
    """The course of one patient.

    Args:
        visits: notes of one patient with their readings, in any order.
        vocabulary: the words, scales and reflexes that read them.
        options: settings; the defaults where None.

    Returns:
        The course; exams that a note quotes from earlier are left out, since they are not the note's own.
    """
    settings = options or AssessOptions()
    views = sorted(_views(visits, vocabulary, settings), key=_time_key)
    places = _places(views, vocabulary)
    values = {place: tuple(strength_at(view, place) for view in views) for place in places}
    seen = [Seen(number, view, _visit(view)) for number, view in enumerate(views)]
    patients = {note.patient for note, _ in visits}
    return Course(
        patient=patients.pop() if len(patients) == 1 else None,
        visits=tuple(each.visit for each in seen),
        rows=tuple(
            CourseRow(site=site, side=side, cells=tuple(_cell(strength) for strength in values[site, side]))
            for site, side in places
        ),
        changes=changes_of(seen, values, settings),
        diagnostics=tuple(_doubts(views, {note.patient for note, _ in visits})),
        caution=f"{RATER_CAUTION} {CAUTION}",
    )


def strength_at(view: ExamView, place: Place) -> Strength | None:
    """The strength at a place; a value for a whole region without a side speaks of both sides."""
    found = view.strengths.get(place)
    if found is None and place[1] != "unspecified":
        unsided = view.strengths.get((place[0], "unspecified"))
        return unsided if unsided is not None and unsided.region else None
    return found


def _views(
    visits: Sequence[tuple[Note, Reading]], vocabulary: Vocabulary, options: AssessOptions
) -> Iterator[ExamView]:
    for note, reading in visits:
        for exam in reading.exams:
            view = view_of(exam.exam, reading.findings, note, vocabulary, options)
            if exam.status != "historical" and view.findings:
                yield view


def _time_key(view: ExamView) -> tuple[bool, str, str, str, int]:
    note = view.note
    return note.authored is None, note.authored or "", note.system or "", note.id, view.exam


def _visit(view: ExamView) -> Visit:
    scales = {finding.scale for finding in view.findings if finding.scale}
    return Visit(
        note=view.note.id,
        system=view.note.system,
        exam=view.exam,
        authored=view.note.authored,
        author=view.note.author,
        scales=tuple(sorted(scales)),
    )


def _places(views: Sequence[ExamView], vocabulary: Vocabulary) -> tuple[Place, ...]:
    """Every reflex and side with a value, from the head down; no unsided row where sided ones take it."""
    found = {place for view in views for place in view.strengths}
    order = list(vocabulary.reflexes)
    kept = [place for place in found if not (place[1] == "unspecified" and _taken_by_sides(views, place[0]))]
    return tuple(sorted(kept, key=lambda place: (order.index(place[0]), SIDES.index(place[1]))))


def _taken_by_sides(views: Sequence[ExamView], site: str) -> bool:
    sided = any((site, side) in view.strengths for view in views for side in ("left", "right"))
    unsided = [
        view.strengths[site, "unspecified"] for view in views if (site, "unspecified") in view.strengths
    ]
    return sided and all(strength.region for strength in unsided)


def _cell(strength: Strength | None) -> CourseCell | None:
    if strength is None:
        return None
    return CourseCell(
        short=strength.short,
        written=strength.written,
        level=strength.level,
        grade_low=strength.low,
        grade_high=strength.high,
        scale=strength.scale,
        rests_on=strength.rests_on,
    )


def _doubts(views: Sequence[ExamView], patients: set[str | None]) -> Iterator[Diagnostic]:
    if len(patients) > 1:
        yield _doubt("several-patients", "The notes name more than one patient; a course speaks of one")
    undated = sorted(view.note.id for view in views if view.note.authored is None)
    if undated:
        yield _doubt(
            "undated-visit", f"Notes without a time stand last and give no interval: {', '.join(undated)}"
        )


def _doubt(code: str, message: str) -> Diagnostic:
    return Diagnostic(code=code, severity=Severity.WARNING, message=message)
