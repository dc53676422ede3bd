"""The bound: schedules and cuts are added to the relaxation until it can hardly rise any more.

Seat prices are kept in a box around the best ones so far, and schedules are priced half way between those and the
latest: without either the prices swing, and the bound with them.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from lineup.optimize.bench import Bench
from lineup.optimize.frame import Floats
from lineup.optimize.master import Duals, Master, lagrangian, mend, seat_prices
from lineup.optimize.plain import Plain, active
from lineup.optimize.pricing import Pricing
from lineup.optimize.stopped import Over

PLAIN_ROUNDS = 6
PERTURBED = 20
BOX_S = 0.3
CLOSE = 1e-4  # the relaxation is solved when value and bound are this close, as a share
BITES = 0.3  # a cut is added when it is violated by this share of the gap per entry
CUTS_EVERY = 2
IDLE_ROUNDS = 8


@dataclass(eq=False)
class Relaxation:
    """The relaxation under way.

    Attributes
    ----------
    bound : best bound so far, seconds. best : the prices that give it.
    shares : the latest shares (athletes, seats). value : the latest value of the program, seconds.
    """

    bench: Bench
    pricing: Pricing
    seed: int = 0
    bound: float = -np.inf
    value: float = np.inf
    rounds: int = 0
    begun: bool = False
    master: Master = field(init=False)
    best: Duals = field(init=False)
    shares: Floats = field(init=False)

    def __post_init__(self) -> None:
        self.master = Master(self.bench)
        self.shares = np.zeros(self.bench.frame.may.shape)

    def begin(self, over: Over) -> None:
        """Start from the prices and cuts of the plain relaxation, with schedules at those prices. Stopped if over."""
        self.begun = True
        plain = Plain(self.bench).solve(over, PLAIN_ROUNDS)
        cuts = active(plain)
        self.master.add_rows(self.pricing.ties)
        ties = np.zeros(len(self.master.rows))
        self.master.add_rows(
            [self.master.cut_row(e, *cut.for_entry(e)) for e, cut, _ in cuts], [e.number for e, _, _ in cuts]
        )
        rows = np.concatenate([ties, [price for _, _, price in cuts]])
        athletes = len(self.bench.frame.athletes)
        self.best = mend(self.master, Duals(plain.seat_prices, np.zeros(athletes), rows))
        self._try(self.best)

    def _look_around(self, over: Over) -> None:
        """Find schedules at prices a little off the best ones."""
        rng = np.random.default_rng(self.seed)
        for _ in range(PERTURBED):
            if over():
                break
            noise = BOX_S * rng.standard_normal(len(self.best.seats))
            self._try(Duals(self.best.seats + noise, self.best.athletes, self.best.rows))
        self.master.box(self.best.seats, BOX_S)

    def step(self, over: Over) -> bool:
        """Solve, price schedules, add cuts; return whether there is more to do. Raises Stopped if over."""
        if not self.rounds:
            self._look_around(over)
        self.rounds += 1
        self.value, self.shares, duals = self.master.solve(over)
        duals = mend(self.master, duals)
        risen = self._try(self.best.blend(duals, 0.5))
        if not risen:
            self._try(duals)
        self.master.box(self.best.seats, BOX_S)
        gap = self.value - self.bound
        added = self._cut(gap, over) if self.rounds % CUTS_EVERY == 0 or gap <= 10 * CLOSE * abs(self.value) else 0
        if self.rounds % IDLE_ROUNDS == 0:
            self.best = self.master.drop_idle_rows(self.best)
        return gap > CLOSE * abs(self.value) or added > 0 or self.master.boxed > 1e-6

    def _try(self, duals: Duals) -> bool:
        """Price schedules; return whether the bound rose."""
        duals = mend(self.master, duals)
        least, schedules = self.pricing.solve(seat_prices(self.master, duals))
        self.master.add_schedules(schedules, [self.pricing.cost(s) for s in schedules])
        reached = lagrangian(self.master, duals, least)
        if reached <= self.bound:
            return False
        self.bound, self.best = reached, duals
        return True

    def _cut(self, gap: float, over: Over) -> int:
        """Add the cuts that the latest shares violate by enough to matter."""
        entries, rows, owners = self.bench.frame.entries, [], []
        theta = self.master.thetas()
        least = BITES * max(gap, CLOSE * abs(self.value)) / len(entries)
        for entry in entries:
            if over():
                break
            mix = np.clip(self.shares[:, entry.seats].T, 0.0, 1.0)
            row = self.master.cut_row(entry, *self.bench.pool.at_mix(entry.kind, mix).for_entry(entry))
            reached = row.low - row.coefficients @ self.shares.ravel()[row.index]
            if reached - theta[entry.number] > least:
                rows.append(row)
                owners.append(entry.number)
        self.master.add_rows(rows, owners)
        return len(rows)

    def stop_costs(self) -> Floats:
        """Stop seconds of each athlete in each seat by the cuts and their best prices, shape (athletes, seats)."""
        owners = np.array(self.master.entry_of_row, dtype=np.intp)
        known = np.concatenate([self.best.rows, np.zeros(len(owners) - len(self.best.rows))])
        prices = np.where(owners >= 0, known, 0.0)
        return np.asarray(-(self.master.matrix.T @ prices)).reshape(self.bench.frame.may.shape)
