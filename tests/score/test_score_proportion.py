"""Intervals of proportions and sample sizes, against published worked examples.

The examples are quoted from memory of the named books and papers.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from converter.score.proportion import of_population, sample_size, wilson


@pytest.mark.parametrize(
    ("count", "total", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_wilson_intervals_of_the_literature(count: int, total: int, low: float, high: float) -> None:
    """R. G. Newcombe, Two-sided confidence intervals for the single proportion, Stat Med 1998;17:857-872,
    table I, method 3.
    """
    interval = wilson(count, total)
    assert (round(interval.low, 4), round(interval.high, 4)) == (low, high)


def test_a_sample_of_an_island() -> None:
    """W. G. Cochran, Sampling Techniques, 3rd ed. 1977, section 4.4: 400 without, 356 of 3200 inhabitants."""
    assert of_population(400, 3200) == 356


def test_half_known_needs_some_four_hundred_for_five_points() -> None:
    """The rule of every textbook, z squared / 4 d squared = 384.1; Wilson's interval needs z squared less."""
    assert sample_size(0.5, 0.05) == 381


def test_a_population_smaller_than_the_sample_is_looked_at_whole() -> None:
    assert sample_size(0.5, 0.05, population=20) == 20
    assert sample_size(0.5, 0.05, population=0) == 0


@given(st.floats(0, 1), st.floats(0.01, 0.4), st.sampled_from([0.8, 0.9, 0.95, 0.99]))
def test_the_size_is_enough_and_one_less_is_not(expected: float, half: float, confidence: float) -> None:
    size = sample_size(expected, half, confidence)

    def width(total: int) -> float:
        from statistics import NormalDist

        z = NormalDist().inv_cdf((1 + confidence) / 2)
        spread = (expected * (1 - expected) / total + z**2 / (4 * total**2)) ** 0.5
        return float(z / (1 + z**2 / total) * spread)

    assert width(size) <= half
    assert size == 1 or width(size - 1) > half


@given(st.integers(0, 500), st.integers(1, 500))
def test_the_interval_holds_the_proportion(count: int, more: int) -> None:
    total = count + more
    interval = wilson(count, total)
    assert 0 <= interval.low <= count / total <= interval.high <= 1


@pytest.mark.parametrize("wrong", [(-0.1, 0.05, 0.95), (0.5, 0.0, 0.95), (0.5, 0.05, 1.0), (0.5, 1e-9, 0.95)])
def test_what_makes_no_sense_is_refused(wrong: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match=r"lies|interval"):
        sample_size(*wrong)


def test_nothing_counted_says_nothing() -> None:
    interval = wilson(0, 0)
    assert (interval.low, interval.high) == (0.0, 1.0)
