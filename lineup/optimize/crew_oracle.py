"""The cheapest crew of an entry when the work of its members is paid for, out of the table of all crews."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from lineup.optimize.crew_master import Column
from lineup.optimize.crew_tables import CrewTable
from lineup.optimize.frame import EMPTY, EntryFrame, Floats, Frame, Ints

CREWS = 8  # returned each time, about
SPREAD_S = 0.1
WIDER = 1.4
SETTLE_ROUNDS = 3  # of making crews exact, each time prices are tried
SHORT = 60  # the short list holds one crew in so many, and
SHORTEST = 4_000  # at least so many
BANNED = -1e9


@dataclass(eq=False)
class CrewOracle:
    """Answers for one entry.

    Most crews are far from the cheapest at any prices nearby. A full look keeps a short list of the near ones, and
    what all others cost at least; while prices have not moved by more than that leaves room for, only the list is
    looked at.
    """

    frame: Frame
    entry: EntryFrame
    table: CrewTable
    spread: float = SPREAD_S
    cells: Ints = field(default_factory=lambda: np.zeros(0, dtype=np.intp))
    others_s: float = -np.inf

    def __post_init__(self) -> None:
        self.priority = self.frame.problem.pricer.priority[self.entry.car]
        self.able = [np.array(able) for able in self.table.candidates]
        self.allowed = [
            np.where(able == EMPTY, self.frame.optional[k], self.frame.may[able, k])
            for able, k in zip(self.able, self.entry.seats, strict=True)
        ]

    def cheapest(self, links: Floats) -> tuple[float, list[Column]]:
        """Return the least cost of a crew less what it earns, or less than that; and exact crews at and near it.

        `links` holds what a crew earns by each athlete in each seat, shape (athletes, seats), seconds.
        """
        earned = self._earned(links)
        least, near = self._short(earned)
        if near is None:
            least, near = self._full(earned)
        near = near[self.table.exact.flat[near]]
        return self.priority * least, self._columns(near)

    def _earned(self, links: Floats) -> list[Floats]:
        """Seconds earned by each candidate, by position, per unit of priority; with nobody, what that saves."""
        found = []
        for able, allowed, k in zip(self.able, self.allowed, self.entry.seats.tolist(), strict=True):
            saved = self.frame.credit[k] - self.frame.empty_cost[k]
            own = np.where(able == EMPTY, saved, links[able, k]) / self.priority
            found.append(np.where(allowed, own, BANNED))
        return found

    def _short(self, earned: list[Floats]) -> tuple[float, Ints | None]:
        """Least and near ones out of the short list; None where the list does not hold the least for sure."""
        if not len(self.cells):
            return -np.inf, None
        moved = sum(float((now - then).max()) for now, then in zip(earned, self.earned, strict=True))
        others = self.others_s - moved
        slack = self.table.seconds.flat[self.cells] - self._sum(self.places, earned)
        near = self.cells[self._settled(slack, self.cells, earned)]
        return (float(slack.min()), near) if slack.min() <= others else (-np.inf, None)

    def _full(self, earned: list[Floats]) -> tuple[float, Ints]:
        """Look at all crews; keep a short list, return the least and the near ones."""
        total: Floats = np.zeros(())
        for p, own in enumerate(earned):
            total = total + own.reshape([-1 if q == p else 1 for q in range(len(earned))])
        slack = (self.table.seconds - total).ravel()
        near = self._settled(slack, np.arange(len(slack)), earned)
        count = max(SHORTEST, len(slack) // SHORT)
        if count < len(slack):
            self.others_s = float(np.partition(slack, count)[count])
            self.cells = np.flatnonzero(slack < self.others_s)
        else:
            self.others_s, self.cells = np.inf, np.arange(len(slack))
        self.places = np.unravel_index(self.cells, self.table.seconds.shape)
        self.earned = earned
        return float(slack.min()), near

    def _settled(self, slack: Floats, cells: Ints, earned: list[Floats]) -> Ints:
        """Make the cells of least slack exact, and their slack with them; return the near ones as places in `slack`."""
        for _ in range(SETTLE_ROUNDS):
            near = self._near(slack)
            if self.table.exact.flat[cells[near]].all():
                break
            self.table.settle(cells[near])
            places = np.unravel_index(cells[near], self.table.seconds.shape)
            slack[near] = self.table.seconds.flat[cells[near]] - self._sum(places, earned)
        return near

    def _near(self, slack: Floats) -> Ints:
        """About `CREWS` places of least slack, the least one among them."""
        near = np.flatnonzero(slack <= slack.min() + self.spread)
        self.spread *= WIDER if len(near) < CREWS else 1.0 / WIDER
        return near if len(near) <= 2 * CREWS else near[np.argpartition(slack[near], CREWS)[:CREWS]]

    def _sum(self, places: tuple[Ints, ...], earned: list[Floats]) -> Floats:
        return np.asarray(sum((own[place] for own, place in zip(earned, places, strict=True)), np.zeros(())))

    def _columns(self, cells: Ints) -> list[Column]:
        columns = []
        for cell, crew in zip(cells.tolist(), self.table.crews(cells), strict=True):
            seated = list(zip(crew, self.entry.seats.tolist(), strict=True))
            saved = sum(float(self.frame.credit[k] - self.frame.empty_cost[k]) for a, k in seated if a == EMPTY)
            seconds = self.priority * float(self.table.seconds.flat[cell]) - saved
            where = tuple((a, k) for a, k in seated if a != EMPTY)
            columns.append(Column((self.entry.number, cell, "crew"), True, self.entry.number, where, seconds))
        return columns
