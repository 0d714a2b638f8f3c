"""How sure a proportion is that was counted on a sample, and how large a sample has to be.

Takes counts or a wish; gives the Wilson score interval (E. B. Wilson, Probable inference, the law of
succession, and statistical inference, J Am Stat Assoc 1927;22:209-212), or a number of items. Unlike the
normal approximation it holds for small samples and for proportions near 1, where those of a good reader lie.
"""

from math import ceil, sqrt
from statistics import NormalDist

from converter.score.measure import Interval

_LARGEST = 10_000_000


def wilson(count: int, total: int, confidence: float = 0.95) -> Interval:
    """The Wilson score interval of a proportion; the whole range where nothing was counted.

    Args:
        count: items with the property.
        total: items looked at.
        confidence: e.g. 0.95.

    Raises:
        ValueError: the counts or the confidence make no sense.
    """
    if not 0 <= count <= total:
        raise ValueError(f"{count} of {total} is no proportion")
    z = _z(confidence)
    if not total:
        return Interval(0.0, 1.0)
    share, square = count / total, z * z
    middle = (share + square / (2 * total)) / (1 + square / total)
    half = _half_width(share, total, z)
    return Interval(max(0.0, middle - half), min(1.0, middle + half))


def sample_size(
    expected: float, half_width: float, confidence: float = 0.95, population: int | None = None
) -> int:
    """The smallest sample whose Wilson interval reaches no further than wished to either side.

    A population that is not much larger needs less: n / (1 + (n - 1) / N), the correction of W. G. Cochran,
    Sampling Techniques, 3rd ed. 1977, section 4.4.

    Args:
        expected: the proportion that is expected; 0.5 where nothing is known, which needs most.
        half_width: half the length of the interval, e.g. 0.05 for five points to either side.
        confidence: e.g. 0.95.
        population: number of items there are; None for very many.

    Raises:
        ValueError: a wish makes no sense, or needs more than ten million items.
    """
    if not 0 <= expected <= 1 or not 0 < half_width < 1:
        raise ValueError("the expected proportion lies from 0 to 1, the half width between them")
    z, low, high = _z(confidence), 0, _LARGEST
    if _half_width(expected, high, z) > half_width:
        raise ValueError("so narrow an interval needs more than ten million items")
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if _half_width(expected, middle, z) <= half_width else (middle, high)
    return high if population is None else of_population(high, population)


def of_population(size: int, population: int) -> int:
    """A sample size for a population that is not much larger than it; never more than there is."""
    if population < 1:
        return 0
    return min(population, ceil(size / (1 + (size - 1) / population)))


def _half_width(share: float, total: int, z: float) -> float:
    return z / (1 + z * z / total) * sqrt(share * (1 - share) / total + z * z / (4 * total * total))


def _z(confidence: float) -> float:
    if not 0 < confidence < 1:
        raise ValueError("the confidence lies between 0 and 1, e.g. 0.95")
    return NormalDist().inv_cdf((1 + confidence) / 2)
