"""Hours at the wheel, for athletes who drive to the site: whether a lawful timetable exists.

A driver may set off, stop and rest whenever it helps; a breach means that no such timetable exists between the fixed
duties. This screens a schedule and clears nobody to drive: the sanctioning body's and local rules go first, and
whoever is tired does not drive.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from lineup.limits import DrivingRules, Limit
from lineup.rules.findings import Case, Finding
from lineup.rules.timeline import SAME_H, Chain

_CAUTION = "the sanctioning body's and local rules go first; nobody drives tired"


@dataclass(frozen=True, slots=True)
class _Spell:
    """Hours since the last rest: at the wheel, in all, and on duty or at the wheel."""

    wheel_h: float = 0.0
    elapsed_h: float = 0.0
    worked_h: float = 0.0

    def then(self, wheel_h: float, wait_h: float, duty_h: float) -> _Spell:
        """Go on without a rest."""
        worked_h = self.worked_h + wheel_h + duty_h
        return _Spell(self.wheel_h + wheel_h, self.elapsed_h + wheel_h + wait_h + duty_h, worked_h)


def driving_hours(case: Case, limit: Limit) -> Iterator[Finding]:
    """Driving between duties, with the rests it takes, fits the time; and duty in so many days leaves room for it."""
    if not case.season.athletes[case.athlete].drives:
        return
    rules = limit.driving or DrivingRules()
    yield from _between(case, limit, rules)
    if rules.on_duty_hours is not None and limit.days is not None:
        yield from _on_duty(case, limit.days, rules.on_duty_hours, rules.restart_hours)


def _between(case: Case, limit: Limit, rules: DrivingRules) -> Iterator[Finding]:
    """Follow the spell that leaves most room for what comes: drive at once what may be driven, rest as often as fits.

    The driver reports to the first duty rested.
    """
    shifts, gaps = case.trips.shifts, case.trips.gaps
    spell = _Spell()
    for earlier, later, gap in zip(shifts, shifts[1:], gaps[1:], strict=False):
        spell = spell.then(0.0, 0.0, earlier.hours)
        wheel_h, gap_h = gap.wheel_out_h + gap.wheel_in_h, later.report - earlier.released
        after, needed_h = _cross(spell, wheel_h, gap_h, limit.at_most or 0.0, rules)
        short_h = needed_h - gap_h
        if short_h > SAME_H and (earlier.block or later.block):
            first, second = case.name(earlier.duties[-1].race), case.name(later.duties[0].race)
            text = (
                f"{case.who} drives: {wheel_h:.1f} h at the wheel with {rules.off_hours:g} h off take "
                f"{needed_h:.1f} h, {gap_h:.1f} h lie between {first} and {second}; {_CAUTION}"
            )
            race = later.duties[0].race if later.block else earlier.duties[-1].race
            yield Finding("driving_hours", race, needed_h, gap_h, short_h, text)
        spell = after


def _cross(spell: _Spell, wheel_h: float, gap_h: float, most_h: float, rules: DrivingRules) -> tuple[_Spell, float]:
    """Cross a gap: the spell that the next duty begins with, and the hours that the gap must at least have."""
    room_h = most_h - spell.wheel_h
    if rules.window_hours is not None:
        room_h = min(room_h, rules.window_hours - spell.elapsed_h)
    if rules.worked_hours is not None:
        room_h = min(room_h, rules.worked_hours - spell.worked_h)
    at_once_h = min(wheel_h, max(0.0, room_h))
    left_h = wheel_h - at_once_h
    rests = math.floor((gap_h - wheel_h + SAME_H) / rules.off_hours)
    if rests < 1 and left_h <= SAME_H:
        return spell.then(wheel_h, gap_h - wheel_h, 0.0), wheel_h
    needed = 0 if left_h <= SAME_H else max(1, math.ceil((left_h - SAME_H) / most_h))
    last_h = max(0.0, left_h - (max(rests, 1) - 1) * most_h)
    after = _Spell() if rests < needed else _Spell(last_h, last_h, last_h)
    return after, wheel_h + needed * rules.off_hours


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
            if restart_h is not None and _free_before_h(trips, index) >= restart_h - SAME_H:
                break
        if total_h > most_h + SAME_H:
            race = next(duty.race for duty in reversed(shift.duties) if duty.block)
            text = (
                f"{case.who} drives: {total_h:.1f} h on duty and at the wheel of {most_h:g} h allowed in the {days} "
                f"days to {case.name(race)}; {_CAUTION}"
            )
            yield Finding("driving_hours", race, total_h, most_h, total_h - most_h, text)


def _free_before_h(trips: Chain, index: int) -> float:
    """Hours neither on duty nor travelling before a shift."""
    if index == 0:
        return math.inf
    gap = trips.gaps[index]
    return trips.shifts[index].report - trips.shifts[index - 1].released - gap.out_h - gap.in_h
