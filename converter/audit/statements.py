"""What the findings of one note count for: marks for the shares, categories for the distributions.

Takes a Reading with its Assessments; gives marks and categories. Looks at current findings only, never at the
text.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator

from converter.audit.figures import BETWEEN
from converter.model import Assessment, Finding, Reading
from converter.model.record import plain_number
from converter.words import Vocabulary, expand

_ABNORMAL_LEVELS = frozenset({"absent", "low", "high", "clonus"})
_ABNORMAL_WORDS = frozenset({"abnormal", "asymmetric"})
_UNEQUAL = frozenset(
    {"greater_than_other_side", "less_than_other_side", "greater_than_other_limb", "less_than_other_limb"}
)
_SIGNS = frozenset({"hoffmann", "crossed_adductor"})
_CONTRADICTION, _OFF_SCALE, _MIXED_PLUS = "conflicting-values", "off-scale", "mixed-plus"
_SIDE_DIFFERENCES = frozenset({"side-difference", "plantar-side-difference"})
_ALL_LIMBS = frozenset({"all_limbs", "unspecified"})
_MANY = 4
_PLUS_COUNT = "plus-count"


def current_findings(reading: Reading) -> tuple[Finding, ...]:
    """The findings of the note's own exam, as far as they say something of a reflex."""
    return tuple(one for one in reading.findings if one.status == "current" and says_something(one))


def says_something(finding: Finding) -> bool:
    """Whether a finding documents a reflex; "except the left ankle" alone documents nothing."""
    values = (
        finding.grade_low, finding.level, finding.descriptor, finding.response, finding.beats,
        finding.sustained, finding.quality, finding.comparison, finding.as_written,
    )  # fmt: skip
    return any(value is not None for value in values) or finding.negated


def is_abnormal(finding: Finding) -> bool:
    """Whether a finding is out of the ordinary by its scale, its word or a comparison; no diagnosis."""
    if finding.negated or finding.kind == "primitive":
        return False
    return (
        finding.level in _ABNORMAL_LEVELS
        or finding.response == "extensor"
        or finding.descriptor in _ABNORMAL_WORDS
        or finding.comparison in _UNEQUAL
        or finding.quality is not None
        or (finding.site in _SIGNS and finding.descriptor == "present")
    )


def marks_of(
    reading: Reading, assessments: Iterable[Assessment], vocabulary: Vocabulary
) -> tuple[frozenset[str], tuple[tuple[str, str, int], ...]]:
    """The shares that a note counts in by its findings, and its categories in the distributions."""
    assessments = tuple(assessments)
    current = current_findings(reading)
    sides = documented_sides(reading, vocabulary)
    marks = {
        *_standing(reading, current),
        *_complete(sides, vocabulary),
        *_about_sides(current, vocabulary),
        *_about_grades(current),
        *_abnormal(current, assessments, vocabulary),
        *_doubts(reading, assessments),
    }
    return frozenset(marks), (*_spread_sides(current, sides, vocabulary), *_spread_grades(current))


def documented_sides(reading: Reading, vocabulary: Vocabulary) -> dict[str, set[str]]:
    """The sides on which each reflex is documented; a statement about a region speaks of both sides."""
    untested = {
        (row.site, row.side)
        for row in expand((one for one in reading.findings if one.status == "not_tested"), vocabulary)
    }
    sides: defaultdict[str, set[str]] = defaultdict(set)
    findings = [one for one in reading.findings if one.status == "current"]
    for row in expand(findings, vocabulary):
        if not says_something(row.finding):
            continue
        both = row.basis == "covered" and row.side == "unspecified"
        for side in ("left", "right") if both else (row.side,):
            if row.basis == "direct" or (row.site, side) not in untested:
                sides[row.site].add(side)
    return dict(sides)


def _standing(reading: Reading, current: tuple[Finding, ...]) -> Iterator[str]:
    if current:
        yield "reflexes"
    if any(one.status == "not_tested" for one in reading.findings):
        yield "not-tested"
    if reading.unread:
        yield "unread"


def _complete(sides: dict[str, set[str]], vocabulary: Vocabulary) -> Iterator[str]:
    main = [site for site, reflex in vocabulary.reflexes.items() if reflex.main]
    if all({"left", "right"} <= sides.get(site, set()) for site in main):
        yield "all-main"
    if {"left", "right"} <= sides.get("plantar", set()):
        yield "plantar-both"


def _about_sides(current: tuple[Finding, ...], vocabulary: Vocabulary) -> Iterator[str]:
    if any(_lacks_side(one, vocabulary) and not one.negated for one in current):
        yield "side-unstated"
    stretch = [one for one in current if one.kind == "stretch"]
    if stretch and all(one.site in _ALL_LIMBS for one in stretch):
        if all(one.grade_low == one.grade_high == 2 for one in stretch):
            yield "two-throughout"
        if all(one.level == "normal" and one.grade_low is None for one in stretch):
            yield "normal-throughout"


def _lacks_side(finding: Finding, vocabulary: Vocabulary) -> bool:
    reflex = vocabulary.reflexes[finding.site]
    named = reflex.paired and not reflex.covers and finding.site != "unspecified"
    return named and finding.side == "unspecified"


def _about_grades(current: tuple[Finding, ...]) -> Iterator[str]:
    graded = _graded(current)
    if not graded:
        return
    yield "graded"
    if all(one.scale_basis in ("legend", "denominator") for one in graded):
        yield "scale-stated"
    scales: defaultdict[int, set[str | None]] = defaultdict(set)
    for one in graded:
        scales[one.exam].add(one.scale)
    if any(len(names) > 1 for names in scales.values()):
        yield "several-scales"
    if len(graded) >= _MANY:
        yield "many-grades"
        if len({(one.scale, one.grade_low, one.grade_high) for one in graded}) == 1:
            yield "one-grade"


def _graded(current: tuple[Finding, ...]) -> list[Finding]:
    return [one for one in current if one.grade_basis == "number" and one.grade_low is not None]


def _abnormal(
    current: tuple[Finding, ...], assessments: tuple[Assessment, ...], vocabulary: Vocabulary
) -> Iterator[str]:
    recorded = (one for assessment in assessments for one in assessment.abnormalities)
    if any(one.code in _SIDE_DIFFERENCES and one.certainty == "stated" for one in recorded):
        yield "asymmetry"
    abnormal = [one for one in current if is_abnormal(one)]
    if abnormal:
        yield "abnormal"
    if any(_nowhere(one, vocabulary) for one in abnormal):
        yield "abnormal-no-side"
    if any(one.kind == "stretch" and one.level is None and one.site not in _SIGNS for one in abnormal):
        yield "abnormal-no-level"


def _nowhere(finding: Finding, vocabulary: Vocabulary) -> bool:
    """Whether an abnormal finding names neither a side nor a region that includes both."""
    unplaced = finding.site == "unspecified" and finding.side == "unspecified"
    return unplaced or _lacks_side(finding, vocabulary)


def _doubts(reading: Reading, assessments: tuple[Assessment, ...]) -> Iterator[str]:
    codes = {one.code for one in reading.diagnostics}
    codes |= {one.code for assessment in assessments for one in assessment.diagnostics}
    marks = {_CONTRADICTION: "contradiction", _OFF_SCALE: "off-scale", _MIXED_PLUS: "mixed-plus"}
    yield from (mark for code, mark in marks.items() if code in codes)


def _spread_sides(
    current: tuple[Finding, ...], sides: dict[str, set[str]], vocabulary: Vocabulary
) -> Iterator[tuple[str, str, int]]:
    if not current:
        return
    for site, reflex in vocabulary.reflexes.items():
        if reflex.main or site == "plantar":
            yield f"sides-{site}", _which(sides.get(site, set())), 1


def _which(sides: set[str]) -> str:
    if {"left", "right"} <= sides:
        return "both"
    named = sides & {"left", "right"}
    return named.pop() if named else ("unstated" if sides else "none")


def _spread_grades(current: tuple[Finding, ...]) -> Iterator[tuple[str, str, int]]:
    graded = _graded(current)
    written = Counter((f"grades-{one.scale}", _grade(one)) for one in graded if one.scale)
    yield from ((figure, grade, count) for (figure, grade), count in sorted(written.items()))
    plus = Counter(one.plus for one in graded if one.scale != _PLUS_COUNT)
    yield from (("plus", how, count) for how, count in sorted(plus.items()))


def _grade(finding: Finding) -> str:
    low, high = finding.grade_low, finding.grade_high
    whole = low is not None and low == high and float(low).is_integer()
    return f"{plain_number(low)}" if whole else BETWEEN
