"""Control charts, against the formula and the example of a published handbook."""

import pytest

from converter.audit.control import control_chart, limits
from converter.audit.values import Row


def month(name: str, count: int | None, of: int | None) -> Row:
    return Row(dimension="month", group=name, counts={"yes": count}, of=of)


def test_limits_are_those_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook 6.3.3.2, the wafer example: 30 wafers of 50 chips, mean share .2313.

    The size and the mean were read in quotations of the page; the limits .4102 and .0524 are from memory of
    it, and follow by hand: sqrt(.2313 * .7687 / 50) = .05963, three times that is .1789.
    """
    assert limits(0.2313, 50) == pytest.approx((0.0524, 0.4102), abs=5e-5)


def test_limits_stay_within_nothing_and_all() -> None:
    assert limits(0.01, 10)[0] == 0
    assert limits(0.99, 10)[1] == 1


def test_the_centre_weighs_months_by_their_notes() -> None:
    # by hand: (10 + 90) / (100 + 100)
    chart = control_chart([month("2031-01", 10, 100), month("2031-02", 90, 100)])
    assert chart is not None
    assert chart.centre == 0.5
    # by hand: three standard errors are 3 * sqrt(.25 / 100) = .15, so .10 and .90 both lie beyond .35 and .65
    assert [point.beyond for point in chart.points] == [True, True]
    assert chart.points[0].lower == pytest.approx(0.35)


def test_hidden_and_undated_months_are_not_drawn() -> None:
    rows = [
        month("2031-02", 5, 20),
        month("2031-01", 6, 20),
        month("2031-03", None, 20),
        month("2031-04", 3, None),
        month("2031-05", 0, 0),
        month("not stated", 20, 20),
    ]
    chart = control_chart(rows)
    assert chart is not None
    assert [point.month for point in chart.points] == ["2031-01", "2031-02"]
    assert chart.centre == pytest.approx(11 / 40)


def test_one_month_makes_no_chart() -> None:
    assert control_chart([month("2031-01", 5, 20)]) is None


def test_few_expected_notes_make_rough_limits() -> None:
    # by hand: the centre is 4 / 40 = .1, so 2 are expected of 20 and fewer than five
    chart = control_chart([month("2031-01", 2, 20), month("2031-02", 2, 20)])
    assert chart is not None
    assert all(point.rough for point in chart.points)
