"""What practice, tryout and tires add to a time, and each athlete's own level once that is taken out."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lineup.skills.arrays import Floats, Ints, group_sums
from lineup.skills.assumptions import Assumptions
from lineup.skills.grades import SETTINGS, Cells, Rows
from lineup.skills.mixed import SpreadPrior
from lineup.skills.pooling import pool_levels

_LOOSE_SD = 0.3  # a split's own effect before splits are compared
_TELLING = 1.0  # precision from which a split tells anything of an effect


@dataclass(frozen=True)
class OwnLevels:
    """Each cell's own level in a race on the reference tire, before any pooling.

    Shape (cells,): `level` and its `variance` (infinite without a grade). `effect`: per pool and column (practice,
    tryout, each tire in turn), shape (pools, columns).
    """

    level: Floats
    variance: Floats
    effect: Floats


def effect_columns(rows: Rows, cells: Cells, reference: int) -> Floats:
    """Which effects each row carries, shape (rows, 2 + tires); those of race and reference tire stay zero."""
    settings = [rows.setting == SETTINGS.index(name) for name in SETTINGS[1:]]
    heavy = cells.load[cells.pool[rows.cell]]
    tires = [(rows.tire == t) & heavy & (t != reference) for t in range(len(rows.tires))]
    return np.column_stack([*settings, *tires]).astype(np.float64)


def own_levels(
    cells: Cells, cell: Ints, x: Floats, columns: Floats, precision: Floats, beliefs: Assumptions
) -> OwnLevels:
    """Fit the effects of each split, leaning on the other splits of its kind, and take them out.

    Parameters
    ----------
    cell, x, precision : cell, value on its scale and 1 / noise variance of each row; shape (rows,).
    columns : effects each row carries, shape (rows, effects).
    """
    pools = [np.flatnonzero([split == name for _, split in cells.pools]) for name in cells.splits]
    rows = [np.flatnonzero(np.isin(cells.pool[cell], some)) for some in pools]
    parts = [_Part(cell[at], x[at], columns[at], precision[at]) for at in rows]
    loose = [part.effects(np.zeros(columns.shape[1]), np.full(columns.shape[1], _LOOSE_SD)) for part in parts]
    kinds = [(bool(cells.log[some[0]]), cells.pools[some[0]][0] == "") for some in pools]  # scale; whether the car's
    common = {
        kind: _pool_effects([found for found, its in zip(loose, kinds, strict=True) if its == kind], beliefs)
        for kind in set(kinds)
    }
    effect = np.zeros((len(cells.pools), columns.shape[1]))
    level, variance = np.zeros(len(cells.keys)), np.full(len(cells.keys), np.inf)
    for part, some, kind in zip(parts, pools, kinds, strict=True):
        effect[some], cov = part.effects(*common[kind])
        level[part.cells], variance[part.cells] = part.own(effect[some[0]], cov)
    return OwnLevels(level, variance, effect)


class _Part:
    """The rows of one split; positions that share a split share its effects.

    Effects come from comparing an athlete with himself alone. Who works which setting is no accident (the best work
    the races), so comparing athletes with each other would take part of their skill for the setting's.
    """

    def __init__(self, cell: Ints, x: Floats, columns: Floats, precision: Floats) -> None:
        self.cells, self._group = np.unique(cell, return_inverse=True)
        self._precision = precision
        self._total = group_sums(self._group, precision, len(self.cells))
        self._x, self._mix = self._mean(x), np.column_stack([self._mean(column) for column in columns.T])
        self._usual = precision @ columns / max(float(precision.sum()), 1e-12)
        within = columns - self._mix[self._group]
        self._information = within.T @ (precision[:, None] * within)
        self._right = within.T @ (precision * (x - self._x[self._group]))

    def effects(self, mean: Floats, sd: Floats) -> tuple[Floats, Floats]:
        """Effects and their covariance, given what is believed of each."""
        cov = np.asarray(np.linalg.inv(self._information + np.diag(sd**-2)), dtype=np.float64)
        return cov @ (self._right + mean * sd**-2), cov

    def own(self, delta: Floats, cov: Floats) -> tuple[Floats, Floats]:
        """Each cell's own level and its variance; doubt about effects counts as far as the cell's mix is unusual."""
        unusual = self._mix - self._usual
        doubt = np.einsum("ci,ij,cj->c", unusual, cov, unusual)
        return self._x - self._mix @ delta, 1 / self._total + doubt

    def _mean(self, values: Floats) -> Floats:
        """Precision-weighted mean of a row value in each cell."""
        means: Floats = group_sums(self._group, self._precision * values, len(self.cells)) / self._total
        return means


def _pool_effects(found: list[tuple[Floats, Floats]], beliefs: Assumptions) -> tuple[Floats, Floats]:
    """Pool each effect over splits; return its common value and how far a split may differ."""
    columns = len(found[0][0])
    mean = np.zeros(columns)
    sd = np.full(columns, np.hypot(beliefs.effect_sd, beliefs.effect_differs_sd))
    for column in range(columns):
        known = [(delta[column] / cov[column, column], cov[column, column]) for delta, cov in found]
        told = [(value, 1 / cov - _LOOSE_SD**-2) for value, cov in known if 1 / cov - _LOOSE_SD**-2 > _TELLING]
        if told:
            values, precisions = np.array(told).T
            common = pool_levels(
                values / precisions,
                1 / precisions,
                mean_prior=(0.0, beliefs.effect_sd),
                between_prior=SpreadPrior(beliefs.effect_differs_sd, beliefs.between_evidence),
            )
            mean[column], sd[column] = common.beta[0], np.hypot(common.between, np.sqrt(common.cov[0, 0]))
    return mean, sd
