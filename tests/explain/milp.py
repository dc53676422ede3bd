"""A second model of a block, written on its own for HiGHS (scipy.optimize.milp): one column per crew of an entry.

It knows seats that must be filled, clearances, one seat at a time, starts at most, expected penalties, crew changes,
the standing crew and uneven starts. Stop times are worked out here, task by task, from the sampled seconds.
"""

from __future__ import annotations

import math
from itertools import pairwise, product

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp

from lineup.season import Entry, Season, Seat
from lineup.study import Study


def least_cost(study: Study, forced: dict[Seat, str] | None = None) -> float | None:
    """Cost of the cheapest lineup with some athletes forced into seats, or None where there is none."""
    return _Model(study, forced or {}).solve()


def crew_cost(study: Study, entry: Entry, crew: dict[str, str]) -> float:
    """Stops and expected penalties of one crew in one race, weighted."""
    season, race = study.season, study.season.races[entry.race]
    weights = season.weights
    total = 0.0
    for service, count in season.service_counts[entry.race].items():
        bank = study.model.banks[service, race.tire]
        times = sorted(_stop(season, bank, service, crew, s) for s in range(bank.scenarios))
        worst = weights.tail_share * len(times)
        whole = math.floor(worst)
        tail = (sum(times[len(times) - whole :]) + (worst - whole) * times[len(times) - whole - 1]) / worst
        total += count * ((1 - weights.tail) * sum(times) / len(times) + weights.tail * tail)
        total += count * sum(bank.penalty_s[p][bank.athletes[p].index(a)] for p, a in crew.items())
    mean = sum(car.priority for car in season.cars.values()) / len(season.cars)
    return total * season.cars[entry.car].priority / mean


def _stop(season: Season, bank, service: str, crew: dict[str, str], scenario: int) -> float:
    done: dict[str, float] = {}
    rank: dict[str | None, int] = {}
    released = []
    for task in season.choreographies[service].tasks:
        place = rank.setdefault(task.position, 0)
        rank[task.position] += 1
        own = bank.car if task.position is None else bank.durations[task.position]
        if task.position is not None:
            own = own[bank.athletes[task.position].index(crew[task.position])]
        done[task.id] = max((done[other] for other in task.after), default=0.0) + float(own[place, scenario])
        released += [done[task.id]] if task.release else []
    return max(released)


class _Model:
    def __init__(self, study: Study, forced: dict[Seat, str]) -> None:
        self.study, self.season, self.forced = study, study.season, forced
        self.cost: list[float] = []
        self.whole: list[int] = []
        self.upper: list[float] = []
        self.rows: list[tuple[dict[int, float], float, float]] = []
        self.crews: dict[Entry, list[tuple[int, dict[str, str]]]] = {}
        for race in self.season.races.values():
            for car in self.season.cars_in[race.id]:
                self._entry(Entry(race.id, car))
        self._one_seat()
        self._changes()
        self._starts()

    def column(self, cost: float, whole: bool = False, upper: float = np.inf) -> int:
        self.cost.append(cost)
        self.whole.append(int(whole))
        self.upper.append(upper)
        return len(self.cost) - 1

    def able(self, seat: Seat) -> list[str]:
        if seat in self.forced:
            return [self.forced[seat]]
        return [c.athlete for c in self.season.clearances if c.position == seat.position]

    def _entry(self, entry: Entry) -> None:
        seats = self.season.seats(entry.race, entry.car)
        self.crews[entry] = []
        for chosen in product(*(self.able(seat) for seat in seats)):
            if len(set(chosen)) == len(chosen):
                crew = {seat.position: a for seat, a in zip(seats, chosen, strict=True)}
                cost = crew_cost(self.study, entry, crew) + self._standing(entry, crew)
                self.crews[entry].append((self.column(cost, True, 1.0), crew))
        self.rows.append(({column: 1.0 for column, _ in self.crews[entry]}, 1.0, 1.0))

    def _standing(self, entry: Entry, crew: dict[str, str]) -> float:
        other = [p for p, a in crew.items() if self.season.standing.get((entry.car, p), a) != a]
        return self.season.weights.not_standing_s * len(other)

    def _one_seat(self) -> None:
        for race in self.season.races:
            for athlete in self.season.athletes:
                mine = {
                    column: 1.0
                    for entry, crews in self.crews.items()
                    for column, crew in crews
                    if entry.race == race and athlete in crew.values()
                }
                self.rows.append((mine, 0.0, 1.0))

    def _changes(self) -> None:
        races = sorted(self.season.races.values(), key=lambda race: race.report)
        for car in self.season.cars:
            entered = [race.id for race in races if car in self.season.cars_in[race.id]]
            for before, after in pairwise(entered):
                for seat in self.season.seats(after, car):
                    for athlete in self.season.athletes:
                        new = self.column(self.season.weights.crew_change_s)
                        row = {new: -1.0}
                        for race, sign in ((after, 1.0), (before, -1.0)):
                            for column, crew in self.crews[Entry(race, car)]:
                                if crew.get(seat.position) == athlete:
                                    row[column] = row.get(column, 0.0) + sign
                        self.rows.append((row, -np.inf, 0.0))

    def _starts(self) -> None:
        limit = self.season.limits.get("starts")
        starters = {c.athlete for c in self.season.clearances}
        seats = sum(len(self.season.seats(e.race, e.car)) for e in self.crews)
        for athlete in starters:
            row = {c: 1.0 for crews in self.crews.values() for c, crew in crews if athlete in crew.values()}
            if limit is not None:
                self.rows.append((row, 0.0, float(limit.at_most)))
            away = self.column(self.season.weights.uneven_s)
            share = seats / len(starters)
            self.rows.append((row | {away: -1.0}, -np.inf, share))
            self.rows.append((row | {away: 1.0}, share, np.inf))

    def solve(self) -> float | None:
        matrix = np.zeros((len(self.rows), len(self.cost)))
        for number, (row, _, _) in enumerate(self.rows):
            for column, value in row.items():
                matrix[number, column] = value
        limits = LinearConstraint(matrix, [low for _, low, _ in self.rows], [high for _, _, high in self.rows])
        found = milp(
            np.array(self.cost), constraints=limits, integrality=self.whole, bounds=Bounds(0.0, self.upper),
            options={"mip_rel_gap": 0.0},
        )  # fmt: skip
        return float(found.fun) if found.success else None
