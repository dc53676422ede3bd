"""How quick crews are, and linear bounds on the mean stop of every crew, learned where they are needed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np

from lineup.season import Season
from lineup.stop_model.path_cut import Cut
from lineup.stop_model.stops import ServiceBank, StopModel

Service = tuple[str, str]  # service and tire
FIRST_BOUNDS = 12


@dataclass(eq=False)
class CrewBounds:
    """Bounds by service and tire; they hold for every crew of every car. `model` is asked for when first needed."""

    season: Season
    model: Callable[[], StopModel]
    cuts: dict[Service, list[Cut]] = field(default_factory=dict)
    descents: dict[Service, tuple[Cut, ...]] = field(default_factory=dict)

    def bank(self, service: Service) -> ServiceBank:
        """Return the sampled stops of a service."""
        return self.model().banks[service]

    def mean_s(self, service: Service, crew: Mapping[str, str]) -> float | None:
        """Mean stop of a crew in seconds, or None when it is not whole or somebody in it has no sampled stops."""
        bank = self.bank(service)
        for position in bank.positions:
            if position not in crew and self.season.positions[position].filled == "always":
                return None
            if position in crew and crew[position] not in bank.rows[position]:
                return None
        return float(bank.stop_times(bank.crew_row(crew)).mean())

    def learn(self, service: Service, crew: Mapping[str, str]) -> None:
        """Add the bound that is exact for a crew; the first time also bounds near the quickest crew there is."""
        bank = self.bank(service)
        if service not in self.cuts:
            self.cuts[service] = list(self.near_quickest(service))
        self.cuts[service].append(_cut(bank, bank.crew_mix(bank.crew_row(crew))))

    def near_quickest(self, service: Service) -> tuple[Cut, ...]:
        """Return bounds near the quickest crew among all with a clearance, the last one nearest.

        They come from the descent of Frank and Wolfe (Naval Research Logistics Quarterly 3, 1956; citation from
        memory) over mixed crews: the stop is convex in the mix.
        """
        if service not in self.descents:
            self.descents[service] = _descend(self.bank(service))
        return self.descents[service]


def _cut(bank: ServiceBank, mix: Mapping[str, np.ndarray]) -> Cut:
    return bank.path_cut(mix, np.full(bank.scenarios, 1.0 / bank.scenarios))


def _descend(bank: ServiceBank) -> tuple[Cut, ...]:
    mix = {p: np.full(len(bank.athletes[p]), 1.0 / max(1, len(bank.athletes[p]))) for p in bank.positions}
    cuts: list[Cut] = []
    for step in range(FIRST_BOUNDS):
        cuts.append(_cut(bank, mix))
        for position, coefficients in cuts[-1][1].items():
            if len(coefficients):
                mix[position] *= 1.0 - 2.0 / (step + 2)
                mix[position][np.argmin(coefficients)] += 2.0 / (step + 2)
    return tuple(cuts)
