"""The rules, in the order in which a summary speaks of them, and what runs them over a note.

Every rule is one function from an ExamView to what it found. A site leaves rules out by name.
"""

from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, replace

from converter.assess.candidates import root_and_nerve_candidates
from converter.assess.clonus import clonus
from converter.assess.distribution import distribution
from converter.assess.exam_view import ExamView, view_of
from converter.assess.gradient import arm_leg_difference, distal_gradient
from converter.assess.level_pattern import level_pattern
from converter.assess.levels import levels
from converter.assess.making import QUOTED_EXAM, Found, caution
from converter.assess.motor_neurone import motor_neurone_signs, upper_motor_neurone_pattern
from converter.assess.not_examined import not_examined
from converter.assess.options import AssessOptions
from converter.assess.plantar_difference import plantar_differences
from converter.assess.quality import qualities
from converter.assess.side_difference import side_differences
from converter.assess.upper_level import upper_levels
from converter.model import Abnormality, Assessment, Note, Reading
from converter.words import Vocabulary

CAUTION = (
    "For records work, not a diagnosis; confirm with a licensed clinician and follow local policy. "
    "It speaks only of what is documented."
)


@dataclass(frozen=True, slots=True)
class Rule:
    """A named rule of one exam."""

    name: str
    find: Callable[[ExamView], Found]


RULES: tuple[Rule, ...] = (
    Rule("side-difference", side_differences),
    Rule("plantar-side-difference", plantar_differences),
    Rule("level", levels),
    Rule("clonus", clonus),
    Rule("quality", qualities),
    Rule("motor-neurone-signs", motor_neurone_signs),
    Rule("upper-motor-neurone-pattern", upper_motor_neurone_pattern),
    Rule("distribution", distribution),
    Rule("distal-gradient", distal_gradient),
    Rule("arm-leg-difference", arm_leg_difference),
    Rule("level-pattern", level_pattern),
    Rule("candidates", root_and_nerve_candidates),
    Rule("upper-level", upper_levels),
)

COURSE_RULES = ("change-over-time", "new-side-difference", "reversal-over-time", "generalised-change")
"""Rules that compare exams of one patient; `changes` runs them."""

RULE_NAMES: tuple[str, ...] = (*(rule.name for rule in RULES), *COURSE_RULES)
"""Every name that `rules_left_out` may hold."""


def assess_reading(
    reading: Reading, note: Note, vocabulary: Vocabulary, options: AssessOptions | None = None
) -> tuple[Assessment, ...]:
    """What is abnormal in each exam of a note, and on which findings it rests.

    Only current, tested findings of the patient count. An exam that the note quotes from earlier is not
    assessed; its Assessment says so.

    Args:
        reading: the findings of the note.
        note: the note, for the age of the patient.
        vocabulary: the words, scales and reflexes that read it.
        options: settings; the defaults where None.

    Returns:
        One Assessment for each exam, in order.
    """
    settings = options or AssessOptions()
    return tuple(
        _quoted(exam.exam)
        if exam.status == "historical"
        else _assessed(view_of(exam.exam, reading.findings, note, vocabulary, settings), reading)
        for exam in reading.exams
    )


def _assessed(view: ExamView, reading: Reading) -> Assessment:
    found = [rule.find(view) for rule in RULES if rule.name not in view.options.rules_left_out]
    return Assessment(
        exam=view.exam,
        abnormalities=_distinct([a for part in found for a in part.abnormalities]),
        not_examined=not_examined(view, reading.findings),
        diagnostics=(*view.diagnostics, *(d for part in found for d in part.diagnostics)),
        caution=CAUTION,
    )


def _quoted(exam: int) -> Assessment:
    note = caution(QUOTED_EXAM, "This exam is quoted from an earlier time and is not assessed")
    return Assessment(exam=exam, diagnostics=(note,), caution=CAUTION)


def _distinct(abnormalities: list[Abnormality]) -> tuple[Abnormality, ...]:
    """The abnormalities with a number added to an identifier that comes again."""
    seen: Counter[str] = Counter()
    distinct = []
    for each in abnormalities:
        seen[each.abnormality] += 1
        number = seen[each.abnormality]
        distinct.append(each if number == 1 else replace(each, abnormality=f"{each.abnormality}-{number}"))
    return tuple(distinct)
