"""How strong a reflex is on one side, as far as the note says, and how two such strengths compare.

Takes the findings that speak of one reflex on one side; gives one Strength with the grades it can stand for,
and a comparison that says `sure` only where every reading of the two differs. Leaves thresholds to its
callers.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from converter.model import Finding
from converter.words import Vocabulary
from converter.words.anatomy import Comparison

HALF_STEP = 0.5
RANK = {"absent": 0, "low": 1, "normal": 2, "high": 3, "clonus": 4}
"""Levels, weakest first."""


@dataclass(frozen=True, slots=True)
class Strength:
    """One reflex on one side in one exam.

    Attributes:
        site: the reflex.
        side: `left`, `right` or `unspecified`.
        level: as the findings say, or None where they say nothing or disagree.
        low: lowest grade on `scale` it can stand for, or None.
        high: highest grade on `scale` it can stand for, or None.
        scale: the scale of the grades, or None.
        words: the canonical words where there is no grade, weakest first.
        orders: the lowest and highest place of the words among all words, or None where one has no place.
        plus: `none`, `trailing`, `leading`, or `several`.
        only_reinforced: present with a reinforcing manoeuvre alone.
        certain: the findings are stated without doubt and agree.
        region: the value was given for a region, not for this reflex.
        findings: what it rests on, in order of place.
    """

    site: str
    side: str
    level: str | None
    low: float | None
    high: float | None
    scale: str | None
    words: tuple[str, ...]
    orders: tuple[int, int] | None
    plus: str
    only_reinforced: bool
    certain: bool
    region: bool
    findings: tuple[Finding, ...]

    @property
    def rests_on(self) -> tuple[str, ...]:
        """Identifiers of the findings it rests on."""
        return tuple(finding.finding for finding in self.findings)

    @property
    def written(self) -> str:
        """The value as the note writes it."""
        return " / ".join(dict.fromkeys(f.as_written or f.descriptor or f.quote for f in self.findings))

    @property
    def short(self) -> str:
        """The value for one side in its shortest form, e.g. `2+`, `1-2+`, `++`, `absent`, or as written."""
        if len({finding.level for finding in self.findings}) > 1 or self.low is None or self.high is None:
            return self.words[0] if len(self.words) == 1 else self.written
        if self.scale == "plus-count" and self.low == self.high and float(self.low).is_integer():
            return "+" * int(self.low) or "0"
        numbers = f"{self.low:g}" if self.low == self.high else f"{self.low:g}-{self.high:g}"
        return {"trailing": "{}+", "leading": "+{}"}.get(self.plus, "{}").format(numbers)


@dataclass(frozen=True, slots=True)
class Compared:
    """One strength against another.

    Attributes:
        outcome: `same`, `possible`, `sure`, or `unknown` where the two cannot be compared.
        weaker: `first`, `second` or None.
        size: grades by which they surely differ, or None for words.
        size_at_most: grades by which they may differ, or None for words.
        why: `grades`, `range`, `plus`, `words`, `word-and-number`, `scales`, `no-table`, `one-value`.
    """

    outcome: str
    weaker: str | None = None
    size: float | None = None
    size_at_most: float | None = None
    why: str = "grades"


def merge(
    site: str, side: str, findings: Sequence[Finding], vocabulary: Vocabulary, *, region: bool
) -> tuple[Strength, bool]:
    """One strength from all findings of one reflex on one side, and whether they disagree.

    A reflex absent at rest and present with reinforcement is no disagreement: it is present only with it.
    """
    ordered = tuple(sorted(findings, key=lambda f: (f.start, f.end, f.finding)))
    rest = [f for f in ordered if f.reinforcement != "only_with"]
    helped = [f for f in ordered if f.reinforcement == "only_with"]
    facilitated = bool(helped) and all(f.level == "absent" for f in rest)
    used = tuple(rest or helped)
    levels = {f.level for f in used}
    numbers = [f for f in used if f.grade_low is not None and f.grade_high is not None]
    scales = {f.scale for f in numbers}
    said = {f.descriptor for f in used if f.descriptor} if not numbers else set()
    words = tuple(sorted(said, key=lambda word: (_order(word, vocabulary) or 0, word)))
    orders = [order for word in words if (order := _order(word, vocabulary)) is not None]
    disagree = len(levels) > 1
    one_scale = next(iter(scales)) if len(scales) == 1 else None
    low, high = _hull(numbers) if one_scale else (None, None)
    level = _common_level(levels)
    strength = Strength(
        site=site,
        side=side,
        level="low" if facilitated and level in (None, "absent", "low") else level,
        low=low,
        high=high,
        scale=one_scale,
        words=words,
        orders=(min(orders), max(orders)) if orders and len(orders) == len(words) else None,
        plus=_one_of({f.plus for f in numbers}),
        only_reinforced=facilitated,
        certain=not disagree and all(f.certainty == "stated" for f in used),
        region=region,
        findings=ordered,
    )
    return strength, disagree


def _hull(numbers: Sequence[Finding]) -> tuple[float, float]:
    """The lowest and the highest grade of findings that all have one."""
    lows = [finding.grade_low for finding in numbers if finding.grade_low is not None]
    highs = [finding.grade_high for finding in numbers if finding.grade_high is not None]
    return min(lows), max(highs)


def _order(word: str, vocabulary: Vocabulary) -> int | None:
    known = vocabulary.descriptors.get(word)
    return known.order if known is not None else None


def _common_level(levels: set[str | None]) -> str | None:
    """The level on which findings agree: absent and low are both low at least, high and clonus both high."""
    if len(levels) == 1:
        return next(iter(levels))
    return "low" if levels <= {"absent", "low"} else "high" if levels <= {"high", "clonus"} else None


def mixes_plus(findings: Iterable[Finding]) -> frozenset[str]:
    """The scales on which an exam writes both `n` and `n+`; nought never takes a plus, so it says nothing."""
    written: dict[str, set[bool]] = {}
    for finding in findings:
        if finding.scale and finding.grade_low and finding.grade_basis == "number":
            written.setdefault(finding.scale, set()).add(finding.plus == "trailing")
    return frozenset(scale for scale, ways in written.items() if len(ways) == 2)


def compare(
    first: Strength, second: Strength, mixed: frozenset[str], table: Comparison, step: float
) -> Compared:
    """Compare two strengths; `step` is the number of grades that counts as a difference.

    Args:
        first: one strength.
        second: the other.
        mixed: scales on which this exam mixes `n` and `n+`, so that a plus may be half a step.
        table: how words stand against numbers.
        step: grades from which two strengths differ.
    """
    if first.low is not None and second.low is not None:
        if first.scale != second.scale:
            return Compared("unknown", why="scales")
        return _by_grades(first, second, mixed, step)
    if first.low is None and second.low is None:
        return _by_words(first, second)
    return _word_and_number(first, second, table, step)


def _by_grades(first: Strength, second: Strength, mixed: frozenset[str], step: float) -> Compared:
    plus_matters = first.scale in mixed and first.plus != second.plus
    one = _span(first, widened=plus_matters)
    two = _span(second, widened=plus_matters)
    if plus_matters and _gap(one, two) < step:
        return Compared("possible", _weaker(one, two), _gap(one, two), _reach(one, two), "plus")
    return _by_spans(
        one, two, step, "grades" if first.low == first.high and second.low == second.high else "range"
    )


def _by_spans(one: tuple[float, float], two: tuple[float, float], step: float, why: str) -> Compared:
    gap, reach = _gap(one, two), _reach(one, two)
    outcome = "sure" if gap >= step else "possible" if reach >= step else "same"
    return Compared(outcome, None if outcome == "same" else _weaker(one, two), gap, reach, why)


def _by_words(first: Strength, second: Strength) -> Compared:
    if first.words == second.words and first.words:
        return Compared("same", why="words")
    if first.orders is None or second.orders is None:
        return Compared("unknown", why="no-table")
    if first.orders[1] < second.orders[0]:
        return Compared("sure", "first", why="words")
    if second.orders[1] < first.orders[0]:
        return Compared("sure", "second", why="words")
    return Compared("same" if first.orders == second.orders else "possible", why="words")


def _word_and_number(first: Strength, second: Strength, table: Comparison, step: float) -> Compared:
    if first.level is not None and first.level == second.level:
        return Compared("same", why="word-and-number")
    number, word = (first, second) if first.low is not None else (second, first)
    spans = [table.words.get(each, {}).get(number.scale or "") for each in word.words]
    known = [span for span in spans if span is not None]
    if not known or len(known) != len(spans):
        return Compared("unknown", why="no-table")
    stands_for = min(low for low, _ in known), max(high for _, high in known)
    exact = _span(number, widened=False)
    one, two = (exact, stands_for) if number is first else (stands_for, exact)
    return _by_spans(one, two, step, "word-and-number")


def _span(strength: Strength, *, widened: bool) -> tuple[float, float]:
    assert strength.low is not None
    assert strength.high is not None
    more = HALF_STEP if widened and strength.plus in ("trailing", "several") and strength.high else 0.0
    return strength.low, strength.high + more


def _gap(one: tuple[float, float], two: tuple[float, float]) -> float:
    return max(0.0, one[0] - two[1], two[0] - one[1])


def _reach(one: tuple[float, float], two: tuple[float, float]) -> float:
    return max(abs(one[0] - two[1]), abs(two[0] - one[1]))


def _weaker(one: tuple[float, float], two: tuple[float, float]) -> str | None:
    middles = (sum(one), sum(two))
    return None if middles[0] == middles[1] else "first" if middles[0] < middles[1] else "second"


def _one_of(values: set[str]) -> str:
    return next(iter(values)) if len(values) == 1 else "several" if values else "none"
