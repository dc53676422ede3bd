"""Patterns of work that break a rule, made as general as asking `ScheduleRules` proves them to be."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from itertools import combinations

from lineup.optimize.schedules import RaceSet, Schedules, members, race_set

NEAR_DAYS = 14  # rest rules look no further
FREE_AT_MOST = 6  # literals a pattern may lose at once: all their 2^6 values are tried
IN_A_ROW = ("one_seat", "rest_hours", "duty_hours")  # what they say of two duties holds whatever else is worked


@dataclass(frozen=True, slots=True)
class NoGood:
    """Athletes of a class may not work all races of `on` and none of `off`."""

    athlete_class: int
    on: tuple[int, ...]
    off: tuple[int, ...]
    rule: str


def small_nogoods(schedules: Schedules, rule: str) -> list[NoGood]:
    """No-goods of one or two races that break a rule about duties in a row, the smallest only.

    Where journeys are odd, a race in between (or before the only one) can mend what they break: such races go into
    `off`.
    """
    found = []
    day = schedules.days
    races = range(len(day))
    pairs = [pair for pair in combinations(races, 2) if day[pair[1]] - day[pair[0]] <= NEAR_DAYS]
    for number, athlete in enumerate(schedules.samples):
        bad: set[int] = set()
        for chosen in [*((r,) for r in races), *pairs]:
            bits = race_set(chosen)
            if bad.isdisjoint(chosen) and rule in schedules.of(athlete, bits).broken:
                if len(chosen) == 1:
                    bad.add(chosen[0])
                mends = range(chosen[0] + 1, chosen[-1]) if len(chosen) > 1 else range(chosen[0])
                off = [r for r in mends if rule not in schedules.of(athlete, bits | 1 << r).broken]
                found.append(NoGood(number, tuple(chosen), tuple(off), rule))
    return found


def nogood_of(schedules: Schedules, athlete: int, races: RaceSet) -> NoGood:
    """Return a no-good that forbids a breaking set of races, and every set it stands for breaks a rule too.

    What a rule says at a duty depends on the duties of its window, the one before the window and the one after:
    races outside that scope are free. Inside, a race is let go where the pattern breaks whatever it is.
    """
    breach = schedules.assess(athlete, races).breaches[0]
    scope = _scope(schedules, races, breach.rule, breach.race)

    def breaks(chosen: RaceSet) -> bool:
        return bool(schedules.of(athlete, chosen).broken)

    worked = [r for r in scope if races >> r & 1]
    rested = [r for r in scope if not races >> r & 1]
    base = race_set(worked)
    if not breaks(base):  # the breach leans on duties further away: forbid exactly this set
        everything = range(len(schedules.days))
        worked, rested = list(members(races)), [r for r in everything if not races >> r & 1]
        return NoGood(schedules.class_of[athlete], tuple(worked), tuple(rested), breach.rule)
    free: list[int] = []
    for r in (*rested, *worked):
        if len(free) < FREE_AT_MOST and _breaks_whatever(breaks, base, [*free, r]):
            free.append(r)
    kept_on, kept_off = (tuple(r for r in part if r not in free) for part in (worked, rested))
    return NoGood(schedules.class_of[athlete], kept_on, kept_off, breach.rule)


def _scope(schedules: Schedules, races: RaceSet, rule: str, race: str | None) -> range:
    """Races that a rule's verdict at a duty can depend on; all of them where the breach names no race."""
    frame, day = schedules.frame, schedules.days
    limit = frame.problem.season.limits.get(rule)
    if race is None or race not in frame.race_number or rule == "starts":
        return range(len(day))
    days = max(NEAR_DAYS, (limit.days or 0) if limit else 0)
    here = day[frame.race_number[race]]
    worked = members(races)
    first = max((r for r in worked if day[r] <= here - days), default=0)
    last = min((r for r in worked if day[r] > here + NEAR_DAYS), default=len(day) - 1)
    return range(first, last + 1)


def _breaks_whatever(breaks: Callable[[RaceSet], bool], base: RaceSet, free: Iterable[int]) -> bool:
    """Whether the pattern breaks a rule for every choice of the free races."""
    bits = [1 << r for r in free]
    rest = base & ~sum(bits)
    return all(breaks(rest | sum(chosen)) for size in range(len(bits) + 1) for chosen in combinations(bits, size))
