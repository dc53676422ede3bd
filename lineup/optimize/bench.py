"""All that solvers of one problem share, and the exact cost of a lineup by its parts."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from lineup.optimize.calendar import Calendar
from lineup.optimize.crews import Crew, CrewValues
from lineup.optimize.cuts import CutPool
from lineup.optimize.frame import EMPTY, EntryFrame, Frame, Lineup
from lineup.optimize.schedules import RaceSet, Schedules
from lineup.optimize.seat_rules import place_price, places_of
from lineup.optimize.trips import PairCosts
from lineup.problem import Problem
from lineup.season import Pin


@dataclass(eq=False)
class Bench:
    """What solvers of one problem share: numbers, crew values, cuts, schedules."""

    problem: Problem
    frame: Frame = field(init=False)
    values: CrewValues = field(init=False)
    pool: CutPool = field(init=False)
    schedules: Schedules = field(init=False)
    pairs: PairCosts = field(init=False)
    calendar: Calendar = field(init=False)

    def __post_init__(self) -> None:
        self.frame = Frame(self.problem)
        self.values = CrewValues(self.frame)
        self.pool = CutPool(self.values)
        self.schedules = Schedules(self.frame)
        self.pairs = PairCosts(self.schedules)
        self.calendar = Calendar(self.frame)

    def crew(self, entry: EntryFrame, lineup: Lineup) -> Crew:
        """Crew of an entry."""
        return tuple(lineup[entry.seats].tolist())

    def race_sets(self, lineup: Lineup) -> list[RaceSet]:
        """Races each athlete works."""
        sets = [0] * len(self.frame.athletes)
        for k, a in enumerate(lineup.tolist()):
            if a != EMPTY:
                sets[a] |= 1 << int(self.frame.seat_race[k])
        return sets

    def value(self, lineup: Lineup) -> float:
        """Exact cost of a lineup that breaks no rule, seconds, the anchor's price included."""
        stops = sum(self.values.cost(entry, self.crew(entry, lineup)) for entry in self.frame.entries)
        return stops + self.seat_s(lineup) + self.schedule_s(lineup) + self.beyond_places_s(lineup)

    def seat_s(self, lineup: Lineup) -> float:
        """Seconds of who sits where, crew changes included."""
        filled = lineup != EMPTY
        seats = np.arange(len(lineup))
        own = self.frame.cost[lineup[filled], seats[filled]].sum()
        total = float(own) + float(self.frame.empty_cost[~filled].sum())
        return total + float(self.problem.season.weights.crew_change_s) * int(self.changed(lineup).sum())

    def anchor_s(self, lineup: Lineup) -> float:
        """Seconds that differing from the anchor's baseline costs."""
        anchor = self.problem.anchor
        now = {self.frame.seats[k]: self.frame.athletes[a] for k, a in enumerate(lineup.tolist()) if a != EMPTY}
        seats = self.frame.seats if anchor.baseline else ()
        return anchor.change_s * len([seat for seat in seats if now.get(seat) != anchor.by_seat.get(seat)])

    def changed(self, lineup: Lineup) -> NDArray[np.bool_]:
        """Which seats have another athlete than at the car's race before in the block, shape (seats,)."""
        before = self.frame.before
        held = np.where(before >= 0, lineup[before], EMPTY)
        return np.asarray((held != EMPTY) & (lineup != EMPTY) & (held != lineup))

    def schedule_s(self, lineup: Lineup) -> float:
        """Seconds of the races each athlete works, uneven load included."""
        return sum(self.one_schedule_s(a, races) for a, races in enumerate(self.race_sets(lineup)))

    def one_schedule_s(self, athlete: int, races: RaceSet) -> float:
        """Seconds of the races one athlete works."""
        price = self.problem.season.weights.uneven_s
        away = abs(races.bit_count() - self.problem.even_share) if price else 0.0
        return self.schedules.of(athlete, races).cost_s + price * away

    def beyond_places_s(self, lineup: Lineup) -> float:
        """Seconds of starters beyond priced travel places."""
        return (place_price(self.problem) or 0.0) * sum(self._beyond_places(lineup))

    def _beyond_places(self, lineup: Lineup) -> list[int]:
        """Starters beyond the travel places of each race."""
        starters = self.frame.worked(lineup).sum(axis=0).tolist()
        places = [places_of(self.problem, r) for r in range(len(starters))]
        return [0 if most is None else max(0, n - most) for n, most in zip(starters, places, strict=True)]

    def keeps_teams(self, lineup: Lineup) -> bool:
        """Whether a lineup keeps every rule that ties athletes together: fill, one seat, pins, places, slowest."""
        filled = lineup != EMPTY
        if bool((~filled & ~self.frame.optional).any()):
            return False
        if int(self.frame.worked(lineup).sum()) < int(filled.sum()):
            return False
        return self._keeps_places(lineup) and self._keeps_pins(lineup) and self._keeps_slowest(lineup)

    def keeps_rules(self, lineup: Lineup) -> bool:
        """Whether a lineup keeps every hard rule."""
        return self.keeps_teams(lineup) and not any(
            self.schedules.of(a, races).broken for a, races in enumerate(self.race_sets(lineup))
        )

    def _keeps_places(self, lineup: Lineup) -> bool:
        return place_price(self.problem) is not None or not any(self._beyond_places(lineup))

    def _keeps_slowest(self, lineup: Lineup) -> bool:
        for entry in self.frame.entries:
            limit = self.problem.season.cars[entry.car].slowest_s
            if limit is not None and self.values.slowest_mean(entry, self.crew(entry, lineup)) > limit:
                return False
        return True

    @cached_property
    def team_pins(self) -> tuple[tuple[Pin, int, frozenset[int]], ...]:
        """Pins that one seat alone cannot keep, with each race they match and the seats they look at there.

        A must looks at the matching seats, a pair or apart at every seat of the race.
        """
        found = []
        for pin in self.problem.season.pins:
            for r, seats in enumerate(self.frame.seats_of):
                everywhere = frozenset(int(k) for k in seats)
                matching = frozenset(k for k in everywhere if pin.matches(self.frame.seats[k]))
                if matching and pin.kind != "never":
                    found.append((pin, r, matching if pin.kind == "must" else everywhere))
        return tuple(found)

    def _keeps_pins(self, lineup: Lineup) -> bool:
        for pin, race, asked in self.team_pins:
            seat_of = {int(lineup[k]): int(k) for k in self.frame.seats_of[race] if lineup[k] != EMPTY}
            own = seat_of.get(self.frame.number.get(pin.athlete, EMPTY - 1))
            other = seat_of.get(self.frame.number.get(pin.other or "", EMPTY - 1))
            cars = [None if k is None else self.frame.seats[k].car for k in (own, other)]
            if pin.kind == "must" and own not in asked:
                return False
            if pin.kind == "pair" and cars[0] != cars[1]:
                return False
            if pin.kind == "apart" and cars[0] is not None and cars[0] == cars[1]:
                return False
        return True
