"""Costs of schedules that add up over duties in a row: travel, and short rests that have a price."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import pairwise

from lineup.optimize.schedules import RaceSet, Schedules, Verdict, members

PAIRWISE = ("travel", "limit:rest_hours")
DIRECT = ("limit:weekends_in_a_row", "limit:races_in_days", "limit:races_per_weekend", "limit:starts", "uneven")
SMALL = 1e-9

Alone = tuple[float, ...]
Pairs = Mapping[tuple[int, int], float]


def paired_s(verdict: Verdict) -> float:
    """Seconds of the costs that add up over duties in a row."""
    return sum(seconds for name, seconds in verdict.costs if name in PAIRWISE)


def other_s(verdict: Verdict) -> float:
    """Seconds of the costs that have neither pairs nor a row of their own."""
    return sum(seconds for name, seconds in verdict.costs if name not in PAIRWISE and name not in DIRECT)


@dataclass(eq=False)
class PairCosts:
    """Such a cost as Σ alone[r] over the races worked + Σ pairs[i, j] over those that follow each other."""

    schedules: Schedules
    _known: dict[int, tuple[Alone, Pairs]] = field(default_factory=dict)

    def of(self, athlete_class: int) -> tuple[Alone, Pairs]:
        """Cost of each race alone, and of each two in a row on top, for athletes of a class; zeros left out."""
        if athlete_class not in self._known:
            self._known[athlete_class] = self._ask(self.schedules.samples[athlete_class])
        return self._known[athlete_class]

    def _ask(self, athlete: int) -> tuple[Alone, Pairs]:
        races = range(len(self.schedules.frame.problem.races))
        alone = tuple(paired_s(self.schedules.of(athlete, 1 << r)) for r in races)
        if not any(alone) and not self._priced():
            return alone, {}
        pairs = {
            (i, j): paired_s(self.schedules.of(athlete, 1 << i | 1 << j)) - alone[i] - alone[j]
            for j in races
            for i in range(j)
        }
        return alone, {pair: seconds for pair, seconds in pairs.items() if abs(seconds) > SMALL}

    def _priced(self) -> bool:
        limit = self.schedules.frame.problem.season.limits.get("rest_hours")
        return limit is not None and limit.price_s is not None

    def paired(self, athlete_class: int, races: RaceSet) -> float:
        """Sum over the races of a schedule, seconds."""
        alone, pairs = self.of(athlete_class)
        worked = members(races)
        return sum(alone[r] for r in worked) + sum(pairs.get(pair, 0.0) for pair in pairwise(worked))

    def missing(self, athlete: int, races: RaceSet) -> float:
        """Seconds that a schedule costs beyond its pairs and the rules that have rows of their own."""
        verdict = self.schedules.of(athlete, races)
        paired = self.paired(self.schedules.class_of[athlete], races)
        return paired_s(verdict) - paired + other_s(verdict)
