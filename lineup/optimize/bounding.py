"""The bound from beginning to end: prices from mixed crews first, then whole crews where their tables can be made."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from lineup.optimize.bench import Bench
from lineup.optimize.bound import Relaxation
from lineup.optimize.crew_bound import CrewRelaxation
from lineup.optimize.crew_master import Prices
from lineup.optimize.crew_tables import CrewTables
from lineup.optimize.pricing import Pricing

MIXED_ROUNDS = 0  # of schedule columns on mixed crews, before whole ones take over


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

    def step(self, over: Callable[[], bool]) -> bool:
        """Take one step; return whether there is more to do."""
        if self.whole is not None:
            more = self.whole.step()
        elif not self.mixed.begun:
            self.mixed.begin(over)
            more = True
        elif self.tables.fit and self.mixed.rounds >= MIXED_ROUNDS:
            if not self.tables.prepare(over):
                return False
            self.whole = CrewRelaxation(self.bench, self.pricing, self.tables, self.seed)
            self.whole.begin(self._prices(), over)
            more = True
        else:
            more = self.mixed.step(over) or self.tables.fit
        self.bound = max(self.bound, self.mixed.bound, self.whole.bound if self.whole is not None else -np.inf)
        return more

    def _prices(self) -> Prices:
        """Prices of the mixed relaxation as prices of who sits where: its cuts' and its seats'."""
        links = self.mixed.stop_costs() - self.mixed.best.seats[None, :]
        owners = np.array(self.mixed.master.entry_of_row, dtype=np.intp)
        return Prices(links, self.mixed.best.rows[: len(owners)][owners[: len(self.mixed.best.rows)] < 0])
