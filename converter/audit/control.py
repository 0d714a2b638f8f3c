"""Control charts of a share by month (p-charts).

Takes the monthly rows of a figure, hidden months left out; gives the centre, and for each month its limits.

Source of the formula: NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.3.2, Proportions Control
Charts: centre p, limits p +- 3 * sqrt(p * (1 - p) / n), here with each month's own n. The centre is
the share over the months shown, so that the chart gives away nothing that the table does not.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from math import sqrt

from converter.audit.values import NOT_STATED, Row

SOURCE = "NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.3.2, Proportions Control Charts"
_SIGMAS = 3
_FEW = 5
"""Below about five expected on either side the limits are rough (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class ControlPoint:
    """One month.

    Attributes:
        month: the month, e.g. `2031-05`.
        count: how many notes.
        of: out of how many.
        share: the one over the other.
        lower, upper: the control limits, within 0 and 1.
        beyond: whether the share lies outside the limits.
        rough: whether so few are expected that the limits are only rough.
    """

    month: str
    count: int
    of: int
    share: float
    lower: float
    upper: float
    beyond: bool
    rough: bool


@dataclass(frozen=True, slots=True)
class ControlChart:
    """The months in order, and the share over all of them."""

    centre: float
    points: tuple[ControlPoint, ...]


def control_chart(months: Iterable[Row]) -> ControlChart | None:
    """The control chart of a share.

    Args:
        months: the rows of the dimension `month`.

    Returns:
        The chart; None where fewer than two months can be shown.
    """
    shown = [
        (row.group, count, row.of)
        for row in months
        if row.group != NOT_STATED and row.of and (count := row.counts.get("yes")) is not None
    ]
    if len(shown) < 2:
        return None
    centre = sum(count for _, count, _ in shown) / sum(of for _, _, of in shown)
    return ControlChart(centre, tuple(_point(month, count, of, centre) for month, count, of in sorted(shown)))


def limits(centre: float, of: int) -> tuple[float, float]:
    """The lower and upper limit for a sample of this size, within 0 and 1."""
    width = _SIGMAS * sqrt(centre * (1 - centre) / of)
    return max(0.0, centre - width), min(1.0, centre + width)


def _point(month: str, count: int, of: int, centre: float) -> ControlPoint:
    lower, upper = limits(centre, of)
    share = count / of
    return ControlPoint(
        month=month,
        count=count,
        of=of,
        share=share,
        lower=lower,
        upper=upper,
        beyond=share < lower - 1e-12 or share > upper + 1e-12,
        rough=min(centre, 1 - centre) * of < _FEW,
    )
