"""The cheapest crews of every entry when the work of their members is paid for, out of the tables of all crews."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from lineup.optimize.crew_kernel import least_of_rows, near_crews, soft_crews
from lineup.optimize.crew_tables import CrewTable, CrewTables
from lineup.optimize.frame import EMPTY, EntryFrame, Floats, Frame, Ints

ROOM = 20_000  # crews of a list, at most
ENOUGH = 8_000  # of a longer list, the next one reaches no further
REACH = 30.0  # how far beyond the least a list reaches, times the heat; it must reach
NEEDED = 6.0  # so far at all prices
NARROWER, WIDER = 0.7, 1.2
LEAST_REACH = 1e-3
DRIFTED_S = 1.0  # leasts of rows are taken again once earnings have risen by so much
SETTLED = 5.0  # crews within so many times the heat of the least are made exact,
SETTLED_AT_ONCE = 64  # at most so many of an entry at a time,
SETTLE_ROUNDS = 3  # so many times
BANNED = -1e9

Room = tuple[NDArray[np.int16], Floats]  # places, shape (ROOM, positions), and costs of crews being found


@dataclass(eq=False)
class CrewList:
    """Crews of one entry near the cheapest; while prices move little, the cheapest ones are among them.

    Attributes
    ----------
    places, costs : candidate of each crew by position, and priority times seconds of its stops.
    earned : what candidates earned when the list was made, shape (positions, candidates).
    others_s : what all other crews cost at least at those earnings.
    reach_s, made_s : how far beyond the least the next list is to reach, and how far this one does.
    slack : cost of each crew less what it earns, at the latest prices.
    rows : see `least_of_rows`.
    """

    frame: Frame
    entry: EntryFrame
    table: CrewTable
    places: NDArray[np.int16] = field(init=False)
    costs: Floats = field(default_factory=lambda: np.zeros(0))
    earned: Floats = field(init=False)
    others_s: float = -np.inf
    reach_s: float = np.inf
    made_s: float = 0.0
    slack: Floats = field(default_factory=lambda: np.zeros(0))
    rows: Floats = field(default_factory=lambda: np.zeros(0))

    def __post_init__(self) -> None:
        frame, seats = self.frame, self.entry.seats.tolist()
        self.priority = frame.problem.pricer.priority[self.entry.car]
        self.sizes = np.array(self.table.seconds.shape, dtype=np.intp)
        shape = (len(seats), int(self.sizes.max(initial=1)))
        self.who = np.full(shape, EMPTY, dtype=np.intp)
        self.allowed, self.saved = np.zeros(shape, dtype=np.bool_), np.zeros(shape)
        for p, (k, able) in enumerate(zip(seats, self.table.candidates, strict=True)):
            self.who[p, : len(able)] = able
            self.allowed[p, : len(able)] = [frame.optional[k] if a == EMPTY else frame.may[a, k] for a in able]
            self.saved[p] = frame.credit[k] - frame.empty_cost[k]
        self.inside = self.who != EMPTY
        self.sitters = self.who[self.inside], np.broadcast_to(self.entry.seats[:, None], shape)[self.inside]
        self.shares = np.zeros(shape)
        self.places = np.zeros((0, len(seats)), dtype=np.int16)

    def soften(self, links: Floats, heat_s: float, room: Room) -> tuple[float, float]:
        """Return the least cost and the softened one; `shares` then says how often each candidate is near the least."""
        paid = links[self.who, self.entry.seats[:, None]]
        earned = np.where(self.allowed, np.where(self.inside, paid, self.saved), BANNED)
        if not len(self.costs):
            self._look(earned, heat_s, room)
        least, soft = self._soften(earned, heat_s)
        if least + min(NEEDED * heat_s, 0.5 * self.made_s) > self._others(earned):
            self._look(earned, heat_s, room)
            least, soft = self._soften(earned, heat_s)
        elif REACH * heat_s < NARROWER * self.made_s:
            self._trim(least, REACH * heat_s, earned)
        return least, soft

    def _soften(self, earned: Floats, heat_s: float) -> tuple[float, float]:
        self.slack = np.empty(len(self.costs))
        least, soft = soft_crews(self.places, self.costs, earned, heat_s, self.slack, self.shares)
        return float(least), float(soft)

    def _others(self, earned: Floats) -> float:
        """Bound what crews outside the list cost: earnings rose by no more than by those who rose most."""
        risen = np.where(self.allowed, earned - self.earned, -np.inf).max(axis=1, initial=-np.inf)
        return self.others_s - float(risen.sum())

    def _look(self, earned: Floats, heat_s: float, room: Room) -> None:
        """Make the list anew out of the table."""
        flat, last = self.table.seconds.ravel(), int(self.sizes[-1])
        if not len(self.rows) or self._drift(earned) > DRIFTED_S:
            self.rows, self.rows_at = np.empty(len(flat) // last), earned[-1]
            least_of_rows(flat, self.priority, earned[-1, :last], self.rows)
        drift = self._drift(earned)
        self._renew()
        least = float(self.slack.min(initial=np.inf))
        self.reach_s = min(self.reach_s, REACH * heat_s)
        while True:
            given = (flat, self.sizes, self.priority, earned, self.rows, drift, least, self.reach_s)
            least, count = near_crews(*given, *room)
            if count <= len(room[1]):
                break
            self.reach_s *= NARROWER
            if self.reach_s < LEAST_REACH * heat_s:  # as many as there is room for are alike: others may be as well
                self.reach_s, count = 0.0, len(room[1])
                break
        self.places, self.costs = room[0][:count, : len(self.sizes)].copy(), room[1][:count].copy()
        self.earned, self.others_s, self.made_s = earned, least + self.reach_s, self.reach_s
        self.reach_s = REACH * heat_s if not self.reach_s else self.reach_s * (WIDER if count < ENOUGH else 1.0)

    def _drift(self, earned: Floats) -> float:
        """Most by which earnings in the last position have risen since rows were looked at."""
        return float(np.where(self.allowed[-1], earned[-1] - self.rows_at, -np.inf).max())

    def _trim(self, least: float, reach_s: float, earned: Floats) -> None:
        """Drop crews further than this from the least."""
        kept = self.slack <= least + reach_s
        self.others_s, self.made_s = min(least + reach_s, self._others(earned)), reach_s
        self.places, self.costs, self.slack, self.earned = self.places[kept], self.costs[kept], self.slack[kept], earned

    def _renew(self) -> Ints:
        """Take costs from the table again, where crews may have become exact; return the cells of the crews, flat."""
        cells: Ints = np.ravel_multi_index(tuple(self.places.T.astype(np.intp)), tuple(self.sizes))
        costs = self.priority * self.table.seconds.flat[cells]
        self.slack, self.costs = self.slack + costs - self.costs, costs
        return cells

    def settle(self, heat_s: float) -> bool:
        """Make crews near the least exact, as of the latest prices; return whether any were not."""
        exact, changed = self.table.exact.ravel(), False
        for _ in range(SETTLE_ROUNDS):
            cells = self._renew()
            near = np.flatnonzero(self.slack <= self.slack.min() + SETTLED * heat_s)
            if len(near) > SETTLED_AT_ONCE:
                near = near[np.argpartition(self.slack[near], SETTLED_AT_ONCE)[:SETTLED_AT_ONCE]]
            if exact[cells[near]].all():
                break
            self.table.settle(cells[near])
            changed = True
        return changed


@dataclass(eq=False)
class CrewLists:
    """Lists of all entries."""

    frame: Frame
    tables: CrewTables

    def __post_init__(self) -> None:
        entries, tables = self.frame.entries, self.tables.of_race
        self.lists = [CrewList(self.frame, entry, tables[entry.race]) for entry in entries if len(entry.seats)]
        self.seatless_s = sum(
            self.frame.problem.pricer.priority[entry.car] * float(tables[entry.race].seconds.sum())
            for entry in entries
            if not len(entry.seats)
        )
        width = max((len(one.sizes) for one in self.lists), default=0)
        self.room: Room = (np.empty((ROOM, width), dtype=np.int16), np.empty(ROOM))

    @property
    def scale_s(self) -> float:
        """Mean cost of an entry's quickest crew, seconds."""
        return float(np.mean([one.priority * one.table.seconds.min() for one in self.lists] or [0.0]))

    def soften(self, links: Floats, heat_s: float) -> tuple[float, float, Floats]:
        """Cost of every entry's cheapest crew when the work of its members is paid for.

        Parameters
        ----------
        links : seconds that a crew earns by each athlete in each seat, shape (athletes, seats).
        heat_s : how much dearer than the least still counts, seconds.

        Returns
        -------
        The least costs, summed, and the softened ones; and how often each athlete sits where near the least, shape
        (athletes, seats): less that is the derivative of the softened cost by `links`.
        """
        least, soft, sits = self.seatless_s, self.seatless_s, np.zeros(links.shape)
        for one in self.lists:
            own_least, own_soft = one.soften(links, heat_s, self.room)
            least += own_least
            soft += own_soft
            sits[one.sitters] = one.shares[one.inside]
        return least, soft, sits

    def settle(self, heat_s: float) -> bool:
        """Make crews near the least exact; return whether any were not."""
        return not self.tables.exact.all() and sum(one.settle(heat_s) for one in self.lists) > 0
