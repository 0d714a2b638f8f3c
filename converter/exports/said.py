"""What a finding says, as values that a table can hold and nobody can take for their opposite.

Takes a finding and the vocabulary; gives a Said. A value that the note denies ("not brisk"), a grade off its
scale and a word that only compares ("brisker than the left") are no value here: `value` says what they are,
the number, level and word stay empty.
"""

import re
from dataclasses import dataclass

from converter.model import Finding
from converter.words import Scale, Vocabulary
from converter.words.denial import clonus_duration, denies_only_duration, is_denied, plantar_response

_ONE = re.compile(r"\d+")
_RANGE = re.compile(r"(\d+)\s*-\s*(\d+)")

NOT_TESTED = "not_tested"
DENIED = "denied"
OFF_SCALE = "off_scale"


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """The value of a finding.

    Attributes:
        value: the value in one code: a grade (`2`, `2.5`, `2-3`), a response, beats (`3_beats`), a word, a
            comparison, `not_brisk` for a denied word, `not_tested`, `off_scale`, `denied`; None where the
            finding has none.
        low, high: the ends of the grade, on `scale`.
        scale, scale_basis: the scale, and why it reads the grade.
        level: on any scale; None where the value is denied.
        descriptor: the word for the strength.
        response: of the sole.
        beats_low, beats_high: beats of clonus.
        duration: of clonus: `sustained` or `not_sustained`.
        comparison: with the other side, another limb or an earlier exam.
        quality: what is peculiar about the response.
        denied: whether the note denies what its words name.
    """

    value: str | None = None
    low: float | None = None
    high: float | None = None
    scale: str | None = None
    scale_basis: str | None = None
    level: str | None = None
    descriptor: str | None = None
    response: str | None = None
    beats_low: int | None = None
    beats_high: int | None = None
    duration: str | None = None
    comparison: str | None = None
    quality: str | None = None
    denied: bool = False

    @property
    def grade(self) -> float | None:
        """The grade where it is one number."""
        return self.low if self.low == self.high else None


def said_by(finding: Finding, vocabulary: Vocabulary) -> Said:
    """The value of a finding."""
    if finding.status == NOT_TESTED:
        return Said(value=NOT_TESTED)
    if is_denied(finding, vocabulary):
        return _denied(finding)
    fewest, most = _beats(finding.beats)
    ends = _ends(finding)
    graded = ends is not None and _on_scale(finding, ends, vocabulary)
    return Said(
        value=_value(finding, ends, graded),
        low=ends[0] if ends and graded else None,
        high=ends[1] if ends and graded else None,
        scale=finding.scale if graded else None,
        scale_basis=finding.scale_basis if graded else None,
        level=finding.level,
        descriptor=None if denies_only_duration(finding) else finding.descriptor,
        response=plantar_response(finding),
        beats_low=fewest,
        beats_high=most,
        duration=clonus_duration(finding),
        comparison=finding.comparison,
        quality=finding.quality,
    )


def number(value: float) -> str:
    """A grade as it is written in a code: `2`, `2.5`, `-1`."""
    return str(int(value)) if float(value).is_integer() else repr(float(value))


def only_compares(finding: Finding) -> bool:
    """Whether a finding says no more than that a reflex differs: "brisker on the left" is not brisk.

    A number, or the word absent, says how strong the reflex is even where it is compared.
    """
    if finding.comparison is None or finding.grade_low is not None or finding.descriptor == "absent":
        return False
    return finding.descriptor is None or finding.comparison.startswith(("greater", "less"))


def _denied(finding: Finding) -> Said:
    duration = clonus_duration(finding)
    if denies_only_duration(finding):
        return Said(value=duration, duration=duration, denied=True)
    word = finding.descriptor if finding.grade_low is None else None
    return Said(value=f"not_{word}" if word else DENIED, denied=True)


def _value(finding: Finding, ends: tuple[float, float] | None, graded: bool) -> str | None:
    if ends is not None:
        low, high = ends
        between = number(low) if low == high else f"{number(low)}-{number(high)}"
        return between if graded else OFF_SCALE
    if only_compares(finding):
        return finding.comparison
    beats = finding.beats.replace(" ", "") if finding.beats else None
    return (
        plantar_response(finding)
        or (f"{beats}_beats" if beats else None)
        or clonus_duration(finding)
        or finding.descriptor
        or finding.comparison
        or finding.quality
    )


def _ends(finding: Finding) -> tuple[float, float] | None:
    """The grade from its lower to its upper end: "3 to 2" is the range from 2 to 3."""
    ends = [end for end in (finding.grade_low, finding.grade_high) if end is not None]
    return (min(ends), max(ends)) if ends else None


def _on_scale(finding: Finding, ends: tuple[float, float], vocabulary: Vocabulary) -> bool:
    scale = vocabulary.scales.get(finding.scale or "")
    return scale is not None and all(_on(scale, end) for end in ends)


def _on(scale: Scale, grade: float) -> bool:
    """Whether a grade, or a half step between two, is on a scale."""
    return grade in scale.grades or (grade - 0.5 in scale.grades and grade + 0.5 in scale.grades)


def _beats(written: str | None) -> tuple[int | None, int | None]:
    text = (written or "").strip()
    if _ONE.fullmatch(text):
        return int(text), int(text)
    found = _RANGE.fullmatch(text)
    return (int(found[1]), int(found[2])) if found else (None, None)
