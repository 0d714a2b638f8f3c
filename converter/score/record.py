"""A score as a plain record, with the set's size beside every figure."""

from collections.abc import Iterable
from dataclasses import asdict
from typing import Any

from converter.score.errors import ScoringError
from converter.score.measure import MEASURES, MODES, Rates, Score

_DIGITS = 4


def score_record(score: Score, errors: Iterable[ScoringError] = ()) -> dict[str, Any]:
    """The record of a score; rates and interval ends have four decimals."""
    return {
        "notes": score.notes,
        "notes_without_labels": score.without_labels,
        **{
            mode: {measure: rates_record(score.rates[mode, measure]) for measure in MEASURES}
            | {"notes_all_correct": score.all_correct[mode]}
            for mode in MODES
        },
        "false_alarm_notes": list(score.false_alarms),
        "silent_notes": list(score.silent),
        "status": {"matched": score.status_matched, "agreed": score.status_agreed},
        "full_lenient_by_kind": {kind: rates_record(rates) for kind, rates in score.by_kind.items()},
        "interval": {"level": 0.95, "over": "notes", "resamples": score.resamples, "seed": score.seed},
        "errors": [asdict(error) for error in errors],
    }


def rates_record(rates: Rates) -> dict[str, Any]:
    """The record of one set of rates."""
    record: dict[str, Any] = {
        "matched": rates.matched,
        "gold": rates.gold,
        "predicted": rates.predicted,
        "precision": round(rates.precision, _DIGITS),
        "recall": round(rates.recall, _DIGITS),
        "f1": round(rates.f1, _DIGITS),
    }
    if rates.intervals:
        record["interval"] = {
            name: [round(one.low, _DIGITS), round(one.high, _DIGITS)] for name, one in rates.intervals.items()
        }
    return record
