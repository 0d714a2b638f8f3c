"""Measures predicted findings against a team's own labelled notes.

Takes labelled notes and predictions, both as plain records; gives counts, precision, recall and F1 with
intervals, and the errors worst first. Leaves the reading of notes to `reading`.
"""

from converter.score.errors import ScoringError, errors_of
from converter.score.files import Labelled, Predicted, read_gold, read_predictions
from converter.score.measure import MODES, Interval, Rates, Score, measured
from converter.score.record import score_record

__all__ = [
    "MODES",
    "Interval",
    "Labelled",
    "Predicted",
    "Rates",
    "Score",
    "ScoringError",
    "errors_of",
    "measured",
    "read_gold",
    "read_predictions",
    "score_record",
]
