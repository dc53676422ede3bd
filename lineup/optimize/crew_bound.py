"""The tight bound: prices of who sits where, at which every entry takes its cheapest crew, every athlete his schedule.

Whatever the prices, the two least costs add up to a bound (Lagrangian decomposition; Guignard & Kim 1987). Crews come
from tables of all crews, so they are exact: no crew is mixed out of others' luck.

The least costs have kinks where the cheapest changes. Softened by a heat (Nesterov, Smooth minimization of non-smooth
functions, 2005: what is nearly as cheap counts as well) they have slopes, which L-BFGS-B climbs; then the heat goes
down. The bound itself is always taken without softening.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, minimize

from lineup.optimize.bench import Bench
from lineup.optimize.crew_lists import CrewLists
from lineup.optimize.crew_tables import CrewTables
from lineup.optimize.frame import Floats
from lineup.optimize.master import row_matrix
from lineup.optimize.pricing import Pricing
from lineup.optimize.rows import sides
from lineup.optimize.schedule_kernel import NONE
from lineup.optimize.stopped import Over, Stopped

CLOSE = 1e-5  # done when the softened bound is this close to the bound, as a share
HOT = 4e-4  # heat to begin with, as a share of the mean cost of an entry's crew,
LEAST_HEAT = 2e-6  # and at the end
COOLER = 0.6  # after each step
MOST_S = 1e5  # of any price: without a lineup that keeps the limits, prices would rise for ever
WARM = 1e-4  # shares are kept of the last step at this heat or more
STEPS, TRIES = 100, 150  # of L-BFGS-B at each heat


@dataclass(frozen=True, eq=False)
class Prices:
    """Prices in seconds.

    `links` : paid by crews to schedules for who sits where, shape (athletes, seats). `ties` : of the limits that tie
    athletes together, shape (rows,). `handovers` : see `Pricing.soften`, shape (athletes, seats).
    """

    links: Floats
    ties: Floats
    handovers: Floats


@dataclass(eq=False)
class CrewRelaxation:
    """The relaxation under way.

    Attributes
    ----------
    bound : the best bound so far, seconds.
    shares : how often each athlete sits in each seat of crews and schedules near the cheapest, shape (athletes,
        seats), as of the last step that was warm; None before the first.
    """

    bench: Bench
    pricing: Pricing
    tables: CrewTables
    bound: float = -np.inf
    shares: Floats | None = None

    def __post_init__(self) -> None:
        frame, ties = self.bench.frame, self.pricing.ties
        self.crews = CrewLists(frame, self.tables)
        self.tie_matrix = row_matrix(ties, frame.may.size) if ties else None
        self.handed = self._handed()
        links, handed = int(frame.may.sum()), int(self.handed.sum())
        self.low = np.concatenate([np.full(links, -MOST_S), [row.fit(-MOST_S) for row in ties], np.zeros(handed)])
        self.high = np.concatenate([np.full(links, MOST_S), [row.fit(MOST_S) for row in ties], np.full(handed, MOST_S)])

    def _handed(self) -> NDArray[np.bool_]:
        """Where handovers have a price, shape (athletes, seats).

        Who leaves a seat that must be filled makes room for another, who comes to it. Schedules mixed at shares break
        that: one half of an athlete can leave while his other half comes back. So the shares of his that leave and
        come must not exceed those of all who come.
        """
        frame = self.bench.frame
        handed: NDArray[np.bool_] = frame.may[:, frame.before] & (frame.before != NONE) & ~frame.optional
        return handed

    def begin(self, prices: Prices) -> None:
        """Start from prices."""
        self.scale_s = max(self.crews.scale_s, 1e-3)
        self.heat_s = HOT * self.scale_s
        at = np.concatenate([prices.links[self.bench.frame.may], prices.ties, prices.handovers[self.handed]])
        self.at = np.clip(at, self.low, self.high)
        self._try(self.at)

    def step(self, over: Over) -> bool:
        """Climb for a while, then cool; return whether there is more to do. Raises Stopped if over."""

        def value(at: Floats) -> tuple[float, Floats]:
            if over():
                raise Stopped
            return self._try(at)

        climbed = minimize(
            value,
            self.at,
            jac=True,
            method="L-BFGS-B",
            bounds=Bounds(self.low, self.high),
            options={"maxiter": STEPS, "maxfun": TRIES, "maxcor": 20, "ftol": 1e-11, "gtol": 1e-9},
        )
        self.at = climbed.x
        if self.shares is None or self.heat_s >= WARM * self.scale_s:
            self.shares = self.latest
        settled = self.crews.settle(self.heat_s)
        close = self.bound + float(climbed.fun) <= CLOSE * abs(self.bound)
        ended = close or self.heat_s <= LEAST_HEAT * self.scale_s
        self.heat_s = max(COOLER * self.heat_s, LEAST_HEAT * self.scale_s)
        return settled or not ended

    def _prices(self, at: Floats) -> Prices:
        frame = self.bench.frame
        links, handovers = np.zeros(frame.may.shape), np.zeros(frame.may.shape)
        first, second = int(frame.may.sum()), int(frame.may.sum()) + len(self.pricing.ties)
        links[frame.may], handovers[self.handed] = at[:first], at[second:]
        return Prices(links, at[first:second], handovers)

    def _try(self, at: Floats) -> tuple[float, Floats]:
        """Return the softened bound at prices and its slope, both with the sign turned; keep the best bound."""
        frame, prices = self.bench.frame, self._prices(at)
        least, soft, filled = self.crews.soften(prices.links, self.heat_s)
        seats = np.where(frame.may, frame.cost + prices.links, np.inf)
        if self.tie_matrix is not None:
            seats = seats - (self.tie_matrix.T @ prices.ties).reshape(seats.shape)
        least_s, soft_s, shares = self.pricing.soften(seats, prices.handovers, self.heat_s)
        slopes, fixed = [(shares.sits - filled)[frame.may]], 0.0
        if self.tie_matrix is not None:
            worth = sides(self.pricing.ties, prices.ties)
            slopes.append(worth - self.tie_matrix @ shares.sits.ravel())
            fixed = float(prices.ties @ worth)
        left = shares.comes - shares.comes.sum(axis=0)
        left[:, frame.linked] += shares.leaves[:, frame.before[frame.linked]]
        slopes.append(left[self.handed])
        self.bound = max(self.bound, fixed + least + float(least_s.sum()))
        self.latest = 0.5 * (shares.sits + filled)
        return -(fixed + soft + float(soft_s.sum())), -np.concatenate(slopes)
