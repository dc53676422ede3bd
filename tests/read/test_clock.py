"""Local clock times against the published dates of clock changes."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lineup.read.clock import hours, utc_moment


@pytest.mark.parametrize(
    ("local", "zone", "wanted"),
    [
        # US: second Sunday of March to first Sunday of November, at 2:00 (Energy Policy Act of 2005, section 110)
        (datetime(2027, 3, 14, 2, 0), "America/New_York", "does not exist"),
        (datetime(2027, 3, 14, 2, 59, 59), "America/New_York", "does not exist"),
        (datetime(2027, 11, 7, 1, 0), "America/New_York", "exists twice"),
        (datetime(2027, 11, 7, 1, 59, 59), "America/Chicago", "exists twice"),
        # European Union: last Sundays of March and October, at 1:00 UTC (Directive 2000/84/EC, articles 2 and 3)
        (datetime(2027, 3, 28, 2, 30), "Europe/Madrid", "does not exist"),
        (datetime(2027, 10, 31, 2, 30), "Europe/Madrid", "exists twice"),
        # Lord Howe Island moves its clocks by half an hour (IANA time zone database)
        (datetime(2027, 10, 3, 2, 29), "Australia/Lord_Howe", "does not exist"),
        (datetime(2027, 4, 4, 1, 31), "Australia/Lord_Howe", "exists twice"),
    ],
)
def test_a_time_the_clock_skips_or_shows_twice_is_refused(local: datetime, zone: str, wanted: str) -> None:
    with pytest.raises(ValueError, match=f"{wanted} in {zone}"):
        utc_moment(local, zone)


@pytest.mark.parametrize(
    ("local", "zone", "moment"),
    [
        (datetime(2027, 3, 14, 1, 59, 59), "America/New_York", datetime(2027, 3, 14, 6, 59, 59, tzinfo=UTC)),
        (datetime(2027, 3, 14, 3, 0), "America/New_York", datetime(2027, 3, 14, 7, 0, tzinfo=UTC)),
        (datetime(2027, 11, 7, 0, 59), "America/New_York", datetime(2027, 11, 7, 4, 59, tzinfo=UTC)),
        (datetime(2027, 11, 7, 2, 0), "America/New_York", datetime(2027, 11, 7, 7, 0, tzinfo=UTC)),
        (datetime(2027, 3, 14, 2, 30), "America/Phoenix", datetime(2027, 3, 14, 9, 30, tzinfo=UTC)),  # no change there
    ],
)
def test_the_edges_of_a_clock_change_are_read(local: datetime, zone: str, moment: datetime) -> None:
    assert utc_moment(local, zone) == moment


def test_a_night_of_a_clock_change_is_an_hour_shorter() -> None:
    # Saturday 22:00 to Sunday 8:00 in New York: 9 h on 2026-03-07/08, 10 h in June (IANA time zone database)
    def night(saturday: date) -> timedelta:
        evening = datetime(saturday.year, saturday.month, saturday.day, 22)
        return utc_moment(evening + timedelta(hours=10), "America/New_York") - utc_moment(evening, "America/New_York")

    assert night(date(2026, 3, 7)) == timedelta(hours=9)
    assert night(date(2026, 6, 6)) == timedelta(hours=10)


@given(
    moment=st.datetimes(datetime(1990, 1, 1), datetime(2040, 1, 1)).map(lambda t: t.replace(microsecond=0, tzinfo=UTC)),
    zone=st.sampled_from(["America/New_York", "Europe/London", "Australia/Lord_Howe", "Asia/Kolkata", "UTC"]),
)
def test_every_moment_comes_back_from_its_clock_unless_that_shows_it_twice(moment: datetime, zone: str) -> None:
    local = moment.astimezone(ZoneInfo(zone)).replace(tzinfo=None)
    try:
        assert utc_moment(local, zone) == moment
    except ValueError as error:
        assert "exists twice" in str(error)


def test_hours_are_exact_to_the_second() -> None:
    assert hours(1 / 3) == timedelta(minutes=20)
    assert hours(4.5) == timedelta(hours=4, minutes=30)
