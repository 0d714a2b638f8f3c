"""Counts, rates and intervals, worked out by hand."""

from collections.abc import Sequence

import pytest
from hypothesis import given
from hypothesis import strategies as st
from score_files import Record, gold, grade, label, predicted

from converter.score import Score, measured
from converter.score.words import canonical_words
from converter.words import shipped_vocabulary

WORDS = canonical_words(shipped_vocabulary())


def score(labels: Sequence[Record], found: Sequence[Record], resamples: int = 0) -> Score:
    return measured(gold(n=labels), predicted(n=found), WORDS, resamples=resamples)


def matched(
    labels: Sequence[Record], found: Sequence[Record], mode: str, measure: str
) -> tuple[int, int, int]:
    rates = score(labels, found).rates[mode, measure]
    return rates.matched, rates.gold, rates.predicted


def test_rates_are_those_of_the_textbook() -> None:
    # 3 labelled, 4 predicted, 2 agree: P = 2/4, R = 2/3, F1 = 2PR/(P+R) = 4/7 (van Rijsbergen 1979)
    labels = [grade("biceps", "left", 2), grade("triceps", "left", 2), grade("patellar", "left", 2)]
    found = [*labels[:2], grade("achilles", "left", 2), grade("jaw", "unspecified", 1)]
    rates = score(labels, found).rates["strict", "full"]
    assert (rates.precision, rates.recall) == (2 / 4, 2 / 3)
    assert rates.f1 == pytest.approx(4 / 7)


def test_both_sides_are_two_claims() -> None:
    both, left = [grade("patellar", "both", 2)], [grade("patellar", "left", 2)]
    assert matched(both, left, "strict", "full") == (1, 2, 1)


def test_a_side_that_is_not_stated_is_both_only_in_the_lenient_mode() -> None:
    labels, found = [grade("patellar", "both", 2)], [grade("patellar", "unspecified", 2)]
    assert matched(labels, found, "strict", "full") == (0, 2, 1)
    assert matched(labels, found, "lenient", "full") == (2, 2, 2)


def test_another_value_is_detected_but_not_fully_right() -> None:
    labels, found = [grade("patellar", "left", 2)], [grade("patellar", "left", 3)]
    assert matched(labels, found, "strict", "detection") == (1, 1, 1)
    assert matched(labels, found, "strict", "full") == (0, 1, 1)


@pytest.mark.parametrize(
    ("labelled", "found", "same"),
    [
        (label("achilles", "left", descriptor="absent"), grade("achilles", "left", 0), True),
        (label("achilles", "left", descriptor="nil"), label("achilles", "left", descriptor="absent"), True),
        (label("hoffmann", "left", descriptor="absent"), grade("hoffmann", "left", 0), False),
        (label("patellar", "left", descriptor="lively"), label("patellar", "left", descriptor="brisk"), True),
        (
            label("patellar", "left", descriptor="brisk"),
            label("patellar", "left", descriptor="normal"),
            False,
        ),
        (
            label("patellar", "left", descriptor="brisk", negated=True),
            label("patellar", "left", descriptor="brisk"),
            False,
        ),
        (
            label("plantar", "left", response="flexor", negated=True),
            label("plantar", "left", response="not_extensor", negated=True),
            True,
        ),
        (
            label("plantar", "left", response="equivocal"),
            label("plantar", "left", response="withdrawal"),
            True,
        ),
        (label("plantar", "left", response="extensor"), label("plantar", "left", response="flexor"), False),
        (
            label("ankle_clonus", "left", descriptor="present"),
            label("ankle_clonus", "left", descriptor="present", beats="4", sustained=False),
            True,
        ),
        (
            label("ankle_clonus", "left", descriptor="present", beats="3"),
            label("ankle_clonus", "left", descriptor="present", beats="4"),
            False,
        ),
        (
            label("primitive", "both", descriptor="snout: absent"),
            label("primitive", "both", which="snout", descriptor="absent", negated=True),
            True,
        ),
        (
            label("primitive", "both", descriptor="snout: present"),
            label("primitive", "both", which="suck", descriptor="present"),
            False,
        ),
        (grade("upper_limb_all", "left", 2), grade("elbow_unspecified", "left", 2), True),
        (label("patellar", "left", grade_low=1, grade_high=2), grade("patellar", "left", 2), False),
    ],
)
def test_which_values_count_as_the_same(labelled: Record, found: Record, same: bool) -> None:
    rates = score([labelled], [found]).rates["strict", "full"]
    assert (rates.matched == rates.gold) is same


def test_a_note_without_a_prediction_counts_as_nothing_found() -> None:
    result = measured(gold(a=[grade("patellar", "left", 2)], b=[]), {}, WORDS, resamples=0)
    assert result.rates["strict", "full"].recall == 0
    assert result.rates["strict", "full"].precision == 0
    assert result.silent == ("a",)


def test_nothing_labelled_and_nothing_found_is_right() -> None:
    result = score([], [])
    assert (result.rates["strict", "full"].precision, result.rates["strict", "full"].recall) == (1, 1)
    assert result.all_correct == {"strict": 1, "lenient": 1}


def test_predictions_for_other_notes_are_left_out() -> None:
    result = measured(gold(a=[]), predicted(b=[grade("patellar", "left", 2)]), WORDS, resamples=0)
    assert result.rates["strict", "full"].predicted == 0


def test_two_equal_findings_match_two_labels_and_no_more() -> None:
    one = grade("patellar", "left", 2)
    assert matched([one, one], [one, one, one], "strict", "full") == (2, 2, 3)


def test_intervals_are_repeatable_and_hold_the_rate_of_the_whole() -> None:
    good, bad = grade("patellar", "left", 2), grade("patellar", "left", 3)
    labels = gold(**{f"n{number}": [good] for number in range(40)})
    found = predicted(**{f"n{number}": [good if number % 4 else bad] for number in range(40)})
    first, again = (measured(labels, found, WORDS, seed=3).rates["strict", "full"] for _ in range(2))
    assert first == again
    drawn = [measured(labels, found, WORDS, resamples=20, seed=seed) for seed in range(8)]
    assert len({str(one.rates["strict", "full"].intervals) for one in drawn}) > 1
    assert first.intervals["f1"].low < first.f1 < first.intervals["f1"].high
    # 30 of 40 right: the normal approximation gives 0.75 +- 1.96 * sqrt(0.75 * 0.25 / 40) = 0.616 to 0.884
    assert first.intervals["recall"].low == pytest.approx(0.616, abs=0.05)
    assert first.intervals["recall"].high == pytest.approx(0.884, abs=0.05)


def test_where_all_is_right_the_interval_is_a_point() -> None:
    one = grade("patellar", "left", 2)
    interval = score([one], [one], resamples=50).rates["lenient", "full"].intervals["f1"]
    assert (interval.low, interval.high) == (1, 1)


LABELS = st.lists(
    st.builds(
        grade,
        st.sampled_from(("biceps", "patellar")),
        st.sampled_from(("left", "both", "unspecified")),
        st.sampled_from((1, 2)),
    ),
    max_size=4,
)


@given(LABELS, LABELS)
def test_full_agreement_is_never_above_detection_nor_above_either_side(
    labels: list[Record], found: list[Record]
) -> None:
    for mode in ("strict", "lenient"):
        full, wanted, given_ = matched(labels, found, mode, "full")
        detected = matched(labels, found, mode, "detection")[0]
        assert full <= detected <= min(wanted, given_)


@given(LABELS)
def test_labels_agree_with_themselves(labels: list[Record]) -> None:
    for rates in score(labels, labels).rates.values():
        assert rates.matched == rates.gold == rates.predicted
