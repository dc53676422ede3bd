"""The bound from beginning to end: prices from mixed crews first, then whole crews where their tables can be made."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from lineup.optimize.bench import Bench
from lineup.optimize.bound import Relaxation
from lineup.optimize.crew_bound import CrewRelaxation
from lineup.optimize.crew_master import Prices
from lineup.optimize.crew_tables import CrewTables
from lineup.optimize.pricing import Pricing
from lineup.optimize.stopped import Over, Stopped


@dataclass(eq=False)
class Bounding:
    """Raises the bound a step at a time; `bound` is the best so far, seconds."""

    bench: Bench
    pricing: Pricing
    tables: CrewTables
    seed: int
    bound: float = -np.inf
    mixed: Relaxation = field(init=False)
    whole: CrewRelaxation | None = None

    def __post_init__(self) -> None:
        self.mixed = Relaxation(self.bench, self.pricing, self.seed)

    def step(self, over: Over) -> bool:
        """Take one step; return whether there is more to do."""
        try:
            return self._step(over)
        except Stopped:
            return False

    def _step(self, over: Over) -> bool:
        if not self.mixed.begun:
            self.mixed.begin(over)
            self.bound, more = self.mixed.bound, True
        elif not self.tables.fit:
            more = self.mixed.step(over)
            self.bound = self.mixed.bound
        else:
            more = self._whole(over)
        return more

    def _whole(self, over: Over) -> bool:
        if self.whole is not None:
            more = self.whole.step(over)
        elif more := self.tables.prepare(over):
            self.whole = CrewRelaxation(self.bench, self.pricing, self.tables, self.seed)
            self.whole.begin(self._prices(), over)
        if self.whole is not None:
            self.bound = max(self.bound, self.whole.bound)
        return more

    def _prices(self) -> Prices:
        """Prices of the mixed relaxation as prices of who sits where (its cuts' and its seats') and of what ties."""
        links = self.mixed.stop_costs() - self.mixed.best.seats[None, :]
        return Prices(links, self.mixed.best.rows[: len(self.pricing.ties)])
