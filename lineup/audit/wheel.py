"""Check of hours at the wheel: a driver is simulated between duties, chunk by chunk."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import timedelta
from itertools import pairwise

from lineup.audit.diary import BLINK, HOUR, Diary, Stay
from lineup.audit.records import Measure
from lineup.audit.scene import Scene
from lineup.limits import DrivingRules, Limit

_CAUTION = "the sanctioning body's and local rules go first; nobody drives tired"


def wheel_measures(scene: Scene, limit: Limit, athlete: str) -> Iterator[Measure]:
    """Measure every gap that is driven, and the hours on duty of every driven stay."""
    if not scene.season.athletes[athlete].drives:
        return
    diary, rules = scene.diary(athlete, with_trips=True), limit.driving or DrivingRules()
    yield from _gaps(scene, limit, rules, diary)
    if rules.on_duty_hours is not None and limit.days is not None:
        yield from _on_duty(scene, limit, rules, diary)


class _Driver:
    """Hours since the last rest: at the wheel, in all, at work (duty or wheel)."""

    def __init__(self, most: float, rules: DrivingRules) -> None:
        self._most = most
        self._rules = rules
        self.rest()

    def rest(self) -> None:
        """Start anew."""
        self.wheel = self.elapsed = self.work = 0.0

    def on_duty(self, hours: float) -> None:
        """Work a duty."""
        self.elapsed += hours
        self.work += hours

    def room(self) -> float:
        """Hours that may be driven before a rest is due."""
        caps = [self._most - self.wheel]
        if self._rules.window_hours is not None:
            caps.append(self._rules.window_hours - self.elapsed)
        if self._rules.worked_hours is not None:
            caps.append(self._rules.worked_hours - self.work)
        return max(0.0, min(caps))

    def cross(self, wheel: float, gap: float) -> float:
        """Drive so many hours within a gap; return the hours that the gap must at least have."""
        spent, left, hair, rested = 0.0, wheel, BLINK / HOUR, False
        while left > hair:
            chunk = min(left, self.room())
            if chunk <= hair:
                spent += self._rules.off_hours
                self.rest()
                rested = True
                continue
            self.wheel, self.elapsed, self.work = self.wheel + chunk, self.elapsed + chunk, self.work + chunk
            spent, left = spent + chunk, left - chunk
        idle = gap - spent
        if idle + hair >= self._rules.off_hours or idle < -hair:  # time for one more rest; or a breach: go on rested
            self.rest()
        elif not rested:  # else the idle time makes the rest longer
            self.elapsed += max(0.0, idle)
        return spent


def _gaps(scene: Scene, limit: Limit, rules: DrivingRules, diary: Diary) -> Iterator[Measure]:
    driver = _Driver(limit.at_most or math.inf, rules)
    for earlier, later in pairwise(diary.stays):
        driver.on_duty((earlier.end - earlier.begin) / HOUR)
        gap = (later.begin - earlier.end) / HOUR
        wheel = _wheel_between(diary, earlier, later) / HOUR
        needed = driver.cross(wheel, gap)
        if wheel > 0 and (earlier.planned or later.planned):
            text = (
                f"{gap:.1f} h between duties of {needed:.1f} h needed for {wheel:.1f} h at the wheel: "
                f"{scene.who(diary.athlete)}, before {scene.race(later.stints[0].race)}; {_CAUTION}"
            )
            race = later.last_planned if later.planned else earlier.last_planned
            yield _measure(limit, diary.athlete, race, needed, gap, text)


def _wheel_between(diary: Diary, earlier: Stay, later: Stay) -> timedelta:
    if later.from_home:
        return diary.wheel(earlier.site, diary.home) + diary.wheel(diary.home, later.site)
    return diary.wheel(earlier.site, later.site)


def _on_duty(scene: Scene, limit: Limit, rules: DrivingRules, diary: Diary) -> Iterator[Measure]:
    """Measure hours of duty and driving in the days up to each stay, after the last restart."""
    most = rules.on_duty_hours or 0.0
    shares = [_wheel_of(diary, number) for number in range(len(diary.stays))]
    for number, stay in enumerate(diary.stays):
        if not stay.planned or not shares[number]:
            continue
        oldest = diary.stint_day(stay.stints[0]) - timedelta(days=(limit.days or 1) - 1)
        first = number
        while first > 0 and not _restart(diary, first, rules):
            if diary.stint_day(diary.stays[first - 1].stints[0]) < oldest:
                break
            first -= 1
        spans = zip(diary.stays[first : number + 1], shares[first : number + 1], strict=True)
        total = sum(((s.end - s.begin + share) / HOUR for s, share in spans), 0.0)
        text = (
            f"{total:.1f} h on duty and at the wheel of {most:g} h allowed in {limit.days} days: "
            f"{scene.who(diary.athlete)}, {scene.race(stay.last_planned)}; {_CAUTION}"
        )
        yield _measure(limit, diary.athlete, stay.last_planned, total, most, text)


def _wheel_of(diary: Diary, number: int) -> timedelta:
    """Wheel time that a stay brings: the way to it, and home after it."""
    stay = diary.stays[number]
    came = diary.wheel(diary.home if stay.from_home else diary.stays[number - 1].site, stay.site)
    return came + (diary.wheel(stay.site, diary.home) if stay.then_home else timedelta())


def _restart(diary: Diary, number: int, rules: DrivingRules) -> bool:
    """Whether enough time off lies before a stay for the count to start anew."""
    if rules.restart_hours is None:
        return False
    earlier, later = diary.stays[number - 1], diary.stays[number]
    return later.begin - later.way_in - earlier.end - earlier.way_out >= rules.restart_hours * HOUR - BLINK


def _measure(limit: Limit, athlete: str, race: str, figure: float, bound: float, text: str) -> Measure:
    excess = figure - bound
    kept = excess <= BLINK / HOUR
    cost_s = None if kept or limit.price_s is None else limit.price_s * excess
    return Measure(text, kept, athlete, race, None, None, figure, bound, excess, cost_s)
