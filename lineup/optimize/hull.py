"""Cuts at the crew level: the tightest linear bounds on what whole crews' stops cost.

A cut that touches at shares of athletes lets their luck and their strengths average out, which no crew can. These
cuts do not: at given shares they are as high as the cheapest mix of whole crews with those shares (the convex hull
of all crews and their costs). The mix is found by adding crews one at a time; every crew of the candidates, not only
those added, is then known to cost at least the cut, because all of them lie in one table: the exact cost where it is
known, else the highest cut so far.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from lineup.optimize.crews import CrewValues
from lineup.optimize.cuts import CutPool
from lineup.optimize.frame import EMPTY, EntryFrame, Floats, Ints
from lineup.optimize.lp import new_lp
from lineup.optimize.rows import INF

MOST_CREWS = 4_000_000  # cells of a table; beyond it there are no such cuts
LEAST_SHARE = 0.02  # smaller shares do not make a candidate of the mix
ROUNDS = 60
EACH_ROUND = 80  # crews made exact per round
CLOSE_S = 0.002  # how far below its crews a cut may stay, per unit of weight
CUTS_FIRST = 60
SETTLE_ROUNDS = 3  # times the crews that hold a price down are made exact


@dataclass(eq=False)
class CrewTable:
    """Bounds from below on every crew of a race's candidates, per unit of priority; shape (candidates, ...).

    Axis p counts the candidates of position p; where the seat may stay empty, the last one is nobody.
    """

    values: CrewValues
    entry: EntryFrame
    candidates: list[Ints]
    table: Floats = field(init=False)
    exact: NDArray[np.bool_] = field(init=False)

    def __post_init__(self) -> None:
        shape = tuple(len(c) for c in self.candidates)
        self.table = np.full(shape, -np.inf)
        self.exact = np.zeros(shape, dtype=np.bool_)

    def lift(self, constant: float, coefficients: Floats) -> None:
        """Raise the cells that a linear bound, coefficients of shape (positions, athletes), knows better."""
        bound = np.asarray(constant)
        for p, able in enumerate(self.candidates):
            own = np.where(able == EMPTY, 0.0, coefficients[p, able])
            bound = bound + own.reshape([-1 if q == p else 1 for q in range(len(self.candidates))])
        np.maximum(self.table, bound, out=self.table, where=~self.exact)

    def settle(self, cells: Ints, weights: Floats) -> None:
        """Compute cells, given flat, exactly."""
        cells = cells[~self.exact.flat[cells]]
        if not len(cells):
            return
        places = np.unravel_index(cells, self.table.shape)
        rows = np.stack([able[place] for able, place in zip(self.candidates, places, strict=True)], axis=1)
        crews = [tuple(row) for row in rows.tolist()]
        self.table.flat[cells] = self.values.unit_costs(self.entry.kind, crews) @ weights
        self.exact.flat[cells] = True


class HullCuts:
    """Makes such cuts for entries; entries with the same services, counts and candidates share a table."""

    def __init__(self, pool: CutPool) -> None:
        self.pool = pool
        self.values = pool.values
        self.frame = pool.values.frame
        self._tables: dict[tuple[int, tuple[float, ...], tuple[tuple[int, ...], ...]], CrewTable] = {}

    def table_of(self, entry: EntryFrame) -> CrewTable | None:
        """Return the table an entry uses; None where it would be too large."""
        candidates = []
        for k in entry.seats:
            able = np.flatnonzero(self.frame.may[:, k])
            candidates.append(np.append(able, EMPTY) if self.frame.optional[k] else able)
        if np.prod([float(len(c)) for c in candidates]) > MOST_CREWS or any(not len(c) for c in candidates):
            return None
        counts = tuple(np.round(self._counts(entry), 9).tolist())
        key = (entry.kind, counts, tuple(tuple(c.tolist()) for c in candidates))
        if key not in self._tables:
            table = self._tables[key] = CrewTable(self.values, entry, candidates)
            for cut in self.pool.by_kind.get(entry.kind, [])[-CUTS_FIRST:]:
                weights = self._counts(entry)
                table.lift(float(cut.constant @ weights), np.tensordot(weights, cut.coefficients, axes=1))
        return self._tables[key]

    def _counts(self, entry: EntryFrame) -> Floats:
        return entry.weights / self.frame.problem.pricer.priority[entry.car]

    def cut(self, entry: EntryFrame, shares: Floats) -> tuple[float, Floats] | None:
        """Return constant and coefficients, shape (positions, athletes), of a cut at shares of the same shape."""
        if entry.kind not in self.pool.by_kind:  # a table needs some bound on every crew to begin with
            self.pool.at_mix(entry.kind, shares)
        table = self.table_of(entry)
        if table is None:
            return None
        pairs = zip(table.candidates, shares, strict=True)
        mix = [np.where(c == EMPTY, max(0.0, 1.0 - row.sum()), row[c]) for c, row in pairs]
        support = [np.flatnonzero(m > LEAST_SHARE) for m in mix]
        if any(not len(s) for s in support):
            return None
        mix = [m[s] / m[s].sum() for m, s in zip(mix, support, strict=True)]
        weights = self._counts(entry)
        prices = _Mix(table, weights, support, mix).solve()
        full = _lift(table, weights, support, prices)
        return self._linear(entry, table, full)

    def _linear(self, entry: EntryFrame, table: CrewTable, prices: list[Floats]) -> tuple[float, Floats]:
        """Prices of candidates as constant and coefficients, the entry's priority included."""
        constant, coefficients = 0.0, np.zeros((len(prices), len(self.frame.athletes)))
        for p, (own, able) in enumerate(zip(prices, table.candidates, strict=True)):
            base = float(own[able == EMPTY].sum())
            constant += base
            coefficients[p, able[able != EMPTY]] = own[able != EMPTY] - base
        priority = self.frame.problem.pricer.priority[entry.car]
        return priority * constant, priority * coefficients


class _Mix:
    """The cheapest mix of whole crews with given shares: a small linear program whose columns are crews."""

    def __init__(self, table: CrewTable, weights: Floats, support: list[Ints], mix: list[Floats]) -> None:
        self.table, self.weights, self.support, self.mix = table, weights, support, mix
        self.shape = tuple(len(s) for s in support)
        self.offset = np.cumsum([0, *self.shape])[:-1]
        self.cells = np.ravel_multi_index(np.ix_(*support), table.table.shape)
        self.lp = new_lp()
        shares = np.concatenate(mix)
        none = np.array([], dtype=np.int32)
        self.lp.addRows(len(shares), shares, shares, 0, none, none, np.array([]))
        self.known: set[int] = set()

    def solve(self) -> list[Floats]:
        """Prices of the candidates in the mix, by position; no crew of theirs costs less than its prices add up to."""
        self._add(self._first())
        for _ in range(ROUNDS):
            self.lp.run()
            prices = np.array(self.lp.getSolution().row_dual)
            slack = self.table.table.flat[self.cells] - self._sum(prices)
            flat = slack.ravel()
            if flat.min() >= -CLOSE_S * self.weights.sum():
                break
            worst = np.argpartition(flat, min(EACH_ROUND, len(flat) - 1))[:EACH_ROUND]
            self._add(worst[flat[worst] < 0])
        slack = self.table.table.flat[self.cells] - self._sum(prices)
        by_position = np.split(prices, self.offset[1:])
        by_position[0] = by_position[0] + min(0.0, float(slack.min()))
        return by_position

    def _first(self) -> Ints:
        """Crews that have the shares: each takes as much as is left of its members in order of share."""
        left = [m.copy() for m in self.mix]
        place = [0] * len(left)
        crews = []
        while all(i < len(m) for i, m in zip(place, left, strict=True)):
            crews.append(int(np.ravel_multi_index(tuple(place), self.shape)))
            most = min(m[i] for i, m in zip(place, left, strict=True))
            for p, m in enumerate(left):
                m[place[p]] -= most
                if m[place[p]] <= 1e-12:
                    place[p] += 1
        return np.array(crews, dtype=np.intp)

    def _sum(self, prices: Floats) -> Floats:
        total: Floats = np.zeros(())
        for p, own in enumerate(np.split(prices, self.offset[1:])):
            total = total + own.reshape([-1 if q == p else 1 for q in range(len(self.shape))])
        return total

    def _add(self, crews: Ints) -> None:
        cells = self.cells.ravel()[crews]
        self.table.settle(cells, self.weights)
        places = np.stack(np.unravel_index(crews, self.shape), axis=1) + self.offset
        for crew, cell, rows in zip(crews.tolist(), cells.tolist(), places, strict=True):
            if crew not in self.known:
                self.known.add(crew)
                cost = float(self.table.table.flat[cell])
                self.lp.addCol(cost, 0.0, INF, len(rows), rows.astype(np.int32), np.ones(len(rows)))


def _lift(table: CrewTable, weights: Floats, support: list[Ints], prices: list[Floats]) -> list[Floats]:
    """Give every candidate outside the mix the highest price that no crew of his undercuts, position by position."""
    full = [np.full(len(c), -np.inf) for c in table.candidates]
    for own, chosen, known in zip(full, support, prices, strict=True):
        own[chosen] = known
    axes = list(support)
    for p, own in enumerate(full):
        others = np.flatnonzero(np.isneginf(own))
        axes[p] = others
        if len(others):
            own[others] = _highest(table, weights, axes, full, p)
        axes[p] = np.arange(len(own))
    return full


def _highest(table: CrewTable, weights: Floats, axes: list[Ints], full: list[Floats], p: int) -> Floats:
    """Least of cost minus the other positions' prices, for each candidate of axis p; shape (candidates,)."""
    cells = np.ravel_multi_index(np.ix_(*axes), table.table.shape)
    total: Floats = np.zeros(())
    for q, chosen in enumerate(axes):
        if q != p:
            total = total + full[q][chosen].reshape([-1 if i == q else 1 for i in range(len(axes))])
    cells = np.moveaxis(cells, p, 0).reshape(len(axes[p]), -1)
    total = np.moveaxis(np.broadcast_to(total, [len(a) for a in axes]), p, 0).reshape(len(axes[p]), -1)
    for _ in range(SETTLE_ROUNDS):
        slack = table.table.flat[cells] - total
        least = slack.argmin(axis=1)
        table.settle(cells[np.arange(len(least)), least], weights)
    return np.asarray((table.table.flat[cells] - total).min(axis=1))
