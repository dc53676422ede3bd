"""How much quicker somebody would have to be at one split: stops timed again with the shorter split, by bisection."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from lineup.price import Pricer
from lineup.season import Entry, Season
from lineup.skills import SkillEstimates
from lineup.stop_model.bank import ServiceBank
from lineup.stop_model.blend import blend
from lineup.tariff import Crew

Floats = NDArray[np.float64]
MOST_S = 2.0  # nobody gets this much quicker at one split
EXACT_S = 0.001


@dataclass(eq=False)
class Quicker:
    """One athlete in one position, quicker at one split by so many seconds in every stop, but never below none."""

    pricer: Pricer
    athlete: str
    position: str
    split: str
    _known: dict[tuple[str, str, bytes, float], float] = field(default_factory=dict)

    def saved_s(self, crews: Mapping[Entry, Crew], quicker_s: float) -> float:
        """Weighted seconds that the stops of a lineup become cheaper by; those without the athlete stay as they are."""
        return sum(
            self.pricer.priority[entry.car] * self.race_s(entry, crew, quicker_s) for entry, crew in crews.items()
        )

    def race_s(self, entry: Entry, crew: Crew, quicker_s: float) -> float:
        """Seconds that the stops of one crew in a race become shorter by, all together."""
        if crew.get(self.position) != self.athlete:
            return 0.0
        return sum(count * self._stop(bank, crew, quicker_s) for bank, count in self.pricer.services(entry.race))

    def _stop(self, bank: ServiceBank, crew: Crew, quicker_s: float) -> float:
        if self.position not in bank.positions:
            return 0.0
        row = bank.crew_row(crew)
        return self._timed(bank, row, 0.0) - self._timed(bank, row, quicker_s)

    def _timed(self, bank: ServiceBank, row: NDArray[np.intp], quicker_s: float) -> float:
        key = (bank.service, bank.tire, row.tobytes(), quicker_s)
        if key not in self._known:
            times = bank.with_durations(row, self.position, self._own(bank, quicker_s))[0]
            self._known[key] = float(blend(times, self.pricer.tail, self.pricer.season.weights.tail_share))
        return self._known[key]

    def _own(self, bank: ServiceBank, quicker_s: float) -> Floats:
        """Seconds of the athlete's tasks, shape (1, tasks of the position, scenarios)."""
        own: Floats = bank.durations[self.position][bank.rows[self.position][self.athlete]].copy()
        tasks = [task for task in bank.choreography.tasks if task.position == self.position]
        for rank, task in enumerate(tasks):
            if task.split == self.split:
                lowest = np.full_like(own[rank], -np.inf if task.early else 0.0)
                own[rank] = np.maximum(own[rank] - quicker_s, np.minimum(lowest, own[rank]))
        return np.expand_dims(own, 0)


def least(enough: Callable[[float], bool]) -> float | None:
    """Return the seconds from which on it is enough, to a thousandth; `None` where even `MOST_S` is not."""
    if not enough(MOST_S):
        return None
    low, high = 0.0, MOST_S
    while high - low > EXACT_S:
        middle = (low + high) / 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def splits_of(season: Season, race: str, position: str) -> Iterator[tuple[str, str]]:
    """Yield the splits of a position in the services of a race, with what the first task of each is called."""
    seen: set[str] = set()
    for service in season.service_counts.get(race, {}):
        for task in season.choreographies[service].tasks:
            if task.position == position and task.split not in seen:
                seen.add(task.split)
                yield task.split, (task.name or task.split).lower()


def median_s(estimates: SkillEstimates, athlete: str, position: str, split: str) -> float:
    """Median clean time of an athlete at a split, seconds."""
    return estimates.splits[athlete, position, split].median_s
