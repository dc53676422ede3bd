"""How fast: each cell's own level, its pool, and what practice, tryout, tire and being new to a position add."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lineup.skills.arrays import Floats, Ints
from lineup.skills.assumptions import Assumptions
from lineup.skills.grades import SETTINGS, Cells, Rows
from lineup.skills.mixed import MixedFit, Prior, SpreadPrior, fit_mixed
from lineup.skills.pooling import pool_levels

_LOOSE_SD = 0.3  # a split's own effect before splits are compared
_NEWCOMER = -1  # last column of the effects


@dataclass(frozen=True)
class Levels:
    """Levels on the scale of each cell, in a race on the reference tire.

    Per cell: `own` level and `own_variance` (infinite without a grade), `centre` its pool expects and
    `centre_variance`, `scale` of athletes around it. Per pool: `mean`, `mean_variance`, `between`.
    `effect`: per pool and column (practice, tryout, each tire in turn, newcomer), shape (pools, columns).
    """

    own: Floats
    own_variance: Floats
    centre: Floats
    centre_variance: Floats
    scale: Floats
    mean: Floats
    mean_variance: Floats
    between: Floats
    effect: Floats


def effect_columns(rows: Rows, cells: Cells, reference: int) -> Floats:
    """Which effects each row carries, shape (rows, 2 + tires + 1); those of race and reference tire stay zero."""
    settings = [rows.setting == SETTINGS.index(name) for name in SETTINGS[1:]]
    heavy = cells.load[cells.pool[rows.cell]]
    tires = [(rows.tire == t) & heavy & (t != reference) for t in range(len(rows.tires))]
    return np.column_stack([*settings, *tires, cells.newcomer[rows.cell]]).astype(np.float64)


def fit_levels(cells: Cells, cell: Ints, x: Floats, columns: Floats, precision: Floats, beliefs: Assumptions) -> Levels:
    """Fit every split: pool means, spread between athletes, effects pooled over splits, own levels.

    Parameters
    ----------
    cell, x, precision : cell, value on its scale and 1 / noise variance of each row; shape (rows,).
    columns : effects each row carries, shape (rows, effects).
    """
    splits = _splits(cells)
    parts = [np.flatnonzero(np.isin(cells.pool[cell], pools)) for pools in splits]
    fits = [_Part(cells, pools, part, cell, x, columns, precision) for pools, part in zip(splits, parts, strict=True)]
    effects = columns.shape[1]
    mean, sd = np.zeros(effects), np.full(effects, _LOOSE_SD)
    typical = SpreadPrior(beliefs.typical_between, beliefs.between_evidence)
    first = [part.fit(mean, sd, typical, beliefs) for part in fits]
    typical = SpreadPrior(_typical(fits, first, beliefs.typical_between), beliefs.between_evidence)
    common = {kind: _pool_effects(fits, first, kind, beliefs) for kind in {part.kind for part in fits}}
    last = [part.fit(*common[part.kind], typical, beliefs) for part in fits]
    return _collect(cells, fits, last, effects, beliefs)


def _splits(cells: Cells) -> list[Ints]:
    """Pools of each split: positions that share a split share its effects and its spread between athletes."""
    names: dict[str, list[int]] = {}
    for number, (_, split) in enumerate(cells.pools):
        names.setdefault(split, []).append(number)
    return [np.array(pools, dtype=np.intp) for pools in names.values()]


class _Part:
    """The rows of one split, ready to be fitted; effects are centred so that pool means hold at the usual mix."""

    def __init__(
        self, cells: Cells, pools: Ints, part: Ints, cell: Ints, x: Floats, columns: Floats, precision: Floats
    ) -> None:
        self.pools, self.nominal = pools, cells.nominal[pools]
        self.kind = bool(cells.log[pools[0]]), cells.pools[pools[0]][0] == ""  # scale, and whether it is the car's
        self.cells, self.group = np.unique(cell[part], return_inverse=True)
        self.x, self.precision = x[part], precision[part]
        self.newcomer = cells.newcomer[self.cells]
        raw = columns[part]
        total = max(float(self.precision.sum()), 1e-12)
        self.usual = self.precision @ raw / total
        self.usual[_NEWCOMER] = 0.0
        self.raw, self.centred = raw, raw - self.usual
        self.intercepts = (cells.pool[cell[part]][:, None] == pools).astype(np.float64)

    def fit(self, mean: Floats, sd: Floats, typical: SpreadPrior, beliefs: Assumptions) -> MixedFit:
        shift = self.usual @ mean
        prior = Prior(
            np.concatenate([self.nominal + shift, mean]),
            np.concatenate([np.full(len(self.pools), beliefs.nominal_sd**-2), sd**-2]),
        )
        multiple = np.where(self.newcomer, beliefs.newcomer_variance, 1.0)
        return fit_mixed(
            self.x,
            np.column_stack([self.intercepts, self.centred]),
            self.group,
            self.precision,
            prior=prior,
            between_prior=typical,
            multiple=multiple,
            james_stein=True,
        )

    def per_cell(self, values: Floats) -> Floats:
        """Precision-weighted mean of a row value in each cell of the split."""
        total = np.bincount(self.group, weights=self.precision)
        means: Floats = np.bincount(self.group, weights=self.precision * values) / total
        return means


def _typical(parts: list[_Part], fits: list[MixedFit], believed: float) -> float:
    """Typical spread between athletes: the median over splits with several athletes."""
    seen = [fit.between for part, fit in zip(parts, fits, strict=True) if len(part.cells) >= 4]
    return float(np.median([*seen, believed]))


def _pool_effects(
    parts: list[_Part], fits: list[MixedFit], kind: tuple[bool, bool], beliefs: Assumptions
) -> tuple[Floats, Floats]:
    """Pool each effect over the splits of one kind; return its common value and how far a split may differ."""
    before_mean = np.zeros(parts[0].raw.shape[1])
    before_sd = np.full(len(before_mean), beliefs.effect_sd)
    before_mean[_NEWCOMER], before_sd[_NEWCOMER] = beliefs.newcomer_slower, beliefs.newcomer_slower_sd
    mean, sd = before_mean.copy(), np.hypot(before_sd, beliefs.effect_differs_sd)
    for column in range(len(mean)):
        values, variances = [], []
        for part, fit in zip(parts, fits, strict=True):
            at = len(part.pools) + column
            precision = 1 / fit.cov[at, at] - _LOOSE_SD**-2
            if part.kind == kind and precision > 0.1 * _LOOSE_SD**-2:
                values.append(fit.beta[at] / fit.cov[at, at] / precision)
                variances.append(1 / precision)
        if values:
            common = pool_levels(
                np.array(values),
                np.array(variances),
                mean_prior=(float(before_mean[column]), float(before_sd[column])),
                between_prior=SpreadPrior(beliefs.effect_differs_sd, beliefs.between_evidence),
            )
            mean[column], sd[column] = common.beta[0], np.hypot(common.between, np.sqrt(common.cov[0, 0]))
    return mean, sd


def _collect(cells: Cells, parts: list[_Part], fits: list[MixedFit], effects: int, beliefs: Assumptions) -> Levels:
    own, own_variance = np.zeros(len(cells.keys)), np.full(len(cells.keys), np.inf)
    mean, mean_variance, between = (np.zeros(len(cells.pools)) for _ in range(3))
    effect, newcomer_variance = np.zeros((len(cells.pools), effects)), np.zeros(len(cells.pools))
    for part, fit in zip(parts, fits, strict=True):
        delta, cov = fit.beta[len(part.pools) :], fit.cov[len(part.pools) :, len(part.pools) :]
        effect[part.pools] = delta
        mean[part.pools] = fit.beta[: len(part.pools)] - part.usual @ delta
        mean_variance[part.pools] = np.diag(fit.cov)[: len(part.pools)]
        between[part.pools] = fit.between
        newcomer_variance[part.pools] = cov[_NEWCOMER, _NEWCOMER]
        if not len(part.cells):
            continue
        own[part.cells] = part.per_cell(part.x - part.raw[:, :_NEWCOMER] @ delta[:_NEWCOMER])
        unusual = np.column_stack([part.per_cell(column) for column in part.centred[:, :_NEWCOMER].T])
        doubt = np.einsum("ci,ij,cj->c", unusual, cov[:_NEWCOMER, :_NEWCOMER], unusual)
        own_variance[part.cells] = 1 / np.bincount(part.group, weights=part.precision) + doubt
    new = cells.newcomer
    return Levels(
        own=own,
        own_variance=own_variance,
        centre=mean[cells.pool] + np.where(new, effect[cells.pool, _NEWCOMER], 0.0),
        centre_variance=mean_variance[cells.pool] + np.where(new, newcomer_variance[cells.pool], 0.0),
        scale=between[cells.pool] * np.where(new, np.sqrt(beliefs.newcomer_variance), 1.0),
        mean=mean,
        mean_variance=mean_variance,
        between=between,
        effect=effect,
    )
