"""Re-optimise some seats of a lineup with the rest held, by schedules: columns from `Pricing`, then whole ones only.

Where one seat of an entry is free, what its stops cost is known for every athlete in it; where several are, cuts
hold it up from below and new crews teach new cuts.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from lineup.optimize.bench import Bench
from lineup.optimize.frame import EMPTY, Floats, Ints, Lineup
from lineup.optimize.master import Duals, Master, Part, held_row, lagrangian, mend
from lineup.optimize.pricing import Pricing, Schedule
from lineup.optimize.schedules import race_set

FORCED_S = 1e5  # a seat that an athlete keeps: no schedule without it pays
PERTURBED = 6  # extra rounds of columns at prices a little off
NOISE_S = 0.3
CLOSE = 2e-5  # stop pricing when bound and value are this close, as a share
ROUNDS = 60


@dataclass(eq=False)
class Block:
    """One neighbourhood of a lineup."""

    bench: Bench
    pricing: Pricing
    lineup: Lineup
    free: Ints
    seed: int = 0
    timed: bool = True
    bound: float = -np.inf
    held: int = 0
    master: Master = field(init=False)

    def __post_init__(self) -> None:
        frame = self.bench.frame
        self.is_free = np.zeros(len(frame.seats), dtype=np.bool_)
        self.is_free[self.free] = True
        self.who = np.flatnonzero(frame.may[:, self.free].any(axis=1))
        self.costs = frame.cost.copy()
        self.several = []
        for entry in frame.entries:
            places = np.flatnonzero(self.is_free[entry.seats])
            if len(places) == 1:
                self._exact(entry.number, int(places[0]))
            elif len(places):
                self.several.append(entry)
        self.base = self._prices()
        who = np.zeros(len(frame.athletes), dtype=np.bool_)
        who[self.who] = True
        self.part = Part(self.lineup, self.is_free, who)
        self.master = Master(self.bench, self.part)
        self.master.add_rows([row for row in (held_row(r, self.part) for r in self.pricing.ties) if len(row.index)])

    def _exact(self, number: int, place: int) -> None:
        entry = self.bench.frame.entries[number]
        crew, k = self.bench.crew(entry, self.lineup), int(entry.seats[place])
        able = np.flatnonzero(self.bench.frame.may[:, k])
        crews = [(*crew[:place], a, *crew[place + 1 :]) for a in [*able.tolist(), EMPTY]]
        seconds = self.bench.values.costs(entry, crews)
        self.costs[able, k] += seconds[:-1] - seconds[-1]

    def _prices(self) -> Floats:
        """Seat prices without any dual: free seats as they cost, held ones forced, others closed."""
        frame = self.bench.frame
        table = np.where(frame.may & self.is_free[None, :], self.costs, np.inf)
        for k, a in enumerate(self.lineup.tolist()):
            if a != EMPTY and not self.is_free[k]:
                table[a, frame.seats_of[int(frame.seat_race[k])]] = np.inf
                table[a, k] = -FORCED_S
        return table

    def solve(self, start: Floats, seconds: float, over: Callable[[], bool]) -> list[Lineup]:
        """Return lineups found, best last; they may break a rule the pricing does not know.

        `start` holds prices of seats to begin with, shape (seats,).
        """
        self.held = self._add(self._held())
        self._cuts([self.lineup])
        duals = self._begin(start)
        self._price_out(duals, over)
        found: list[Lineup] = []
        for _ in range(3 if self.several else 1):
            lineup = self._whole(seconds)
            if lineup is None:
                break
            found.append(lineup)
            if not self._cuts([lineup]):
                break
        return found

    def _held(self) -> list[Schedule]:
        """Schedules of the athletes now."""
        seats: dict[int, list[int]] = {int(a): [] for a in self.who}
        for k, a in enumerate(self.lineup.tolist()):
            if a in seats:
                seats[a].append(k)
        return [Schedule(a, tuple(held)) for a, held in seats.items() if held]

    def _cuts(self, lineups: Collection[Lineup]) -> int:
        rows, owners = [], []
        for entry in self.several:
            for lineup in lineups:
                crew = self.bench.crew(entry, lineup)
                cuts = self.bench.pool.at_crews(entry.kind, [crew])
                if not self.master.rows or not any(o == entry.number for o in self.master.entry_of_row):
                    cuts = [*self.bench.pool.near(entry, crew), self.bench.pool.of_crew(entry.kind, crew)]
                rows += [self.master.cut_row(entry, *cut.for_entry(entry)) for cut in cuts]
                owners += [entry.number] * len(cuts)
        self.master.add_rows(rows, owners)
        return len(rows)

    def _begin(self, start: Floats) -> Duals:
        """Fill the master with columns around the starting prices."""
        rng = np.random.default_rng(self.seed)
        rows = np.zeros(len(self.master.rows))
        duals = mend(self.master, Duals(start * self.is_free, np.zeros(len(self.bench.frame.athletes)), rows))
        for number in range(PERTURBED):
            noise = NOISE_S * rng.standard_normal(len(start)) * (number > 0)
            self._columns(Duals(duals.seats + noise * self.is_free, duals.athletes, duals.rows))
        return duals

    def _price_out(self, best: Duals, over: Callable[[], bool]) -> None:
        for _ in range(ROUNDS):
            if over():
                return
            value, _, duals = self.master.solve()
            duals = mend(self.master, duals)
            rows = np.concatenate([best.rows, np.zeros(len(duals.rows) - len(best.rows))])
            tried = Duals((best.seats + duals.seats) / 2, duals.athletes, (rows + duals.rows) / 2)
            for candidate in (tried, duals):
                reached, fresh = self._columns(candidate)
                if reached > self.bound:
                    self.bound, best = reached, candidate
                if fresh:
                    break
            if not fresh or value - self.bound <= CLOSE * abs(value):
                return

    def _columns(self, duals: Duals) -> tuple[float, int]:
        prices = self.base - np.where(self.is_free, duals.seats, 0.0)[None, :]
        if self.master.rows:
            prices = prices - (self.master.matrix.T @ duals.rows).reshape(prices.shape)
        least, schedules = self.pricing.solve(prices, self.who)
        bound = lagrangian(self.master, duals, least + self.part.forced[self.who] * FORCED_S)
        return bound, self._add(schedules)

    def _add(self, schedules: list[Schedule]) -> int:
        return self.master.add_schedules(schedules, [self._cost(s) for s in schedules])

    def _cost(self, schedule: Schedule) -> float:
        return self.pricing.fixed_s(schedule) + float(
            self.costs[schedule.athlete, [k for k in schedule.seats if self.is_free[k]]].sum()
        )

    def _whole(self, seconds: float) -> Lineup | None:
        """Choose whole schedules only, out of those found."""
        held = range(self.held)
        room = sum(self.master.costs[j] for j in held) - self.bound
        allowed = self._allowed() & (self.master.reduced_costs() <= room if not self.several else True)
        allowed[: self.held] = True
        chosen = self.master.whole(seconds if self.timed else None, allowed, held)
        if chosen is None:
            return None
        lineup = self.lineup.copy()
        lineup[self.free] = EMPTY
        for schedule in chosen:
            for k in schedule.seats:
                lineup[k] = schedule.athlete
        return lineup

    def _allowed(self) -> NDArray[np.bool_]:
        """Which schedules break no rule at all."""
        race = self.bench.frame.seat_race
        return np.array(
            [
                not self.bench.schedules.of(s.athlete, race_set(int(race[k]) for k in s.seats)).broken
                for s in self.master.schedules
            ]
        )
