"""Check of hours at the wheel: drivers are simulated between duties, each taking his stops in another way."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from itertools import pairwise

from lineup.audit.diary import BLINK, HOUR, Diary, Stay
from lineup.audit.records import Measure, held
from lineup.audit.scene import Scene
from lineup.limits import DrivingRules, Limit

_HAIR = BLINK / HOUR  # hours that are nothing
_DIGITS = 4  # of an hour without a break: below a second
_CAUTION = "the sanctioning body's and local rules go first; nobody drives tired"


def wheel_measures(scene: Scene, limit: Limit, athlete: str) -> Iterator[Measure]:
    """Measure every gap that is driven, and the hours on duty of every driven stay."""
    if not scene.season.athletes[athlete].drives:
        return
    diary, rules = scene.diary(athlete, with_trips=True), limit.driving or DrivingRules()
    yield from _gaps(scene, limit, rules, diary)
    if rules.on_duty_hours is not None:
        yield from _on_duty(scene, limit, rules.on_duty_hours, rules.restart_hours, diary)


@dataclass(frozen=True, slots=True)
class _Driver:
    """Hours since the last rest: at the wheel, in all, at work (duty or wheel).

    `spent` and `left`: hours of the gap used so far, and still to be driven in it; `rested`: whether it holds any rest.
    """

    wheel: float = 0.0
    elapsed: float = 0.0
    work: float = 0.0
    spent: float = 0.0
    left: float = 0.0
    rested: bool = False

    def room(self, most: float, rules: DrivingRules) -> float:
        """Hours that may be driven before a rest is due."""
        caps = [most - self.wheel]
        if rules.window_hours is not None:
            caps.append(rules.window_hours - self.elapsed)
        if rules.worked_hours is not None:
            caps.append(rules.worked_hours - self.work)
        return max(0.0, min(caps))

    def drive(self, hours: float) -> _Driver:
        """Drive on."""
        return replace(
            self,
            wheel=self.wheel + hours,
            elapsed=self.elapsed + hours,
            work=self.work + hours,
            spent=self.spent + hours,
            left=self.left - hours,
        )

    def stop(self, hours: float) -> _Driver:
        """Take a break from driving."""
        return replace(self, elapsed=self.elapsed + hours, spent=self.spent + hours)

    def rest(self, hours: float) -> _Driver:
        """Start anew."""
        return _Driver(spent=self.spent + hours, left=self.left, rested=True)

    def on_duty(self, hours: float) -> _Driver:
        """Work a duty, which is a break from driving."""
        return _Driver(self.wheel, self.elapsed + hours, self.work + hours)


def _arrivals(driver: _Driver, wheel: float, most: float, rules: DrivingRules, stretch: float) -> list[_Driver]:
    """Every way to drive so many hours: driven as far as may be, at each stop a break or a rest; how each arrives."""
    arrived, seen, todo = [], set(), [replace(driver, left=wheel)]
    while todo:
        now = todo.pop()
        now = now.drive(min(now.left, now.room(most, rules), stretch))
        key = tuple(round(figure, 6) for figure in (now.spent, now.left, now.wheel, now.elapsed))
        if key in seen:
            continue
        seen.add(key)
        if now.left <= _HAIR:
            arrived.append(now)
            continue
        todo.append(now.rest(rules.off_hours))
        if now.room(most, rules) > _HAIR:
            todo.append(now.stop(rules.break_hours))
    return arrived


def _next(arrived: list[_Driver], gap: float, rules: DrivingRules) -> _Driver:
    """Driver that begins the next duty: rested where there is time for it, else as fresh as can be; rested at a breach.

    Idle time makes the last rest longer where there is one.
    """
    inside = [driver for driver in arrived if driver.spent <= gap + _HAIR]
    if not inside or any(gap - driver.spent + _HAIR >= rules.off_hours for driver in inside):
        return _Driver()
    best = min(inside, key=lambda driver: (driver.wheel, driver.elapsed))
    idle = 0.0 if best.rested else max(0.0, gap - best.spent)
    return _Driver(best.wheel, best.elapsed + idle, best.work)


def _gaps(scene: Scene, limit: Limit, rules: DrivingRules, diary: Diary) -> Iterator[Measure]:
    driver = _Driver()
    for earlier, later in pairwise(diary.stays):
        driver = driver.on_duty((earlier.end - earlier.begin) / HOUR)
        gap, wheel = (later.begin - earlier.end) / HOUR, _wheel_between(diary, earlier, later) / HOUR
        arrived = _arrivals(driver, wheel, limit.most, rules, math.inf)
        needed = min(way.spent for way in arrived)
        measured = [
            (needed, gap, f"{gap:.1f} h between duties of {needed:.1f} h needed for {wheel:.1f} h at the wheel")
        ]
        if rules.break_after_hours is not None and needed <= gap + _HAIR:
            due = rules.break_after_hours
            figure, told, arrived = _broken(driver, wheel, gap, limit.most, rules, due, arrived)
            measured.append((figure, due, told))
        if wheel > 0 and (earlier.planned or later.planned):
            race = later.last_planned if later.planned else earlier.last_planned
            where = f": {scene.who(diary.athlete)}, before {scene.race(later.stints[0].race)}; {_CAUTION}"
            for figure, bound, told in measured:
                yield held(limit, diary.athlete, race, told + where, figure, bound)
        driver = _next(arrived, gap, rules)


def _broken(
    driver: _Driver, wheel: float, gap: float, most: float, rules: DrivingRules, due: float, freely: list[_Driver]
) -> tuple[float, str, list[_Driver]]:
    """Hours at the wheel without a break, in words too, and how the driver arrives.

    The figure is the shortest such stretch that the gap has the time for, at most the limit where that is kept. Where
    the gap is too short for the breaks, the driver goes `freely`.
    """
    arrived = _arrivals(driver, wheel, most, rules, due)
    needed = min(way.spent for way in arrived)
    told = f"without a break of {60 * rules.break_hours:g} min, at most {due:g}"
    if needed <= gap + _HAIR:
        to_plan = ", a break to be planned" if needed > min(way.spent for way in freely) + _HAIR else ""
        return min(wheel, due), f"{min(wheel, due):.1f} h at the wheel {told}{to_plan}", arrived
    short, long = due, wheel
    while long - short > _HAIR / 100:
        stretch = (short + long) / 2
        fits = min(way.spent for way in _arrivals(driver, wheel, most, rules, stretch)) <= gap + _HAIR
        short, long = (short, stretch) if fits else (stretch, long)
    return (
        round(long, _DIGITS),
        f"{long:.1f} h at the wheel {told}; {gap:.1f} h between duties of {needed:.1f} h needed",
        freely,
    )


def _wheel_between(diary: Diary, earlier: Stay, later: Stay) -> timedelta:
    if later.from_home:
        return diary.wheel(earlier.site, diary.home) + diary.wheel(diary.home, later.site)
    return diary.wheel(earlier.site, later.site)


def _on_duty(scene: Scene, limit: Limit, most: float, restart: float | None, diary: Diary) -> Iterator[Measure]:
    """Measure hours of duty and driving in the days up to each stay, after the last restart."""
    shares = [_wheel_of(diary, number) for number in range(len(diary.stays))]
    for number, stay in enumerate(diary.stays):
        if not stay.planned or not shares[number]:
            continue
        oldest = diary.stint_day(stay.stints[0]) - timedelta(days=limit.window_days - 1)
        first = number
        while first > 0 and not _restart(diary, first, restart):
            if diary.stint_day(diary.stays[first - 1].stints[0]) < oldest:
                break
            first -= 1
        spans = zip(diary.stays[first : number + 1], shares[first : number + 1], strict=True)
        total = sum((s.end - s.begin + share) / HOUR for s, share in spans)
        text = (
            f"{total:.1f} h on duty and at the wheel of {most:g} h allowed in {limit.days} days: "
            f"{scene.who(diary.athlete)}, {scene.race(stay.last_planned)}; {_CAUTION}"
        )
        yield held(limit, diary.athlete, stay.last_planned, text, total, most)


def _wheel_of(diary: Diary, number: int) -> timedelta:
    """Wheel time that a stay brings: the way to it, and home after it."""
    stay = diary.stays[number]
    came = diary.wheel(diary.home if stay.from_home else diary.stays[number - 1].site, stay.site)
    return came + (diary.wheel(stay.site, diary.home) if stay.then_home else timedelta())


def _restart(diary: Diary, number: int, restart: float | None) -> bool:
    """Whether enough time off lies before a stay for the count to start anew."""
    if restart is None:
        return False
    earlier, later = diary.stays[number - 1], diary.stays[number]
    return later.begin - later.way_in - earlier.end - earlier.way_out >= restart * HOUR - BLINK
