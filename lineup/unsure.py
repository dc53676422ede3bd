"""What a change from the standing crew gains on paper, where the chance that the gain is real is too low."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from lineup.season import Season, Seat
from lineup.skills import SkillEstimates, estimate_skills, own_seconds
from lineup.stop_model.crew_chance import chance_above_zero
from lineup.stop_model.stops import ServiceBank, blend

Floats = NDArray[np.float64]
Services = Mapping[str, tuple[tuple[ServiceBank, float], ...]]  # by race: sampled stops, expected count


class Unsure:
    """Advantages of others over standing athletes, and the chances that they are real.

    The advantage of an athlete in a seat is what the stops of a race gain if he takes it from the standing athlete
    while the rest of the car's standing crew stays; where that crew has nobody for a position that must be filled,
    the quickest cleared athlete stands in. The chance that it is real comes from independent draws of both
    athletes' own expected seconds, never from the coupled samples of the stop model.
    """

    def __init__(
        self, season: Season, services: Services, estimates: SkillEstimates | None, tail: float, seed: int
    ) -> None:
        self._season = season
        self._services = services
        self._given = estimates
        self._tail = tail
        self._seed = seed
        self._values: dict[tuple[str, str, str, str], Floats] = {}
        self._own: dict[tuple[str, str, str], Floats] = {}

    @cached_property
    def _estimates(self) -> SkillEstimates:
        return self._given if self._given is not None else estimate_skills(self._season)

    def added_back_s(self, other: str, standing: str, seat: Seat) -> float:
        """Seconds of stops that `other` gains over `standing` in a race, if that is too unsure; else 0."""
        gain_s = self.advantage_s(other, standing, seat)
        if gain_s <= 0 or self.chance(other, standing, seat) >= self._season.weights.keep_chance:
            return 0.0
        return gain_s

    def advantage_s(self, other: str, standing: str, seat: Seat) -> float:
        """Seconds of stops that a race gains with `other` in the seat of `standing`; the car's priority left out.

        0 where one of the two has no clearance for the position, hence no stops to compare.
        """
        total = 0.0
        for bank, count in self._services[seat.race]:
            rows = bank.rows.get(seat.position, {})
            if other not in rows or standing not in rows:
                continue
            values = self._with_each(bank, seat)
            total += count * float(values[rows[standing]] - values[rows[other]])
        return total

    def chance(self, other: str, standing: str, seat: Seat) -> float:
        """Chance that `other` is truly quicker than `standing` at the position's work in a race."""
        return chance_above_zero(self._own_s(standing, seat) - self._own_s(other, seat))

    def _own_s(self, athlete: str, seat: Seat) -> Floats:
        """Draws of the seconds an athlete's own tasks are expected to take in all stops of a race, shape (draws,)."""
        kinds = ";".join(f"{bank.service},{bank.tire},{count}" for bank, count in self._services[seat.race])
        key = (athlete, seat.position, kinds)
        if key not in self._own:
            self._own[key] = sum(
                (
                    count
                    * own_seconds(
                        self._estimates, athlete, seat.position, bank.choreography, seed=self._seed, tire=bank.tire
                    )
                    for bank, count in self._services[seat.race]
                    if seat.position in bank.positions
                ),
                np.zeros(1),
            )
        return self._own[key]

    def _with_each(self, bank: ServiceBank, seat: Seat) -> Floats:
        """Blended stop time of the car's standing crew with each athlete in one position, shape (athletes,)."""
        key = (bank.service, bank.tire, seat.car, seat.position)
        if key not in self._values:
            crews = np.tile(self._standing_row(bank, seat.car), (len(bank.athletes[seat.position]), 1))
            crews[:, bank.positions.index(seat.position)] = np.arange(len(crews))
            self._values[key] = blend(bank.stop_times(crews), self._tail, self._season.weights.tail_share)
        return self._values[key]

    def _standing_row(self, bank: ServiceBank, car: str) -> NDArray[np.intp]:
        row = np.full(len(bank.positions), -1, dtype=np.intp)
        for column, position in enumerate(bank.positions):
            standing = self._season.standing.get((car, position), "")
            if standing in bank.rows[position]:
                row[column] = bank.rows[position][standing]
            elif self._season.positions[position].filled == "always" and bank.athletes[position]:
                row[column] = int(np.argmin(bank.durations[position].sum(axis=1).mean(axis=-1)))
        return row
