"""Writes a time zone's rules of some years as a VTIMEZONE (RFC 5545, 3.6.5).

The library that writes the rest of a calendar dates the begin of summer time by the new clock; the standard wants
the old one (DTSTART is read with TZOFFSETFROM), so these rules are written here.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from zoneinfo import ZoneInfo

from icalendar import Timezone, TimezoneDaylight, TimezoneStandard


@lru_cache(maxsize=256)
def zone_rules(zone: str, first_year: int, last_year: int) -> Timezone:
    """Return the rules of an IANA zone: one observance at the first year's begin, one per change of the clock."""
    clock = ZoneInfo(zone)
    rules = Timezone()
    rules.add("tzid", zone)
    begin = datetime(first_year, 1, 1, tzinfo=UTC) - timedelta(
        days=1
    )  # the new year comes up to 14 h earlier in the east
    end = datetime(last_year + 1, 1, 2, tzinfo=UTC)
    moments = [begin, *changes(clock, begin, end)]
    for moment in moments:
        before = begin if moment == begin else moment - timedelta(seconds=1)
        rules.add_component(_observance(clock, before, moment))
    return rules


def changes(clock: ZoneInfo, begin: datetime, end: datetime) -> Iterator[datetime]:
    """Yield each moment (UTC, to the minute) from which the clock is set differently."""
    day = timedelta(days=1)
    moment = begin
    while moment < end:
        if _setting(clock, moment) != _setting(clock, moment + day):
            yield _exactly(clock, moment, moment + day)
        moment += day


def _exactly(clock: ZoneInfo, low: datetime, high: datetime) -> datetime:
    old = _setting(clock, low)
    while high - low > timedelta(minutes=1):
        middle = low + timedelta(minutes=(high - low) // timedelta(minutes=2))
        if _setting(clock, middle) == old:
            low = middle
        else:
            high = middle
    return high


def _setting(clock: ZoneInfo, moment: datetime) -> tuple[timedelta | None, str | None]:
    local = moment.astimezone(clock)
    return local.utcoffset(), local.tzname()


def _observance(clock: ZoneInfo, before: datetime, moment: datetime) -> TimezoneStandard | TimezoneDaylight:
    old, new = before.astimezone(clock), moment.astimezone(clock)
    offset = old.utcoffset() or timedelta()
    rule = TimezoneDaylight() if new.dst() else TimezoneStandard()
    rule.add("dtstart", (moment + offset).replace(tzinfo=None))  # on the clock as it was until then
    rule.add("tzoffsetfrom", offset)
    rule.add("tzoffsetto", new.utcoffset() or timedelta())
    rule.add("tzname", new.tzname() or "")
    return rule
