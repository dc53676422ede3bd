"""The plain relaxation: shares of athletes in seats, without schedules. Its cuts and prices start the better one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import sparse

from lineup.optimize.bench import Bench
from lineup.optimize.cuts import KindCut, uniform_mix
from lineup.optimize.frame import EntryFrame, Floats, Ints
from lineup.optimize.lp import new_lp, run
from lineup.optimize.rows import INF
from lineup.optimize.stopped import Over

ENOUGH = 1e-4  # stop adding cuts when they lift the value by less than this share

MOST_IN_RUNS = 300_000  # shares that limits on weekends in a row may name, counted each time; beyond, they take minutes


@dataclass(frozen=True, eq=False)
class PlainResult:
    """Value, shares (athletes, seats), prices of seats, and per cut: its entry, itself, its price."""

    value: float
    shares: Floats
    seat_prices: Floats
    cuts: tuple[tuple[EntryFrame, KindCut, float], ...]


class Plain:
    """Linear program over shares; cuts are added until they stop biting."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.frame = bench.frame
        self.athletes, self.seats = np.nonzero(self.frame.may)
        self.column = np.full(self.frame.may.shape, -1, dtype=np.intp)
        self.column[self.athletes, self.seats] = np.arange(len(self.athletes))
        self.cuts: list[tuple[EntryFrame, KindCut]] = []
        self.lp = new_lp(interior=True)
        self.heavy = False
        self._begin()

    def _begin(self) -> None:
        frame, lp = self.frame, self.lp
        none, free = np.array([], dtype=np.int32), np.full(len(frame.entries), INF)
        count = len(self.athletes)
        lp.addCols(
            count, frame.cost[self.athletes, self.seats], np.zeros(count), np.ones(count), 0, none, none, np.array([])
        )
        lp.addCols(len(free), np.ones(len(free)), -free, free, 0, none, none, np.array([]))
        columns = np.arange(count)
        size = len(frame.seats)
        low = np.where(frame.optional, 0.0, 1.0)
        self._rows(_ones(self.seats, columns, size, count), low, np.ones(size))
        race = frame.seat_race[self.seats]
        groups = self.athletes * len(frame.problem.races) + race
        limits = len(frame.athletes) * len(frame.problem.races)
        self._rows(_ones(groups, columns, limits, count), np.full(limits, -INF), np.ones(limits))
        self._runs(count)

    def _runs(self, count: int) -> None:
        """Hard limits on weekends in a row, where each weekend has one race; not where they would outweigh the rest."""
        found = []
        for a, athlete in enumerate(self.frame.athletes):
            own = np.flatnonzero(self.athletes == a)
            for window in self.bench.problem.rules.windows(athlete):
                if window.price_s is not None or window.most is None or any(len(g) > 1 for g in window.groups):
                    continue
                races = [self.frame.race_number[race] for (race,) in window.groups]
                inside = own[np.isin(self.frame.seat_race[self.seats[own]], races)]
                found.append((inside, max(0.0, float(window.most))))
        self.heavy = sum(len(inside) for inside, _ in found) > MOST_IN_RUNS
        if not found or self.heavy:
            return
        rows = np.concatenate([np.full(len(inside), i) for i, (inside, _) in enumerate(found)])
        matrix = _ones(rows, np.concatenate([inside for inside, _ in found]), len(found), count)
        self._rows(matrix, np.full(len(found), -INF), np.array([most for _, most in found]))

    def _rows(self, matrix: sparse.csr_array, low: Floats, high: Floats) -> None:
        self.lp.addRows(
            matrix.shape[0],
            low,
            high,
            matrix.nnz,
            matrix.indptr[:-1].astype(np.int32),
            matrix.indices.astype(np.int32),
            matrix.data,
        )

    def add_cut(self, entry: EntryFrame, cut: KindCut) -> None:
        """Add a cut to an entry."""
        constant, coefficients = cut.for_entry(entry)
        index, values = [np.array([len(self.athletes) + entry.number])], [np.ones(1)]
        for p, k in enumerate(entry.seats):
            able = np.flatnonzero(self.frame.may[:, k])
            own = coefficients[p, able]
            if not self.frame.optional[k] and len(able):
                constant, own = constant + own.min(), own - own.min()
            index.append(self.column[able, k])
            values.append(-own)
        columns = np.concatenate(index).astype(np.int32)
        self.lp.addRow(constant, INF, len(columns), columns, np.concatenate(values))
        self.cuts.append((entry, cut))

    def solve(self, over: Over, rounds: int) -> PlainResult:
        """Add cuts at the shares until they stop biting; a heavy program is solved once. Raises Stopped if over."""
        for entry in self.frame.entries:
            if entry.kind not in self.bench.pool.by_kind:
                self.bench.pool.at_mix(entry.kind, uniform_mix(entry, self.frame.may))
            for cut in self.bench.pool.by_kind[entry.kind]:
                self.add_cut(entry, cut)
        last = -INF
        for number in range(rounds):
            run(self.lp, over)
            value = self.lp.getObjectiveValue()
            if self.heavy or value - last <= ENOUGH * abs(value) or number == rounds - 1:
                break
            last = value
            shares = self._shares()
            for entry in self.frame.entries:
                self.add_cut(entry, self.bench.pool.at_mix(entry.kind, shares[:, entry.seats].T))
        return self._result()

    def _shares(self) -> Floats:
        shares = np.zeros(self.frame.may.shape)
        values = np.array(self.lp.getSolution().col_value)[: len(self.athletes)]
        shares[self.athletes, self.seats] = np.clip(values, 0.0, 1.0)
        return shares

    def _result(self) -> PlainResult:
        prices = np.array(self.lp.getSolution().row_dual)
        cut_prices = prices[len(prices) - len(self.cuts) :]
        cuts = tuple((entry, cut, float(p)) for (entry, cut), p in zip(self.cuts, cut_prices, strict=True))
        return PlainResult(self.lp.getObjectiveValue(), self._shares(), prices[: len(self.frame.seats)], cuts)


def _ones(rows: Ints, columns: Ints, height: int, width: int) -> sparse.csr_array:
    return sparse.csr_array((np.ones(len(rows)), (rows, columns)), shape=(height, width))


def active(result: PlainResult) -> Sequence[tuple[EntryFrame, KindCut, float]]:
    """Cuts that hold the value up."""
    return [(entry, cut, price) for entry, cut, price in result.cuts if price > 1e-9]
