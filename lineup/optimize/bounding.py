"""The bound from beginning to end: prices from mixed crews first, then whole crews where their tables can be made."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from lineup.optimize.bench import Bench
from lineup.optimize.bound import Relaxation
from lineup.optimize.crew_bound import CrewRelaxation, Prices
from lineup.optimize.crew_tables import CrewTables
from lineup.optimize.frame import Floats
from lineup.optimize.pricing import Pricing
from lineup.optimize.stopped import Over, Stopped


@dataclass(eq=False)
class Bounding:
    """Raises the bound a step at a time."""

    bench: Bench
    pricing: Pricing
    tables: CrewTables
    seed: int
    mixed: Relaxation = field(init=False)
    whole: CrewRelaxation | None = None

    def __post_init__(self) -> None:
        self.mixed = Relaxation(self.bench, self.pricing, self.seed)

    @property
    def bound(self) -> float:
        """Best bound so far, seconds."""
        return self.mixed.bound if self.whole is None else max(self.mixed.bound, self.whole.bound)

    @property
    def shares(self) -> Floats | None:
        """How likely each athlete is in each seat, shape (athletes, seats); None while nothing is known of it."""
        return None if self.whole is None else self.whole.shares

    def step(self, over: Over) -> bool:
        """Take one step; return whether there is more to do."""
        try:
            return self._step(over)
        except Stopped:
            return False

    def _step(self, over: Over) -> bool:
        if not self.mixed.begun:
            self.mixed.begin(over)
            return True
        if not self.tables.fit:
            return self.mixed.step(over)
        if self.whole is not None:
            return self.whole.step(over)
        if not self.tables.prepare(over):
            return False
        whole = CrewRelaxation(self.bench, self.pricing, self.tables)
        whole.begin(self._prices())
        self.whole = whole
        return True

    def _prices(self) -> Prices:
        """Prices of the mixed relaxation as prices of who sits where (its cuts' and its seats') and of what ties."""
        links = self.mixed.stop_costs() - self.mixed.best.seats[None, :]
        return Prices(links, self.mixed.best.rows[: len(self.pricing.ties)], np.zeros(links.shape))
