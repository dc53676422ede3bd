"""How consistent: each cell's spread from stop to stop, pooled on the scale of ln variance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lineup.skills.arrays import Floats, Ints, group_sums
from lineup.skills.assumptions import Assumptions
from lineup.skills.grades import Cells
from lineup.skills.mixed import SpreadPrior
from lineup.skills.nested import Blocks, pool_cells
from lineup.skills.pooling import log_variances, pool_levels

_LEAST_FREEDOM = 0.5  # a record thinner than this says nothing of consistency
_LOOSE_SD = 1.0  # of a pool's mean ln variance around the typical one


@dataclass(frozen=True)
class Spreads:
    """Noise variance of each cell, and the typical one of each pool; in units squared."""

    variance: Floats
    pool_variance: Floats


def fit_spreads(
    cells: Cells, blocks: Blocks, cell: Ints, residual: Floats, weight: Floats, beliefs: Assumptions
) -> Spreads:
    """Estimate spreads from residuals (rows without a miss, level not yet taken out) and their weights."""
    values, variances = _own(len(cells.keys), cell, residual, weight, beliefs.least_spread)
    seen = np.isfinite(variances)
    typical = 2 * np.log(beliefs.typical_spread)
    if seen.any():
        common = pool_levels(
            values[seen],
            variances[seen],
            mean_prior=(typical, _LOOSE_SD),
            between_prior=SpreadPrior(beliefs.typical_unevenness, beliefs.between_evidence),
        )
        typical = float(common.beta[0])
    mean, doubt, between = (np.zeros(len(cells.pools)) for _ in range(3))
    for pool in range(len(cells.pools)):
        part = seen & (cells.pool == pool)
        fit = pool_levels(
            values[part],
            variances[part],
            mean_prior=(typical, _LOOSE_SD),
            between_prior=SpreadPrior(beliefs.typical_unevenness, beliefs.between_evidence),
        )
        mean[pool], doubt[pool], between[pool] = fit.beta[0], fit.cov[0, 0], fit.between
    believed = (beliefs.correlation, beliefs.correlation_other)
    at = cells.pool
    found = pool_cells(blocks, values, variances, mean[at], doubt[at], between[at], believed)
    variance = np.exp(found.mean + np.minimum(found.variance, 1.0) / 2)
    return Spreads(np.maximum(variance, beliefs.least_spread**2), np.exp(mean))


def _own(cells: int, cell: Ints, residual: Floats, weight: Floats, least: float) -> tuple[Floats, Floats]:
    """Each cell's own ln variance and its sampling variance (infinite where the record is too thin)."""
    w, w2 = group_sums(cell, weight, cells), group_sums(cell, weight**2, cells)
    safe = np.where(w > 0, w, 1.0)
    centre = group_sums(cell, weight * residual, cells) / safe
    squares = group_sums(cell, weight * (residual - centre[cell]) ** 2, cells)
    room = np.maximum(w - w2 / safe, 1e-12)  # expected weighted square is variance times this
    freedom = w * (1 - w2 / safe**2)
    thick = freedom >= _LEAST_FREEDOM
    variance, freedom = np.maximum(squares / room, least**2), np.where(thick, freedom, 1.0)
    values, sampling = log_variances(variance * freedom, freedom)
    return np.where(thick, values, 0.0), np.where(thick, sampling, np.inf)
