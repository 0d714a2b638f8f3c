"""Dates stay exactly as precise as the source gave them, in ISO 8601 form.

The accepted forms are those of ISO 8601 (extended and basic, as HL7 writes the latter); that a FHIR dateTime
allows a year, a month or a day alone is https://hl7.org/fhir/R4/datatypes.html#dateTime.
"""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from converter.sources.dates import completed_years, day_or_less, moment


@pytest.mark.parametrize(
    ("written", "text", "precision"),
    [
        ("2031", "2031", "year"),
        ("2031-04", "2031-04", "month"),
        ("2031-04-09", "2031-04-09", "day"),
        ("20310409", "2031-04-09", "day"),
        ("2031-04-09T08:30", "2031-04-09T08:30", "minute"),
        ("2031-04-09 08:30", "2031-04-09T08:30", "minute"),
        ("2031-04-09T08:30Z", "2031-04-09T08:30Z", "minute"),
        ("2031-04-09T08:30:05", "2031-04-09T08:30:05", "second"),
        ("2031-04-09 08:30:05.120", "2031-04-09T08:30:05.120", "second"),
        ("2031-04-09T08:30:05+10:00", "2031-04-09T08:30:05+10:00", "second"),
        ("2031-04-09T08:30:05+1000", "2031-04-09T08:30:05+10:00", "second"),
        ("2031-04-09T08:30-03", "2031-04-09T08:30-03:00", "minute"),
        ("202104090830", "2021-04-09T08:30", "minute"),
        ("20310409083005", "2031-04-09T08:30:05", "second"),
        ("20310409083005+1000", "2031-04-09T08:30:05+10:00", "second"),
        ("2032-02-29", "2032-02-29", "day"),
        (" 2031-04-09 ", "2031-04-09", "day"),
    ],
)
def test_dates_are_read_as_precisely_as_written(written: str, text: str, precision: str) -> None:
    found = moment(written)
    assert found is not None
    assert (found.text, found.precision, found.cut) == (text, precision, False)


@pytest.mark.parametrize(
    "written",
    ["2023-02-30", "2031-02-29", "2031-13-01", "2031-00-10", "0000-01-01", "09/04/2031", "9 April 2031",
     "31-04-09", "2031-4-9", "20311301", "", "-", "2031-04-09-02", "٢٠٣١-٠٤-٠٩"],
)  # fmt: skip
def test_what_is_no_date_gives_none(written: str) -> None:
    assert moment(written) is None


@pytest.mark.parametrize(
    "written",
    ["2031-04-09T24:00", "2031-04-09T08:61", "2031-04-09T08", "2031-04-09 8am", "2031-04-09T08:30+15:00",
     "2031-04-09T23:59:60"],
)  # fmt: skip
def test_a_time_that_is_no_time_is_cut_off(written: str) -> None:
    found = moment(written)
    assert found is not None
    assert (found.text, found.precision, found.cut) == ("2031-04-09", "day", True)


@given(st.integers(0, 9999), st.integers(0, 99), st.integers(0, 99))
def test_the_calendar_agrees_with_the_standard_library(year: int, month: int, day: int) -> None:
    written = f"{year:04}-{month:02}-{day:02}"
    try:
        expected: str | None = date(year, month, day).isoformat()
    except ValueError:
        expected = None
    found = moment(written)
    assert (found.text if found else None) == expected
    assert day_or_less(f"{written} 00:00:00") == expected


def test_every_day_of_a_leap_year_is_a_day() -> None:
    days = [date(2032, 1, 1) + timedelta(days=at) for at in range(366)]
    assert [day_or_less(f"{day:%Y%m%d}") for day in days] == [day.isoformat() for day in days]


@pytest.mark.parametrize(
    ("written", "years"),
    [("71", 71), ("71.9", 71), ("0", 0), ("45 years", 45), ("45 y", 45), ("45yo", 45), ("45 years old", 45),
     ("18 months", 1), ("23 mo", 1), ("6 weeks", 0), ("400 days", 1), ("130", 130)],
)  # fmt: skip
def test_ages_are_completed_years(written: str, years: int) -> None:
    assert completed_years(written) == years


@pytest.mark.parametrize("written", ["", "-1", "131", "old", "45 m", "4 5", "45-50", "12 horses", "٤٥"])
def test_what_is_no_age_gives_none(written: str) -> None:
    assert completed_years(written) is None
