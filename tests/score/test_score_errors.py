"""The worst errors come first: what puts wrong data into a database before what loses some."""

from score_files import gold, grade, predicted
from test_score_measure import WORDS

from converter.score import errors_of


def test_errors_are_ordered_from_false_alarm_to_missed() -> None:
    labels = gold(
        a=[grade("patellar", "left", 2), grade("biceps", "left", 2)], b=[grade("achilles", "left", 2)], c=[]
    )
    found = predicted(
        a=[grade("patellar", "left", 3), grade("triceps", "left", 1)],
        b=[grade("achilles", "left", 0, quote="AJ 0")],
        c=[grade("jaw", "unspecified", 2)],
    )
    errors = errors_of(labels, found, WORDS)
    assert [(one.note, one.kind) for one in errors] == [
        ("c", "false-alarm"), ("c", "false-alarm"), ("b", "wrong-value"), ("a", "wrong-value"),
        ("a", "not-labelled"), ("a", "missed"),
    ]  # fmt: skip
    worst = errors[2]
    assert (worst.labelled, worst.predicted, worst.distance, worst.quote) == ("2", "0", 2, "AJ 0")


def test_what_agrees_is_no_error() -> None:
    assert errors_of(gold(a=[grade("jaw", "both", 2)]), predicted(a=[grade("jaw", "both", 2)]), WORDS) == []
