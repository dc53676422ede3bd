"""A problem in integers: athletes, races, seats and entries by number, for solvers and arrays."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from lineup.plan import Assignment
from lineup.problem import Problem
from lineup.season import Seat

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
EMPTY = -1
Lineup = Ints  # athlete number of each seat, EMPTY where nobody works it; shape (seats,)


@dataclass(frozen=True, slots=True)
class EntryFrame:
    """One entry: its race, its seats in the order of its kind's positions, and how its services count.

    `kind` numbers the set of services and tire it shares with other entries; `weights` holds priority times count of
    each service of the kind.
    """

    number: int
    race: int
    car: str
    kind: int
    seats: Ints
    weights: Floats


@dataclass(frozen=True, eq=False)
class Frame:
    """Numbers for a problem's athletes, races, seats and entries. Arrays are indexed by those numbers."""

    problem: Problem

    @cached_property
    def athletes(self) -> tuple[str, ...]:
        """Athletes who may fill some seat, in the season's order."""
        return self.problem.starters

    @cached_property
    def number(self) -> Mapping[str, int]:
        """Number of each athlete."""
        return {athlete: i for i, athlete in enumerate(self.athletes)}

    @cached_property
    def seats(self) -> tuple[Seat, ...]:
        """Seats by number: by race, then car, then position."""
        return self.problem.seats

    @cached_property
    def seat_number(self) -> Mapping[Seat, int]:
        """Number of each seat."""
        return {seat: k for k, seat in enumerate(self.seats)}

    @cached_property
    def race_number(self) -> Mapping[str, int]:
        """Number of each race of the block."""
        return {race.id: r for r, race in enumerate(self.problem.races)}

    @cached_property
    def seat_race(self) -> Ints:
        """Race of each seat."""
        return np.array([self.race_number[seat.race] for seat in self.seats], dtype=np.intp)

    @cached_property
    def seats_of(self) -> tuple[Ints, ...]:
        """Seats of each race."""
        return tuple(np.flatnonzero(self.seat_race == r) for r in range(len(self.problem.races)))

    @cached_property
    def seat_entry(self) -> Ints:
        """Entry of each seat."""
        owner = np.zeros(len(self.seats), dtype=np.intp)
        for entry in self.entries:
            owner[entry.seats] = entry.number
        return owner

    @cached_property
    def optional(self) -> NDArray[np.bool_]:
        """Which seats may stay empty."""
        return np.array([self.problem.may_stay_empty(seat) for seat in self.seats], dtype=np.bool_)

    @cached_property
    def may(self) -> NDArray[np.bool_]:
        """Which athlete may fill which seat, shape (athletes, seats)."""
        table = np.zeros((len(self.athletes), len(self.seats)), dtype=np.bool_)
        for seat, athletes in self.problem.eligible.items():
            table[[self.number[a] for a in athletes], self.seat_number[seat]] = True
        return table

    @cached_property
    def cost(self) -> Floats:
        """Seconds an athlete in a seat adds on his own, anchor included; shape (athletes, seats), 0 where he may not.

        The anchor's price counts 1 for a seat the baseline fills with another; for one it leaves empty, 1 if filled.
        """
        table = np.zeros(self.may.shape)
        anchor = self.problem.anchor
        for (seat, athlete), seconds in self.problem.seat_costs.items():
            if athlete in self.number:
                differs = bool(anchor.baseline) and anchor.by_seat.get(seat) != athlete
                table[self.number[athlete], self.seat_number[seat]] = seconds + anchor.change_s * differs
        return np.where(self.may, table, 0.0)

    @cached_property
    def empty_cost(self) -> Floats:
        """Seconds that leaving a seat empty costs, shape (seats,): the anchor's price where the baseline fills it."""
        anchor = self.problem.anchor
        return np.array([anchor.change_s * (seat in anchor.by_seat) for seat in self.seats], dtype=np.float64)

    @cached_property
    def credit(self) -> Floats:
        """Most that leaving each seat empty can save: the crew change of the car's next race, shape (seats,)."""
        return np.where(self.after >= 0, self.problem.season.weights.crew_change_s, 0.0)

    @cached_property
    def before(self) -> Ints:
        """Seat of the same car and position at the car's race before in the block, or -1; shape (seats,)."""
        links = [self.problem.pricer.previous[seat] for seat in self.seats]
        return np.array([self.seat_number[b] if isinstance(b, Seat) else -1 for b in links], dtype=np.intp)

    @cached_property
    def linked(self) -> Ints:
        """Seats whose car has a race before in the block, by number."""
        return np.flatnonzero(self.before >= 0)

    @cached_property
    def after(self) -> Ints:
        """Seat of the same car and position at the car's next race in the block, or -1; shape (seats,)."""
        later = np.full(len(self.seats), -1, dtype=np.intp)
        later[self.before[self.linked]] = self.linked
        return later

    @cached_property
    def _kind_keys(self) -> Sequence[tuple[str, tuple[str, ...], tuple[str, ...]]]:
        """Tire, services and positions of each entry."""
        season = self.problem.season
        return [
            (season.races[e.race].tire, tuple(season.service_counts.get(e.race, {})), season.positions_of(e.race))
            for e in self.problem.entries
        ]

    @cached_property
    def entries(self) -> tuple[EntryFrame, ...]:
        """Entries by number."""
        keys = list(dict.fromkeys(self._kind_keys))
        made = []
        for number, (entry, key) in enumerate(zip(self.problem.entries, self._kind_keys, strict=True)):
            seats = [self.seat_number[seat] for seat in self.problem.season.seats(entry.race, entry.car)]
            counts = [count for _, count in self.problem.services(entry.race)]
            weights = self.problem.pricer.priority[entry.car] * np.array(counts, dtype=np.float64)
            race = self.race_number[entry.race]
            made.append(EntryFrame(number, race, entry.car, keys.index(key), np.array(seats, np.intp), weights))
        return tuple(made)

    def lineup(self, assignments: Iterable[Assignment]) -> Lineup:
        """Athlete number of each seat; what the block does not know is passed over."""
        lineup = np.full(len(self.seats), EMPTY, dtype=np.intp)
        for a in assignments:
            if a.seat in self.seat_number and a.athlete in self.number:
                lineup[self.seat_number[a.seat]] = self.number[a.athlete]
        return lineup

    def assignments(self, lineup: Lineup) -> tuple[Assignment, ...]:
        """Return the assignments a lineup stands for."""
        return tuple(
            Assignment(seat.race, seat.car, seat.position, self.athletes[a])
            for seat, a in zip(self.seats, lineup, strict=True)
            if a != EMPTY
        )

    def worked(self, lineup: Lineup) -> NDArray[np.bool_]:
        """Which athlete works which race, shape (athletes, races)."""
        table = np.zeros((len(self.athletes), len(self.problem.races)), dtype=np.bool_)
        filled = lineup != EMPTY
        table[lineup[filled], self.seat_race[filled]] = True
        return table
