"""Hours at the wheel, for athletes who drive to the site: whether a lawful timetable exists.

A driver may set off, stop and rest whenever it helps; a breach means that no such timetable exists between the fixed
duties. A journey says how long the driving takes, not where the driver stops: a break that is due makes it longer by
as much, and whoever drives has to plan it. This screens a schedule and clears nobody to drive: the sanctioning body's
and local rules go first, and whoever is tired does not drive.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from lineup.limits import DrivingRules, Limit
from lineup.rules.findings import Case, Finding, shown_at
from lineup.rules.timeline import SAME_H, Chain
from lineup.rules.wheel import Road, Spell

_CAUTION = "the sanctioning body's and local rules go first; nobody drives tired"


def driving_hours(case: Case, limit: Limit) -> Iterator[Finding]:
    """Driving between duties, with the rests it takes, fits the time; and duty in so many days leaves room for it."""
    if not case.season.athletes[case.athlete].drives:
        return
    rules = limit.driving or DrivingRules()
    yield from _between(case, limit, rules)
    if rules.on_duty_hours is not None:
        yield from _on_duty(case, limit.window_days, rules.on_duty_hours, rules.restart_hours)


def _between(case: Case, limit: Limit, rules: DrivingRules) -> Iterator[Finding]:
    """Follow the spell that leaves most room for what comes: drive at once what may be driven, rest as often as fits.

    The driver reports to the first duty rested.
    """
    spell, stretch_h = Spell(), rules.break_after_hours or math.inf
    for earlier, later, gap in case.trips.between():
        spell = spell.then(0.0, 0.0, earlier.hours)
        road = Road(gap.wheel_out_h + gap.wheel_in_h, later.report - earlier.released, limit.most, rules)
        where = f"between {case.name(earlier.duties[-1].race)} and {case.name(later.duties[0].race)}"
        wrong, spell = _cross(case, road, spell, stretch_h, where)
        if wrong is not None and (earlier.block or later.block):
            yield Finding("driving_hours", shown_at(earlier.duties, later.duties), *wrong)


def _cross(
    case: Case, road: Road, spell: Spell, stretch_h: float, where: str
) -> tuple[tuple[float, float, str] | None, Spell]:
    """Return what is wrong with a gap (figure, limit, words), and the spell that the next duty begins with."""
    needed_h = road.needed_h(spell, stretch_h)
    if road.wheel_h <= SAME_H or needed_h <= road.gap_h + SAME_H:
        return None, road.after(spell, stretch_h)
    rested_h = road.needed_h(spell, math.inf)
    if rested_h > road.gap_h + SAME_H:
        text = (
            f"{case.who} drives: {road.wheel_h:.1f} h at the wheel with {road.rules.off_hours:g} h off take "
            f"{rested_h:.1f} h, {road.gap_h:.1f} h lie {where}; {_CAUTION}"
        )
        return (rested_h, road.gap_h, text), Spell()
    unbroken_h = road.unbroken_h(spell, stretch_h)
    text = (
        f"{case.who} drives: {unbroken_h:.1f} h at the wheel without a break of {road.rules.break_hours * 60:g} min, "
        f"at most {stretch_h:g}; with breaks it takes {needed_h:.1f} h, {road.gap_h:.1f} h lie {where}; {_CAUTION}"
    )
    return (unbroken_h, stretch_h, text), road.after(spell, math.inf)


def _on_duty(case: Case, days: int, most_h: float, restart_h: float | None) -> Iterator[Finding]:
    """Hours of duty and driving in the days that end with each duty of the block that is driven to or from."""
    trips = case.trips
    for last, shift in enumerate(trips.shifts):
        if not shift.block or trips.wheel_h(last) <= 0:
            continue
        total_h = 0.0
        for index in range(last, -1, -1):
            if trips.shifts[index].day <= shift.day - days:
                break
            total_h += trips.shifts[index].hours + trips.wheel_h(index)
            if restart_h is not None and index and _free_before_h(trips, index) >= restart_h - SAME_H:
                break
        if total_h > most_h + SAME_H:
            race = shown_at(shift.duties)
            text = (
                f"{case.who} drives: {total_h:.1f} h on duty and at the wheel of {most_h:g} h allowed in the {days} "
                f"days to {case.name(race)}; {_CAUTION}"
            )
            yield Finding("driving_hours", race, total_h, most_h, text)


def _free_before_h(trips: Chain, index: int) -> float:
    """Hours neither on duty nor travelling before a shift that is not the first."""
    gap = trips.gaps[index]
    return trips.shifts[index].report - trips.shifts[index - 1].released - gap.out_h - gap.in_h
