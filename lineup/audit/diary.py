"""An athlete's season as outings from home and back, worked out for the audit alone, in aware datetimes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from functools import cached_property
from itertools import groupby, pairwise

from lineup.season import Season
from lineup.travel import journey

BLINK = timedelta(milliseconds=4)  # shorter than this is nothing
HOUR = timedelta(hours=1)


@dataclass(frozen=True, slots=True)
class Stint:
    """One race worked or travelled to; `planned` False: before the block."""

    race: str
    site: str
    begin: datetime
    end: datetime
    planned: bool


@dataclass(frozen=True, slots=True)
class Stay:
    """Everything done at one site on one day, with the leg that leads to it.

    `from_home`: the athlete comes from home; `then_home`: goes home after it, on `way_out`.
    """

    stints: tuple[Stint, ...]
    site: str
    begin: datetime
    end: datetime
    way_in: timedelta = timedelta()
    way_out: timedelta = timedelta()
    from_home: bool = False
    then_home: bool = False

    @property
    def planned(self) -> bool:
        """Whether any of it belongs to the block."""
        return any(stint.planned for stint in self.stints)

    @property
    def last_planned(self) -> str:
        """Last race of the block in it."""
        return [stint.race for stint in self.stints if stint.planned][-1]


class Diary:
    """Stays of one athlete in order, from a list of stints, and what follows from them."""

    def __init__(self, season: Season, athlete: str, stints: Iterable[Stint]) -> None:
        self.season = season
        self.athlete = athlete
        self.home = season.athletes[athlete].home
        self.stints = sorted(stints, key=lambda stint: (stint.begin, stint.end))
        self.outings = self._outings()
        self.stays = [stay for outing in self.outings for stay in outing]

    def day(self, when: datetime, site: str) -> date:
        """Day on a site's clock."""
        return when.astimezone(self.season.zone(site)).date()

    def stint_day(self, stint: Stint) -> date:
        """Day a stint belongs to: that of its report at the site."""
        return self.day(stint.begin, stint.site)

    def way(self, start: str, end: str) -> timedelta:
        """Time a journey takes."""
        return journey(self.season, start, end).hours * HOUR

    def wheel(self, start: str, end: str) -> timedelta:
        """Time at the wheel on a journey: all of it for a driver on the road, else none."""
        by_road = journey(self.season, start, end).mode == "road"
        return self.way(start, end) if by_road and self.season.athletes[self.athlete].drives else timedelta()

    @cached_property
    def busy(self) -> list[tuple[datetime, datetime]]:
        """Spells of duty and journey, merged and in order."""
        spells = sorted((stay.begin - stay.way_in, stay.end + stay.way_out) for stay in self.stays)
        merged: list[tuple[datetime, datetime]] = []
        for begin, end in spells:
            if merged and begin <= merged[-1][1]:
                merged[-1] = (merged[-1][0], max(end, merged[-1][1]))
            else:
                merged.append((begin, end))
        return merged

    def longest_rest(self, begin: datetime, end: datetime) -> timedelta:
        """Longest spell between two moments in which nothing is going on: a sweep over what is busy."""
        longest, free_since = timedelta(), begin
        for start, stop in self.busy:
            if stop <= begin or start >= end:
                continue
            longest = max(longest, start - free_since)
            free_since = max(free_since, stop)
        return max(longest, end - free_since)

    def nights(self) -> list[date]:
        """Days whose midnight finds the athlete away from home."""
        found: set[date] = set()
        for outing in self.outings:
            if outing[0].site != self.home:
                leave = self.day(outing[0].begin - outing[0].way_in, self.home)
                back = self.day(outing[-1].end + outing[-1].way_out, self.home)
                found.update(leave + timedelta(days=n) for n in range((back - leave).days))
        return sorted(found)

    def midnight(self, day: date) -> datetime:
        """When a day begins on the home clock."""
        return datetime.combine(day, datetime.min.time(), self.season.zone(self.home)).astimezone(UTC)

    def _outings(self) -> list[list[Stay]]:
        """Cut the stays wherever the athlete goes home in between."""
        groups = [
            tuple(group) for _, group in groupby(self.stints, key=lambda stint: (stint.site, self.stint_day(stint)))
        ]
        bare = [Stay(group, group[0].site, group[0].begin, max(stint.end for stint in group)) for group in groups]
        outings: list[list[Stay]] = []
        for number, stay in enumerate(bare):
            if number == 0 or self._goes_home(bare[number - 1], stay):
                outings.append([stay])
            else:
                outings[-1].append(stay)
        return [list(self._with_legs(outing)) for outing in outings]

    def _with_legs(self, outing: Sequence[Stay]) -> Iterator[Stay]:
        places = [self.home, *(stay.site for stay in outing)]
        for stay, (before, here) in zip(outing, pairwise(places), strict=True):
            first, last = stay is outing[0], stay is outing[-1]
            way_out = self.way(here, self.home) if last else timedelta()
            yield replace(stay, way_in=self.way(before, here), way_out=way_out, from_home=first, then_home=last)

    def _goes_home(self, earlier: Stay, later: Stay) -> bool:
        """Decide between home and near: home when it is possible and not dearer in hours and nights."""
        if self.home in (earlier.site, later.site):
            return True
        rules = self.season.limits.journeys
        out, back = self.way(earlier.site, self.home), self.way(self.home, later.site)
        if later.begin - earlier.end - out - back < rules.home_rest_h * HOUR - BLINK:
            return False
        arrives, leaves = earlier.end + out, later.begin - back
        on_the_way = self._midnights(earlier.end, earlier.site, arrives, self.home)
        on_the_way += self._midnights(leaves, self.home, later.begin, later.site)
        going = out + back + rules.night_away_h * HOUR * on_the_way
        near = self._midnights(earlier.end, earlier.site, later.begin, later.site)
        staying = self.way(earlier.site, later.site) + rules.night_away_h * HOUR * near
        return going <= staying + BLINK

    def _midnights(self, begin: datetime, start: str, end: datetime, place: str) -> int:
        return max(0, (self.day(end, place) - self.day(begin, start)).days)
