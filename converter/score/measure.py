"""Matches predictions with labels, counts, and gives rates with intervals.

Two modes: `strict` asks for the side as labelled; `lenient` takes a side that is not stated as both sides.
Two measures: `detection` asks for the reflex and its side, `full` for the value as well. The intervals are
bootstrap intervals over notes (Efron 1979): the middle 95 % of the rates of so many resamples.
"""

import random
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from converter.score.claims import Claim, Words, claims_of
from converter.score.files import Labelled, Predicted

MODES = ("strict", "lenient")
MEASURES = ("detection", "full")

Key = tuple[str, str]


@dataclass(frozen=True, slots=True)
class Interval:
    """The middle 95 % of a rate over the resamples."""

    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Rates:
    """How far predictions and labels agree.

    Attributes:
        matched, gold, predicted: number of claims.
        intervals: of `precision`, `recall` and `f1`; empty where none were asked for.
    """

    matched: int
    gold: int
    predicted: int
    intervals: Mapping[str, Interval]

    @property
    def precision(self) -> float:
        """Share of the predicted claims that are labelled; 1 where there are none of either."""
        return self.matched / self.predicted if self.predicted else float(not self.gold)

    @property
    def recall(self) -> float:
        """Share of the labelled claims that are predicted."""
        return self.matched / self.gold if self.gold else 1.0

    @property
    def f1(self) -> float:
        """Harmonic mean of precision and recall."""
        both = self.precision + self.recall
        return 2 * self.precision * self.recall / both if both else 0.0


@dataclass(frozen=True, slots=True)
class Score:
    """The result.

    Attributes:
        rates: by mode and measure.
        by_kind: full, lenient, by kind of reflex.
        notes: number of labelled notes.
        all_correct: notes without any error in the full measure, by mode.
        false_alarms: ids of notes without labels for which something was predicted.
        silent: ids of notes with labels for which nothing was predicted.
        without_labels: number of notes without labels.
        status_agreed, status_matched: of the claims matched by reflex and side, lenient.
        resamples, seed: of the bootstrap.
    """

    rates: Mapping[tuple[str, str], Rates]
    by_kind: Mapping[str, Rates]
    notes: int
    all_correct: Mapping[str, int]
    false_alarms: tuple[str, ...]
    silent: tuple[str, ...]
    without_labels: int
    status_agreed: int
    status_matched: int
    resamples: int
    seed: int


def measured(
    gold: Mapping[str, Labelled],
    predicted: Mapping[str, Predicted],
    words: Words,
    *,
    resamples: int = 1000,
    seed: int = 1,
) -> Score:
    """Measure predictions against labels; a note without a prediction counts as one with nothing found.

    Args:
        gold: the labelled notes by id.
        predicted: predictions by id; those for other notes are left out.
        words: gives canonical words.
        resamples: number of resamples for the intervals; 0 for none.
        seed: of the resampling.
    """
    pairs = [(note.findings, _findings(predicted, name)) for name, note in gold.items()]
    counts = {mode: [_counted(pair, mode == "lenient", words) for pair in pairs] for mode in MODES}
    agreed = [_status_agreed(pair, words) for pair in pairs]
    return Score(
        rates=_rates(counts, resamples, seed),
        by_kind=_by_kind(pairs, words),
        notes=len(gold),
        all_correct={mode: sum(full == g == p for _, full, g, p in counts[mode]) for mode in MODES},
        false_alarms=tuple(i for i, note in gold.items() if not note.findings and _findings(predicted, i)),
        silent=tuple(i for i, note in gold.items() if note.findings and not _findings(predicted, i)),
        without_labels=sum(not note.findings for note in gold.values()),
        status_agreed=sum(ok for ok, _ in agreed),
        status_matched=sum(total for _, total in agreed),
        resamples=resamples,
        seed=seed,
    )


Pair = tuple[Sequence[Mapping[str, object]], Sequence[Mapping[str, object]]]
Counts = tuple[int, int, int, int]
"""Claims matched in detection, matched in full, labelled, predicted."""


def by_key(pair: Pair, lenient: bool, words: Words) -> dict[Key, tuple[list[Claim], list[Claim]]]:
    """The labelled and the predicted claims of a note for each reflex and side, in order of first mention."""
    grouped: dict[Key, tuple[list[Claim], list[Claim]]] = defaultdict(lambda: ([], []))
    for part, findings in enumerate(pair):
        for claim in claims_of(findings, lenient, words):
            grouped[(claim.site, claim.side)][part].append(claim)
    return grouped


def match(gold: Iterable[Claim], predicted: Iterable[Claim]) -> tuple[int, list[Claim], list[Claim]]:
    """Match claims about one reflex and side one to one; how many match, and what is left of either."""
    left, missed = list(predicted), []
    matched = 0
    for claim in gold:
        met = next((one for one in left if one.value.meets(claim.value)), None)
        if met is None:
            missed.append(claim)
        else:
            left.remove(met)
            matched += 1
    return matched, missed, left


def _findings(predicted: Mapping[str, Predicted], name: str) -> Sequence[Mapping[str, object]]:
    return predicted[name].findings if name in predicted else ()


def _counted(pair: Pair, lenient: bool, words: Words) -> Counts:
    detected = full = labelled = found = 0
    for gold, predicted in by_key(pair, lenient, words).values():
        detected += min(len(gold), len(predicted))
        full += match(gold, predicted)[0]
        labelled += len(gold)
        found += len(predicted)
    return detected, full, labelled, found


def _rates(counts: Mapping[str, Sequence[Counts]], resamples: int, seed: int) -> dict[tuple[str, str], Rates]:
    result = {}
    for mode in MODES:
        drawn = _resampled(counts[mode], resamples, seed)
        whole = _summed(Counter(counts[mode]))
        for place, measure in enumerate(MEASURES):
            intervals = _intervals([(sums[place], sums[2], sums[3]) for sums in drawn])
            result[(mode, measure)] = Rates(whole[place], whole[2], whole[3], intervals)
    return result


def _resampled(counts: Sequence[Counts], resamples: int, seed: int) -> list[Counts]:
    """The summed counts of each resample: as many notes, drawn with replacement."""
    chance = random.Random(seed)  # noqa: S311 - a resample, not a secret; seeded, so that a run can be repeated
    if not counts:
        return []
    return [_summed(Counter(chance.choices(counts, k=len(counts)))) for _ in range(resamples)]


def _summed(times: Counter[Counts]) -> Counts:
    sums = [0, 0, 0, 0]
    for counts, number in times.items():
        for place, count in enumerate(counts):
            sums[place] += number * count
    return sums[0], sums[1], sums[2], sums[3]


def _intervals(drawn: Sequence[tuple[int, int, int]]) -> dict[str, Interval]:
    if not drawn:
        return {}
    rates = [Rates(*sums, intervals={}) for sums in drawn]
    return {
        name: _middle(sorted(getattr(one, name) for one in rates)) for name in ("precision", "recall", "f1")
    }


def _middle(ordered: Sequence[float]) -> Interval:
    """The 2.5th and 97.5th percentile, each the nearest value that leaves no more than 2.5 % outside."""
    outside = int(len(ordered) * 0.025)
    return Interval(ordered[outside], ordered[-1 - outside])


def _by_kind(pairs: Iterable[Pair], words: Words) -> dict[str, Rates]:
    sums: dict[str, list[int]] = defaultdict(lambda: [0, 0, 0])
    for pair in pairs:
        for gold, predicted in by_key(pair, True, words).values():
            kind = (gold or predicted)[0].kind
            for place, count in enumerate((match(gold, predicted)[0], len(gold), len(predicted))):
                sums[kind][place] += count
    return {kind: Rates(one[0], one[1], one[2], intervals={}) for kind, one in sorted(sums.items())}


def _status_agreed(pair: Pair, words: Words) -> tuple[int, int]:
    """How many claims about the same reflex and side have one status, of how many."""
    both = [
        (one, other)
        for gold, predicted in by_key(pair, True, words).values()
        for one, other in zip(gold, predicted, strict=False)
    ]
    return sum(one.status == other.status for one, other in both), len(both)
