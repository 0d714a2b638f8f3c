"""The authored time. FHIR R4 dateTime: hours need a zone; seconds may be zero-filled."""

import pytest
from fhir_samples import note

from converter.fhir.times import effective_time


def told(authored: str | None, zone: str | None = None) -> tuple[str | None, list[str]]:
    time, doubts = effective_time(note(authored=authored), zone)
    return time, [doubt.code for doubt in doubts]


@pytest.mark.parametrize("authored", ["2031", "2031-03", "2031-03-01"])
def test_dates_stay_as_precise_as_they_are(authored: str) -> None:
    assert told(authored) == (authored, [])


def test_unknown_stays_absent() -> None:
    assert told(None) == (None, [])
    assert told("  ") == (None, [])


def test_time_without_zone_is_cut_to_the_day() -> None:
    assert told("2031-03-01T23:50") == ("2031-03-01", ["time-cut-to-day"])


def test_time_without_zone_is_read_in_the_sites_zone() -> None:
    # offsets of Europe/Vienna: common practice, no source (CET +01:00, CEST +02:00)
    assert told("2031-01-05T23:50", "Europe/Vienna") == ("2031-01-05T23:50:00+01:00", [])
    assert told("2031-07-05 23:50:07", "Europe/Vienna") == ("2031-07-05T23:50:07+02:00", [])


def test_hour_that_comes_twice_or_never_is_cut_to_the_day() -> None:
    # last Sunday of March and of October 2024 in the European Union
    assert told("2024-10-27T02:30", "Europe/Vienna") == ("2024-10-27", ["time-cut-to-day"])
    assert told("2024-03-31T02:30", "Europe/Vienna") == ("2024-03-31", ["time-cut-to-day"])


def test_written_zone_is_kept() -> None:
    assert told("2031-03-01T10:20Z") == ("2031-03-01T10:20:00Z", [])
    assert told("2031-03-01T10:20:30.50+0530", "Europe/Vienna") == ("2031-03-01T10:20:30.50+05:30", [])


def test_impossible_zone_is_cut_to_the_day() -> None:
    assert told("2031-03-01T10:20+15:00") == ("2031-03-01", ["time-cut-to-day"])


@pytest.mark.parametrize(
    "authored", ["01.03.2031", "2031-13", "2031-02-30", "2031-03-01T25:00", "0000", "soon"]
)
def test_what_is_no_time_is_said_and_left_out(authored: str) -> None:
    assert told(authored) == (None, ["unreadable-time"])
