"""The tight bound: prices of who sits where, at which every entry takes its cheapest crew, every athlete his schedule.

Whatever the prices, the two least costs add up to a bound (Lagrangian decomposition; Guignard & Kim 1987). Crews come
from tables of all crews, so they are exact: no crew is mixed out of others' luck. The best prices are found by column
generation, kept near the best so far.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from lineup.optimize.bench import Bench
from lineup.optimize.crew_master import Column, CrewMaster, Prices
from lineup.optimize.crew_oracle import CrewOracle
from lineup.optimize.crew_tables import CrewTables
from lineup.optimize.master import row_matrix
from lineup.optimize.pricing import Pricing
from lineup.optimize.rows import worth
from lineup.optimize.stopped import Over

CLOSE = 2e-5  # the relaxation is solved when value and bound are this close, as a share
BOX_S = 0.5
LEAST_BOX_S = 0.005
NARROWER, WIDER = 0.8, 1.1  # the box after a step that does not raise the bound, and one that does
TRUST = 0.7  # how far a step goes towards the latest prices
PERTURBED = 6  # extra rounds of columns to begin with
NOISE_S = 0.2
MOST_COLUMNS = 2.5  # per link; beyond it, the dearest are dropped


@dataclass(eq=False)
class CrewRelaxation:
    """The relaxation under way: `bound` is the best bound so far, `best` the prices that give it, seconds."""

    bench: Bench
    pricing: Pricing
    tables: CrewTables
    seed: int = 0
    bound: float = -np.inf
    width: float = BOX_S
    best: Prices = field(init=False)
    master: CrewMaster = field(init=False)

    def __post_init__(self) -> None:
        frame = self.bench.frame
        self.master = CrewMaster(frame, self.pricing.ties)
        self.oracles = [CrewOracle(frame, entry, self.tables.of_race[entry.race]) for entry in frame.entries]
        self.tie_matrix = row_matrix(self.pricing.ties, frame.may.size) if self.pricing.ties else None

    def begin(self, prices: Prices, over: Over) -> None:
        """Start from prices, with columns at and around them."""
        self.best = prices
        self._try(prices)
        rng = np.random.default_rng(self.seed)
        for _ in range(PERTURBED):
            if over():
                return
            noise = NOISE_S * rng.standard_normal(len(self.bench.frame.seats))
            self._try(Prices(self.best.links + noise, self.best.ties))
        self.master.box(self.best, self.width)

    def step(self, over: Over) -> bool:
        """Solve and add columns; return whether there is more to do. Raises Stopped if over."""
        value, prices = self.master.solve(over)
        self._thin()
        risen = self._try(self.best.blend(prices, TRUST)) or self._try(prices)
        self.width = min(BOX_S, self.width * WIDER) if risen else max(LEAST_BOX_S, self.width * NARROWER)
        self.master.box(self.best, self.width)
        return value - self.bound > CLOSE * abs(value) or self.master.boxed > 0.01 * len(self.bench.frame.seats)

    def _thin(self) -> None:
        most = int(MOST_COLUMNS * len(self.master.cells))
        if len(self.master.columns) > most:
            reduced = self.master.reduced
            self.master.keep(reduced <= np.partition(reduced, most // 2)[most // 2])

    def _try(self, prices: Prices) -> bool:
        """Find the cheapest crews and schedules at prices; return whether the bound rose."""
        ties = self.pricing.ties
        prices = Prices(prices.links, np.array([row.fit(p) for row, p in zip(ties, prices.ties, strict=True)]))
        total, columns = worth(ties, prices.ties), []
        for oracle in self.oracles:
            least, crews = oracle.cheapest(prices.links)
            total += least
            columns += crews
        seats = np.where(self.bench.frame.may, self.bench.frame.cost + prices.links, np.inf)
        if self.tie_matrix is not None:
            seats = seats - (self.tie_matrix.T @ prices.ties).reshape(seats.shape)
        least_s, schedules = self.pricing.solve(seats)
        total += float(least_s.sum())
        for s in schedules:
            where = tuple((s.athlete, k) for k in s.seats)
            columns.append(Column((s.athlete, s.seats), False, s.athlete, where, self.pricing.cost(s)))
        self.master.add(columns)
        if total <= self.bound:
            return False
        self.bound, self.best = total, prices
        return True
