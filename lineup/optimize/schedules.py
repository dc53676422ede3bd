"""What the races an athlete works cost and break, each set of races asked once for athletes whose facts are alike."""

from __future__ import annotations

from collections.abc import Hashable, Iterable
from dataclasses import dataclass, field
from functools import cached_property

from lineup.optimize.frame import Frame
from lineup.rules import Assessment, Window

RaceSet = int  # bit r set: race r of the block is worked


def race_set(races: Iterable[int]) -> RaceSet:
    """Return the races as bits."""
    return sum(1 << r for r in set(races))


def members(races: RaceSet) -> tuple[int, ...]:
    """Races of a set, in order."""
    return tuple(r for r in range(races.bit_length()) if races >> r & 1)


@dataclass(frozen=True, slots=True)
class Verdict:
    """Of one set of races: the hard rules it breaks, seconds by cost name, and their sum."""

    broken: tuple[str, ...]
    costs: tuple[tuple[str, float], ...]
    cost_s: float


@dataclass(eq=False)
class Schedules:
    """Assessments of sets of races. Athletes with the same home, wheel and history share them."""

    frame: Frame
    _known: dict[tuple[int, RaceSet], Verdict] = field(default_factory=dict)

    @cached_property
    def class_of(self) -> tuple[int, ...]:
        """Class of each athlete."""
        season = self.frame.problem.season
        keys: list[Hashable] = []
        for athlete in self.frame.athletes:
            facts = season.athletes[athlete]
            worked = tuple((d.race, d.site, d.report, d.released) for d in season.worked if d.athlete == athlete)
            keys.append((facts.home, facts.drives, worked))
        order = list(dict.fromkeys(keys))
        return tuple(order.index(key) for key in keys)

    @cached_property
    def samples(self) -> tuple[int, ...]:
        """One athlete of each class."""
        return tuple(self.class_of.index(c) for c in range(max(self.class_of, default=-1) + 1))

    @cached_property
    def windows(self) -> tuple[tuple[Window, ...], ...]:
        """Linear windows of each athlete."""
        return tuple(self.frame.problem.rules.windows(athlete) for athlete in self.frame.athletes)

    @cached_property
    def days(self) -> tuple[int, ...]:
        """Day of report of each race, as an ordinal, on the site's clock."""
        duties = self.frame.problem.rules.duties
        return tuple(duties[race.id].day for race in self.frame.problem.races)

    def of(self, athlete: int, races: RaceSet) -> Verdict:
        """Verdict on the races an athlete works."""
        key = (self.class_of[athlete], races)
        found = self._known.get(key)
        if found is None:
            found = self._known[key] = self._ask(athlete, races)
        return found

    def assess(self, athlete: int, races: RaceSet) -> Assessment:
        """Assess in full, with figures and texts."""
        ids = tuple(self.frame.problem.races[r].id for r in members(races))
        return self.frame.problem.rules.assess(self.frame.athletes[athlete], ids)

    def _ask(self, athlete: int, races: RaceSet) -> Verdict:
        assessment = self.assess(athlete, races)
        broken = tuple(dict.fromkeys(breach.rule for breach in assessment.breaches))
        costs = tuple((name, float(s)) for name, s in assessment.costs.items() if s)
        return Verdict(broken, costs, sum(s for _, s in costs))
