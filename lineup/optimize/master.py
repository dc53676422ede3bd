"""The relaxation over schedules: one column per athlete and schedule, rows for seats, cuts and limits that tie.

HiGHS solves it, rows and columns being added as they are found.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy import sparse

from lineup.optimize.bench import Bench
from lineup.optimize.frame import EntryFrame, Floats
from lineup.optimize.lp import new_lp, run
from lineup.optimize.pricing import Schedule
from lineup.optimize.rows import INF, Row, worth
from lineup.optimize.stopped import Over

IDLE_PRICE = 1e-7
EMPTY_SEAT_S = 1e4  # what an empty seat costs while no schedule fills it


@dataclass(frozen=True, eq=False)
class Duals:
    """Prices of rows: seats (seats,), athletes (athletes,), others (rows,)."""

    seats: Floats
    athletes: Floats
    rows: Floats

    def blend(self, other: Duals, share: float) -> Duals:
        """Return share of these prices plus the rest of the other's, which may know more rows."""
        rows = np.concatenate([self.rows, np.zeros(len(other.rows) - len(self.rows))])
        return Duals(
            share * self.seats + (1.0 - share) * other.seats,
            share * self.athletes + (1.0 - share) * other.athletes,
            share * rows + (1.0 - share) * other.rows,
        )


@dataclass(eq=False)
class Master:
    """Linear program over schedules.

    Rows: first one per seat, then one per athlete, then `rows` (limits that tie, then cuts). Columns: first one per
    entry (what its stops cost), then one per seat (nobody works it), then one per row with a price (what goes
    beyond), then schedules.
    """

    bench: Bench
    rows: list[Row] = field(default_factory=list)
    entry_of_row: list[int] = field(default_factory=list)  # -1 where the row is no cut
    schedules: list[Schedule] = field(default_factory=list)
    costs: list[float] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.frame = self.bench.frame
        self.size = len(self.frame.athletes) * len(self.frame.seats)
        self.matrix = sparse.csr_array((0, self.size))
        self.columns = sparse.csr_array((0, self.size))
        self.known: set[tuple[int, tuple[int, ...]]] = set()
        self.primal = np.zeros(0)
        none = np.zeros(0)
        self.latest = Duals(none, none, none)
        self.box_columns: NDArray[np.int32] | None = None
        self.schedule_columns: list[int] = []
        self.lp = new_lp()
        self._begin()

    def _begin(self) -> None:
        frame, lp = self.frame, self.lp
        seats, athletes, entries = len(frame.seats), len(frame.athletes), len(frame.entries)
        none = np.array([], dtype=np.int32)
        low = np.concatenate([np.ones(seats), np.full(athletes, -INF)])
        lp.addRows(seats + athletes, low, np.ones(seats + athletes), 0, none, none, np.array([]))
        bounds = np.full(entries, INF)
        lp.addCols(entries, np.ones(entries), -bounds, bounds, 0, none, none, np.array([]))
        costs = np.where(frame.optional, frame.empty_cost - frame.credit, EMPTY_SEAT_S)
        index = np.arange(seats, dtype=np.int32)
        lp.addCols(seats, costs, np.zeros(seats), np.ones(seats), seats, index, index, np.ones(seats))

    # ----------------------------------------------------------------------------------------------------- rows, cuts

    def add_rows(self, rows: Sequence[Row], entries: Sequence[int] | None = None) -> None:
        """Add rows; `entries` names the entry each cut belongs to."""
        if not rows:
            return
        first = len(self.rows)
        fresh = row_matrix(rows, self.size)
        owners = list(entries) if entries is not None else [-1] * len(rows)
        inside = (fresh @ self.columns.T).tocsr() if self.schedules else sparse.csr_array((len(rows), 0))
        starts: list[int] = []
        index: list[int] = []
        values: list[float] = []
        for i, entry in enumerate(owners):
            starts.append(len(index))
            if entry >= 0:
                index.append(entry)
                values.append(1.0)
            span = slice(inside.indptr[i], inside.indptr[i + 1])
            index += [self.schedule_columns[j] for j in inside.indices[span]]
            values += inside.data[span].tolist()
        self.lp.addRows(
            len(rows),
            np.array([row.low for row in rows]),
            np.array([row.high for row in rows]),
            len(index),
            np.array(starts, dtype=np.int32),
            np.array(index, dtype=np.int32),
            np.array(values),
        )
        self.rows += rows
        self.entry_of_row += owners
        self.matrix = sparse.vstack([self.matrix, fresh]).tocsr()
        self._add_beyond(first)

    def _add_beyond(self, first: int) -> None:
        """Give the new rows with a price, and those that a first lineup may break, a column for what goes beyond."""
        offset = len(self.frame.seats) + len(self.frame.athletes)
        for i in range(first, len(self.rows)):
            row = self.rows[i]
            if self.entry_of_row[i] >= 0:
                continue
            price = EMPTY_SEAT_S if row.price_s is None else row.price_s
            sides = [-1.0] if row.high < INF else []
            sides += [1.0] if row.low > -INF else []
            for side in sides:
                self.lp.addCol(price, 0.0, INF, 1, np.array([offset + i], dtype=np.int32), np.array([side]))

    def cut_row(self, entry: EntryFrame, constant: float, coefficients: Floats) -> Row:
        """Return theta[entry] - Σ coefficients x >= constant as a row; coefficients of shape (positions, athletes)."""
        index, values = [np.zeros(0, dtype=np.intp)], [np.zeros(0)]
        for p, k in enumerate(entry.seats):
            able = np.flatnonzero(self.frame.may[:, k])
            own = coefficients[p, able]
            if not self.frame.optional[k] and len(able):
                constant += own.min()
                own = own - own.min()
            index.append(able * len(self.frame.seats) + k)
            values.append(-own)
        return Row(np.concatenate(index), np.concatenate(values), constant, INF)

    # -------------------------------------------------------------------------------------------------------- columns

    def add_schedules(self, schedules: Sequence[Schedule], costs: Sequence[float]) -> int:
        """Add schedules that are not there yet, with their cost (seats' own costs included); count them."""
        fresh = []
        for schedule, cost in zip(schedules, costs, strict=True):
            key = (schedule.athlete, schedule.seats)
            if key not in self.known:
                self.known.add(key)
                fresh.append((schedule, cost))
        if not fresh:
            return 0
        inside = self._indicator([s for s, _ in fresh])
        others = (self.matrix @ inside.T).tocsc() if self.rows else sparse.csc_array((0, len(fresh)))
        seats, athletes = len(self.frame.seats), len(self.frame.athletes)
        starts: list[int] = []
        index: list[int] = []
        values: list[float] = []
        first = self.lp.getNumCol()
        for j, (schedule, _) in enumerate(fresh):
            starts.append(len(index))
            span = slice(others.indptr[j], others.indptr[j + 1])
            index += [*schedule.seats, seats + schedule.athlete, *(others.indices[span] + seats + athletes).tolist()]
            values += [1.0] * (len(schedule.seats) + 1) + others.data[span].tolist()
        count = len(fresh)
        self.lp.addCols(
            count,
            np.array([cost for _, cost in fresh]),
            np.zeros(count),
            np.full(count, INF),
            len(index),
            np.array(starts, dtype=np.int32),
            np.array(index, dtype=np.int32),
            np.array(values),
        )
        self.schedule_columns += range(first, first + count)
        self.schedules += [schedule for schedule, _ in fresh]
        self.costs += [cost for _, cost in fresh]
        self.columns = sparse.vstack([self.columns, inside]).tocsr()
        return count

    def _indicator(self, schedules: Sequence[Schedule]) -> sparse.csr_array:
        index = [s.athlete * len(self.frame.seats) + k for s in schedules for k in s.seats]
        ends = np.cumsum([0, *(len(s.seats) for s in schedules)])
        return sparse.csr_array((np.ones(len(index)), index, ends), shape=(len(schedules), self.size))

    # ------------------------------------------------------------------------------------------------------------ box

    def box(self, seats: Floats, width: float) -> None:
        """Keep prices of seats this close to the given ones: two columns per seat that sell and buy it there."""
        count = len(seats)
        costs = np.concatenate([seats + width, width - seats])
        if self.box_columns is None:
            first = self.lp.getNumCol()
            self.box_columns = np.arange(first, first + 2 * count, dtype=np.int32)
            index = np.concatenate([np.arange(count), np.arange(count)]).astype(np.int32)
            starts = np.arange(2 * count, dtype=np.int32)
            values = np.concatenate([np.ones(count), -np.ones(count)])
            high = np.full(2 * count, INF)
            self.lp.addCols(2 * count, costs, np.zeros(2 * count), high, 2 * count, starts, index, values)
        else:
            self.lp.changeColsCost(2 * count, self.box_columns, costs)

    @property
    def boxed(self) -> float:
        """How much the latest solution leans on the box: 0 once it does not matter."""
        return 0.0 if self.box_columns is None else float(self.primal[self.box_columns].sum())

    def drop_idle_rows(self, best: Duals) -> Duals:
        """Drop cuts without a price, now or in the best prices; return those without the dropped rows."""
        rows = np.concatenate([best.rows, np.zeros(len(self.rows) - len(best.rows))])
        now = np.concatenate([self.latest.rows, np.ones(len(self.rows) - len(self.latest.rows))])
        owners = np.array(self.entry_of_row, dtype=np.intp)
        idle = (owners >= 0) & (np.abs(rows) < IDLE_PRICE) & (np.abs(now) < IDLE_PRICE)
        if idle.any():
            offset = len(self.frame.seats) + len(self.frame.athletes)
            gone = (np.flatnonzero(idle) + offset).astype(np.int32)
            self.lp.deleteRows(len(gone), gone)
            keep = np.flatnonzero(~idle)
            self.rows = [self.rows[i] for i in keep]
            self.entry_of_row = [self.entry_of_row[i] for i in keep]
            self.matrix = self.matrix[keep]
            self.latest = Duals(self.latest.seats, self.latest.athletes, now[keep])
        return Duals(best.seats, best.athletes, rows[~idle])

    # ---------------------------------------------------------------------------------------------------------- solve

    def thetas(self) -> Floats:
        """Return what the stops of each entry cost in the latest solution, shape (entries,)."""
        return self.primal[: len(self.frame.entries)]

    def solve(self, over: Over) -> tuple[float, Floats, Duals]:
        """Solve and return the value, the shares x (athletes, seats) and the prices of rows; raise Stopped if over."""
        run(self.lp, over)
        solution = self.lp.getSolution()
        self.primal = primal = np.array(solution.col_value)
        dual = np.array(solution.row_dual)
        seats, athletes = len(self.frame.seats), len(self.frame.athletes)
        shares = self.columns.T @ primal[self.schedule_columns] if self.schedules else np.zeros(self.size)
        duals = Duals(dual[:seats], dual[seats : seats + athletes], dual[seats + athletes :])
        self.latest = duals
        return self.lp.getObjectiveValue(), shares.reshape(athletes, seats), duals


def row_matrix(rows: Sequence[Row], size: int) -> sparse.csr_array:
    """Coefficients of rows, shape (rows, size)."""
    ends = np.cumsum([0, *(len(row.index) for row in rows)])
    index = np.concatenate([row.index for row in rows])
    values = np.concatenate([row.coefficients for row in rows])
    return sparse.csr_array((values, index, ends), shape=(len(rows), size))


def lagrangian(master: Master, duals: Duals, least: Floats) -> float:
    """Bound on every lineup's cost from any prices, however they were found.

    `least` holds the cheapest schedule of each athlete under those prices, as `Pricing.solve` gives it. Prices of
    cuts must add up to one per entry, and those of rows with a price stay within it: see `mend`.
    """
    frame = master.frame
    empty = np.where(frame.optional, np.minimum(0.0, frame.empty_cost - frame.credit - duals.seats), 0.0)
    return float(duals.seats.sum() + worth(master.rows, duals.rows) + empty.sum() + least.sum())


def mend(master: Master, duals: Duals) -> Duals:
    """Make prices fit for `lagrangian`: signs, sums over each entry's cuts, prices of what goes beyond."""
    rows = np.array([row.fit(price) for row, price in zip(master.rows, duals.rows, strict=True)])
    owners = np.array(master.entry_of_row, dtype=np.intp)
    cuts = owners >= 0
    total = np.bincount(owners[cuts], weights=rows[cuts], minlength=len(master.frame.entries))
    rows[cuts] = rows[cuts] / np.maximum(total, 1e-12)[owners[cuts]]
    for entry in np.unique(owners[cuts]):
        if total[entry] < 1e-9:  # no price on any cut: take the entry's first
            rows[np.flatnonzero(owners == entry)[0]] = 1.0
    return Duals(duals.seats, duals.athletes, rows)


def seat_prices(master: Master, duals: Duals) -> Floats:
    """Return what each seat costs each athlete at these prices, shape (athletes, seats); inf where he may not."""
    others = (master.matrix.T @ duals.rows).reshape(master.frame.may.shape)
    return np.where(master.frame.may, master.frame.cost - others - duals.seats[None, :], np.inf)
