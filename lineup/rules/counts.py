"""Rules that count: races, weekends in a row, nights away and hours of travel, with the duties before the block."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Iterator

from lineup.limits import Limit, counted
from lineup.rules.findings import Case, Finding, shown
from lineup.rules.timeline import SAME_H


def races_per_weekend(case: Case, limit: Limit) -> Iterator[Finding]:
    """Races worked in one weekend."""
    most = limit.most
    by_week = Counter(duty.week for duty in case.starts)
    last_race = {duty.week: duty.race for duty in case.starts if duty.block}
    for week, race in last_race.items():
        count = by_week[week]
        if count > most:
            text = f"{case.who}: {counted(count, 'races')} of {most:g} allowed in the weekend of {case.name(race)}"
            yield Finding("races_per_weekend", race, count, most, text)


def weekends_in_a_row(case: Case, limit: Limit) -> Iterator[Finding]:
    """Length of the run of weekends that ends with each weekend of the block; each one beyond counts once."""
    most = limit.most
    last_race = {duty.week: duty.race for shift in case.rest.shifts for duty in shift.duties if duty.block}
    run, previous = 0, None
    for week in sorted({duty.week for shift in case.rest.shifts for duty in shift.duties}):
        run = run + 1 if previous is not None and week == previous + 1 else 1
        previous = week
        if run > most and week in last_race:
            race = last_race[week]
            text = f"{case.who}: {counted(run, 'weekends in a row')} of {most:g} allowed with {case.name(race)}"
            yield Finding("weekends_in_a_row", race, run, most, text, once=True)


def races_in_days(case: Case, limit: Limit) -> Iterator[Finding]:
    """Races worked in the days that end with each duty of the block."""
    days = sorted(duty.day for duty in case.starts)
    for duty in case.starts:
        if duty.block:
            count = _within(days, duty.day, limit)
            yield from _window(case, limit, duty.race, duty.day, count, "races")


def nights_away_in_days(case: Case, limit: Limit) -> Iterator[Finding]:
    """Nights away from home in the days that end with each duty of the block, the night after it included."""
    nights = case.trips.nights()
    for duty in case.duties:
        if duty.block:
            yield from _window(case, limit, duty.race, duty.day, _within(nights, duty.day, limit), "nights away")


def travel_hours_in_days(case: Case, limit: Limit) -> Iterator[Finding]:
    """Hours of travel that the duties of the days up to each duty of the block bring, its own included."""
    days = limit.window_days
    brought = [(shift.day, case.trips.travel_h(index)) for index, shift in enumerate(case.trips.shifts)]
    for duty in case.duties:
        if duty.block:
            total_h = sum(travel_h for day, travel_h in brought if duty.day - days < day <= duty.day)
            yield from _window(case, limit, duty.race, duty.day, total_h, "h of travel")


def starts(case: Case, limit: Limit) -> Iterator[Finding]:
    """Count starts of an athlete in the block; the least asks only those who may start in it."""
    races = [duty.race for duty in case.starts if duty.block]
    count = len(races)
    if limit.at_most is not None and count > limit.at_most:
        text = f"{case.who}: {counted(count, 'starts')} of at most {limit.at_most:g} in the block"
        yield Finding("starts", races[-1], count, limit.at_most, text)
    if limit.at_least is not None and count < limit.at_least and case.may_start:
        text = f"{case.who}: {counted(count, 'starts')} of at least {limit.at_least:g} in the block"
        yield Finding("starts", races[-1] if races else "", count, limit.at_least, text)


def _within(days: list[int], last: int, limit: Limit) -> int:
    """Count, among days in order, those of the window that ends with `last`."""
    return bisect_right(days, last) - bisect_left(days, last - limit.window_days + 1)


def _window(case: Case, limit: Limit, race: str, day: int, figure: float, unit: str) -> Iterator[Finding]:
    most = limit.most
    if figure > most + SAME_H:
        text = f"{case.who}: {counted(figure, unit)} of {most:g} allowed in the {limit.days} days to {shown(day)}"
        yield Finding(limit.name, race, figure, most, text)
