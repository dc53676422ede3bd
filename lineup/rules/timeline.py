"""One athlete's duties in order of time, with the journeys between them: at home or away, how long, how many nights.

Moments are hours since 1970 in UTC, so that elapsed hours are right across clock changes and time zones; days are
ordinals (`date.toordinal`) on the clock of the place where the athlete is.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise

from lineup.season import Season
from lineup.travel import journey

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
SAME_H = 1e-6  # hours closer than this are the same


@dataclass(frozen=True, slots=True, eq=False)
class Duty:
    """From report to released, in one race; `block` False for a duty before the block.

    `week` numbers ISO weeks by the local day of report. Compared by identity: each is made once and reused.
    """

    race: str
    site: str
    report: float
    released: float
    day: int
    week: int
    block: bool


@dataclass(frozen=True, slots=True, eq=False)
class Shift:
    """Duties of one local day at one site, taken together: from the first report to the last release.

    `nights` are the days of its own nights away, where it runs past midnight.
    """

    duties: tuple[Duty, ...]
    site: str
    report: float
    released: float
    day: int
    block: bool
    nights: tuple[int, ...]

    @property
    def hours(self) -> float:
        """Span in hours."""
        return self.released - self.report


@dataclass(frozen=True, slots=True)
class Gap:
    """What lies between two shifts, or between home and the first, or the last and home.

    Attributes
    ----------
    direct_h : journey from site to site (0 where there is only one).
    out_h, in_h : journey that follows the earlier shift, and journey that leads to the later one.
    nights : days whose night is spent away from home.
    wheel_out_h, wheel_in_h : of `out_h` and `in_h`, hours at the wheel, for an athlete who drives.
    """

    direct_h: float = 0.0
    out_h: float = 0.0
    in_h: float = 0.0
    nights: tuple[int, ...] = ()
    wheel_out_h: float = 0.0
    wheel_in_h: float = 0.0


def hours(moment: datetime) -> float:
    """Hours since 1970 in UTC."""
    return (moment - EPOCH) / timedelta(hours=1)


def moment(at: float) -> datetime:
    """Turn hours since 1970 back into an aware moment, to the second."""
    return EPOCH + timedelta(seconds=round(at * 3600))


def block_duty(season: Season, race: str) -> Duty:
    """Duty of a race of the block."""
    facts = season.races[race]
    return _duty(season, race, facts.site, facts.report, facts.released, True)


def past_duties(season: Season, athlete: str, leave_out: Iterable[str]) -> tuple[Duty, ...]:
    """Duties of worked.csv, except those in races that are planned now."""
    skipped = frozenset(leave_out)
    return tuple(
        _duty(season, row.race, row.site, row.report, row.released, False)
        for row in season.worked
        if row.athlete == athlete and row.race not in skipped
    )


def merge(duties: Sequence[Duty]) -> list[tuple[Duty, ...]]:
    """Group duties, given in order of report, that belong to one shift."""
    groups: list[tuple[Duty, ...]] = []
    for duty in duties:
        if groups and groups[-1][-1].day == duty.day and groups[-1][-1].site == duty.site:
            groups[-1] = (*groups[-1], duty)
        else:
            groups.append((duty,))
    return groups


@dataclass(frozen=True, slots=True)
class Chain:
    """An athlete's shifts in order, and the gaps around them: `gaps[i]` leads to shift i, the last one home."""

    shifts: tuple[Shift, ...]
    gaps: tuple[Gap, ...]

    def travel_h(self, index: int) -> float:
        """Hours of travel that a shift brings: the way to it, and the way home where the athlete goes home."""
        return self.gaps[index].in_h + self.gaps[index + 1].out_h

    def wheel_h(self, index: int) -> float:
        """Of `travel_h`, hours at the wheel."""
        return self.gaps[index].wheel_in_h + self.gaps[index + 1].wheel_out_h

    def nights(self) -> list[int]:
        """Days of all nights away, in order."""
        own = [day for shift in self.shifts for day in shift.nights]
        return sorted({*own, *(day for gap in self.gaps for day in gap.nights)})

    def between(self) -> Iterator[tuple[Shift, Shift, Gap]]:
        """Each shift with the next one and the gap between them."""
        return zip(self.shifts[:-1], self.shifts[1:], self.gaps[1:-1], strict=True)

    def free(self) -> Iterator[tuple[float, float]]:
        """Spells that are neither duty nor journey, from before the first shift to after the last."""
        start = -math.inf
        for shift, to, after in zip(self.shifts, self.gaps[:-1], self.gaps[1:], strict=True):
            yield start, shift.report - to.in_h
            start = max(start, shift.released + after.out_h)
        yield start, math.inf


class Journeys:
    """An athlete's ways between home and sites, and the choice of going home between two shifts."""

    def __init__(self, season: Season, athlete: str) -> None:
        self._shifts: dict[tuple[Duty, ...], Shift] = {}
        self._gaps: dict[tuple[Callable[..., Gap], tuple[Shift, ...]], Gap] = {}
        self._season = season
        self._rules = season.limits.journeys
        self._drives = season.athletes[athlete].drives
        self.home = season.athletes[athlete].home

    def chain(self, duties: Sequence[Duty]) -> Chain:
        """Shifts and gaps of these duties, given in order of report."""
        shifts = []
        for group in merge(duties):
            if group not in self._shifts:
                self._shifts[group] = self._shift(group)
            shifts.append(self._shifts[group])
        if not shifts:
            return Chain((), ())
        gaps = [
            self._gap(self.before, shifts[0]),
            *(self._gap(self.between, *pair) for pair in pairwise(shifts)),
            self._gap(self.after, shifts[-1]),
        ]
        return Chain(tuple(shifts), tuple(gaps))

    def _gap(self, way: Callable[..., Gap], *shifts: Shift) -> Gap:
        """Return what lies next to these shifts, worked out once."""
        if (way, shifts) not in self._gaps:
            self._gaps[way, shifts] = way(*shifts)
        return self._gaps[way, shifts]

    def before(self, shift: Shift) -> Gap:
        """From home to the first shift."""
        way_h, wheel_h = self._way(self.home, shift.site)
        nights = self._nights(shift.report - way_h, self.home, shift.report, shift.site)
        return Gap(in_h=way_h, nights=nights, wheel_in_h=wheel_h)

    def after(self, shift: Shift) -> Gap:
        """From the last shift home."""
        way_h, wheel_h = self._way(shift.site, self.home)
        nights = self._nights(shift.released, shift.site, shift.released + way_h, self.home)
        return Gap(out_h=way_h, nights=nights, wheel_out_h=wheel_h)

    def between(self, earlier: Shift, later: Shift) -> Gap:
        """Go home between two shifts or stay near: home when there is time, and when it is not the dearer.

        Staying costs the direct journey and the nights until the next report; going home both journeys and the
        nights on the way. A night counts as `night_away_h` hours of travel. Nobody stays away when one of the two
        sites is home.
        """
        direct_h, direct_wheel_h = self._way(earlier.site, later.site)
        out, back = self.after(earlier), self.before(later)
        nights = out.nights + back.nights
        via_home = Gap(direct_h, out.out_h, back.in_h, nights, out.wheel_out_h, back.wheel_in_h)
        if self.home in (earlier.site, later.site):
            return via_home
        nights = self._nights(earlier.released, earlier.site, later.report, later.site)
        staying = Gap(direct_h, in_h=direct_h, nights=nights, wheel_in_h=direct_wheel_h)
        left_h = later.report - earlier.released - out.out_h - back.in_h
        if left_h < self._rules.home_rest_h - SAME_H or self._weight(via_home) > self._weight(staying) + SAME_H:
            return staying
        return via_home

    def _shift(self, duties: tuple[Duty, ...]) -> Shift:
        site, report = duties[0].site, duties[0].report
        released = max(duty.released for duty in duties)
        nights = () if site == self.home else self._nights(report, site, released, site)
        return Shift(duties, site, report, released, duties[0].day, any(duty.block for duty in duties), nights)

    def _weight(self, gap: Gap) -> float:
        return gap.out_h + gap.in_h + self._rules.night_away_h * len(gap.nights)

    def _way(self, start: str, end: str) -> tuple[float, float]:
        """Hours of a journey, and of them at the wheel."""
        found = journey(self._season, start, end)
        return found.hours, found.hours if self._drives and found.mode == "road" else 0.0

    def _nights(self, leave: float, start: str, arrive: float, end: str) -> tuple[int, ...]:
        """Days whose midnight passes between two moments, each on the clock of its place."""
        return tuple(range(self._day(leave, start), self._day(arrive, end)))

    def _day(self, at: float, site: str) -> int:
        return self._season.local(moment(at), site).toordinal()


def _duty(season: Season, race: str, site: str, report: datetime, released: datetime, block: bool) -> Duty:
    day = season.local(report, site).toordinal()
    return Duty(race, site, hours(report), hours(released), day, (day - 1) // 7, block)
