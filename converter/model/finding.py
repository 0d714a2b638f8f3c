"""What a note says about reflexes: spans, findings, exams, and the reading of a whole note."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from converter.model.diagnostic import Diagnostic

if TYPE_CHECKING:
    from converter.model.amendment import Amendment


@dataclass(frozen=True, slots=True)
class Span:
    """Some characters of the note and the part they play in a finding.

    Attributes:
        start: first character (Unicode code points).
        end: character after the last one.
        role: `site`, `side`, `value`, `assertion`, `header`, `region`, `exception`, `comparison`, `detail`.
    """

    start: int
    end: int
    role: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One reflex finding, as said.

    Attributes:
        finding: identifier, stable within the note: what it is about and where that is named,
            e.g. `patellar-left-132`.
        exam: number of the exam it belongs to.
        site: the reflex or region, e.g. `patellar`, `lower_limb_all`, `unspecified`.
        which: the primitive reflex, abdominal quadrant or named plantar variant.
        root: the nerve root where the note names a root, e.g. `C6`.
        side: `left`, `right`, `both` or `unspecified`.
        kind: `stretch`, `plantar`, `clonus`, `superficial` or `primitive`.
        grade_low: lower end of the grade, on `scale`; a word never becomes a number.
        grade_high: upper end; equal to `grade_low` unless a range was written.
        grade_basis: `number`, `word` or None.
        plus: `none`, `trailing` or `leading`, as written.
        denominator: the scale's maximum, if written.
        scale: the scale that reads the grade, or None where there is no grade.
        scale_basis: `legend`, `denominator`, `site_default` or `assumed`.
        level: `absent`, `low`, `normal`, `high`, `clonus` or None, from the scale's or the words' own table.
        descriptor: the canonical word where no number was given.
        response: plantar: `flexor`, `extensor`, `not_extensor`, `equivocal`, `withdrawal`, `mute`, `absent`.
        beats: clonus: a number or range as text, e.g. `3`, `4-5`.
        sustained: clonus: True, False or not said.
        reinforcement: `only_with`, `even_with` or None.
        manoeuvre: which reinforcing manoeuvre.
        position: the patient's position.
        technique: `direct`, `through_finger`, `ball_of_foot` ...
        quality: `pendular`, `delayed_relaxation`, `spread`, `inverted`, `finger_response` ...
        comparison: `greater_than_other_side`, `less_than_other_side`, `equal`,
            `greater_than_before`, `less_than_before`, `unchanged`, `greater_than_other_limb`,
            `less_than_other_limb` or None.
        negated: whether the finding is denied.
        status: `current`, `historical`, `hypothetical`, `not_tested` or `family`.
        certainty: `stated` or `uncertain`.
        reason: why it was not tested, or why it carries no value.
        as_written: the value exactly as the note has it.
        spans: the characters it rests on, in order of place.
        start: first character of the hull of `spans`.
        end: character after the hull.
        quote: the characters from `start` to `end`.
        verdict: `confirmed`, `corrected` or `added` by a person, or None where no person has judged it.
    """

    finding: str
    exam: int
    site: str
    which: str | None = None
    root: str | None = None
    side: str
    kind: str
    grade_low: float | None = None
    grade_high: float | None = None
    grade_basis: str | None = None
    plus: str = "none"
    denominator: int | None = None
    scale: str | None = None
    scale_basis: str | None = None
    level: str | None = None
    descriptor: str | None = None
    response: str | None = None
    beats: str | None = None
    sustained: bool | None = None
    reinforcement: str | None = None
    manoeuvre: str | None = None
    position: str | None = None
    technique: str | None = None
    quality: str | None = None
    comparison: str | None = None
    negated: bool = False
    status: str = "current"
    certainty: str = "stated"
    reason: str | None = None
    as_written: str | None = None
    spans: tuple[Span, ...] = ()
    start: int
    end: int
    quote: str
    verdict: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Exam:
    """One examiner's findings at one stated time; a note may hold several.

    Attributes:
        exam: number within the note, from 1.
        status: `current` for the note's own exam, `historical` for a quoted earlier one.
        stated_time: the time as the note writes it, or None.
        start: first character of the part of the note that holds it.
        end: character after that part.
    """

    exam: int
    status: str
    stated_time: str | None = None
    start: int
    end: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Unread:
    """Words that speak of reflexes and that no rule consumed.

    Attributes:
        start: first character.
        end: character after the last one.
        text: those characters.
        why: a kebab-case reason: `no-value`, `no-site`, `no-rule`, `ambiguous-layout`.
    """

    start: int
    end: int
    text: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """Everything the reader made of one note.

    Attributes:
        id, system, note_hash: the identity of the note that was read.
        schema: version of this record's form.
        program: name and version of the program.
        vocabulary: fingerprint of all words, scales and anatomy that were loaded.
        exams: the exams found, in order.
        findings: the findings, in order of place.
        unread: reflex wording that was not understood.
        diagnostics: what is doubtful about the note.
        amendments: the judgements of persons that the findings rest on, rejected findings among them; the
            reader itself makes none, and the flat record does not hold them.
    """

    id: str
    system: str | None
    note_hash: str
    schema: str
    program: str
    vocabulary: str
    exams: tuple[Exam, ...] = ()
    findings: tuple[Finding, ...] = ()
    unread: tuple[Unread, ...] = ()
    diagnostics: tuple[Diagnostic, ...] = ()
    amendments: "tuple[Amendment, ...]" = ()
