"""The linear program that mixes whole crews and whole schedules: what a crew needs, schedules must give.

Rows: one per athlete and seat he may fill ("link": schedules that sit there, less crews that seat him there, is 0),
one per entry (one crew), one per athlete (at most one schedule), then the limits that tie. HiGHS solves it by interior
point without crossover: prices from the middle of the best face make better columns than those of a corner.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from lineup.optimize.frame import Floats, Frame
from lineup.optimize.lp import new_lp, run
from lineup.optimize.rows import INF, Row
from lineup.optimize.stopped import Over

TIES_WIDER = 4.0  # prices of limits that tie may move so much further at a time
ACCURATE = 1e-4  # prices need not be better than this: the bound is recomputed from them


@dataclass(frozen=True, eq=False)
class Prices:
    """Prices of the links, shape (athletes, seats), paid by crews to schedules; and of the limits that tie (rows,)."""

    links: Floats
    ties: Floats

    def blend(self, other: Prices, share: float) -> Prices:
        """Return this share of the other's prices and the rest of these."""
        rest = 1.0 - share
        return Prices(rest * self.links + share * other.links, rest * self.ties + share * other.ties)


@dataclass(frozen=True, slots=True)
class Column:
    """A crew of an entry (`where`: athlete and seat pairs) or a schedule of an athlete, and what it costs alone."""

    key: Hashable
    crew: bool
    owner: int
    where: tuple[tuple[int, int], ...]
    cost: float


@dataclass(eq=False)
class CrewMaster:
    """The program with the columns found so far."""

    frame: Frame
    ties: Sequence[Row]
    columns: list[Column] = field(default_factory=list)
    known: set[Hashable] = field(default_factory=set)

    def __post_init__(self) -> None:
        frame = self.frame
        self.cells = np.argwhere(frame.may)
        self.link = np.full(frame.may.shape, -1, dtype=np.int32)
        self.link[frame.may] = np.arange(len(self.cells))
        self.entry_row = len(self.cells)
        self.athlete_row = self.entry_row + len(frame.entries)
        self.tie_row = self.athlete_row + len(frame.athletes)
        self.tied: dict[int, list[tuple[int, float]]] = {}
        for i, row in enumerate(self.ties):
            for index, value in zip(row.index.tolist(), row.coefficients.tolist(), strict=True):
                self.tied.setdefault(index, []).append((self.tie_row + i, value))
        self.lp = new_lp(interior=True)
        self.lp.setOptionValue("ipm_optimality_tolerance", ACCURATE)
        self._begin()

    def _begin(self) -> None:
        links, entries, athletes = len(self.cells), len(self.frame.entries), len(self.frame.athletes)
        none, no_values = np.zeros(0, dtype=np.int32), np.zeros(0)
        tie_low, tie_high = np.array([row.low for row in self.ties]), np.array([row.high for row in self.ties])
        low = [np.zeros(links), np.ones(entries), np.full(athletes, -INF), tie_low]
        high = [np.zeros(links), np.ones(entries), np.ones(athletes), tie_high]
        count = links + entries + athletes + len(self.ties)
        self.lp.addRows(count, np.concatenate(low), np.concatenate(high), 0, none, none, no_values)
        rows = np.concatenate([np.arange(links), self.tie_row + np.arange(len(self.ties))]).astype(np.int32)
        boxed = 2 * len(rows)
        values = np.concatenate([np.ones(len(rows)), -np.ones(len(rows))])
        starts = np.arange(boxed, dtype=np.int32)
        free = np.full(boxed, INF)
        self.lp.addCols(boxed, np.zeros(boxed), np.zeros(boxed), free, boxed, starts, np.tile(rows, 2), values)
        for i, row in enumerate(self.ties):
            if row.price_s is not None:
                sign = np.array([-1.0 if row.high < INF else 1.0])
                self.lp.addCol(row.price_s, 0.0, INF, 1, np.array([self.tie_row + i], dtype=np.int32), sign)
        self.boxes = boxed
        self.first = self.lp.getNumCol()

    def box(self, around: Prices, width: float) -> None:
        """Keep prices this close to the given ones: two columns per row that sell and buy it there."""
        centre = np.concatenate([-around.links[self.frame.may], around.ties])
        reach = np.concatenate([np.full(len(self.cells), width), np.full(len(self.ties), TIES_WIDER * width)])
        costs = np.concatenate([reach + centre, reach - centre])
        self.lp.changeColsCost(self.boxes, np.arange(self.boxes, dtype=np.int32), costs)

    def add(self, columns: Sequence[Column]) -> int:
        """Add the columns that are not there yet; count them."""
        fresh = list({column.key: column for column in columns if column.key not in self.known}.values())
        starts: list[int] = []
        index: list[int] = []
        values: list[float] = []
        for column in fresh:
            starts.append(len(index))
            index.append(self.entry_row + column.owner if column.crew else self.athlete_row + column.owner)
            values.append(1.0)
            for athlete, seat in column.where:
                index.append(int(self.link[athlete, seat]))
                values.append(-1.0 if column.crew else 1.0)
            if not column.crew and self.tied:
                total: dict[int, float] = {}
                for athlete, seat in column.where:
                    for row, value in self.tied.get(athlete * len(self.frame.seats) + seat, ()):
                        total[row] = total.get(row, 0.0) + value
                index += total.keys()
                values += total.values()
        count = len(fresh)
        if count:
            costs = np.array([column.cost for column in fresh])
            most = np.full(count, INF)
            where = np.array(index, dtype=np.int32)
            begin = np.array(starts, dtype=np.int32)
            self.lp.addCols(count, costs, np.zeros(count), most, len(index), begin, where, np.array(values))
        self.columns += fresh
        self.known.update(column.key for column in fresh)
        return count

    def solve(self, over: Over) -> tuple[float, Prices]:
        """Solve; return the value and the prices. `reduced` and `boxed` are of the latest solve. Stopped if over."""
        self.lp.clearSolver()
        run(self.lp, over)
        solution = self.lp.getSolution()
        dual = np.array(solution.row_dual)
        links = np.zeros(self.frame.may.shape)
        links[self.frame.may] = -dual[: self.entry_row]
        self.reduced = np.array(solution.col_dual)[self.first :]
        self.boxed = float(np.array(solution.col_value)[: self.boxes].sum())
        return float(self.lp.getObjectiveValue()), Prices(links, dual[self.tie_row :])

    def keep(self, wanted: NDArray[np.bool_]) -> None:
        """Drop the columns that are not wanted, shape (columns,)."""
        gone = (np.flatnonzero(~wanted) + self.first).astype(np.int32)
        if len(gone):
            self.lp.deleteCols(len(gone), gone)
            self.columns = [column for column, stays in zip(self.columns, wanted, strict=True) if stays]
            self.known = {column.key for column in self.columns}
