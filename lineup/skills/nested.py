"""What an athlete's records in some splits and positions say about the others: correlated effects, shrunk.

Effects relative to each pool, in units of the pool's spread, have correlation `same` between splits of one position
and `other` between positions (other <= same). Both are estimated; the best linear prediction follows from them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize
from scipy.special import expit, logit

from lineup.skills.arrays import Bools, Floats, Ints

_UNKNOWN = 1e8  # sampling variance of a cell without a record
_STRENGTH = 0.7  # sd of the belief about each correlation, on the logit scale


@dataclass(frozen=True)
class Blocks:
    """Cells (one per athlete, position and split) laid out per athlete, padded to the longest.

    `slot` has shape (athletes, width): the cell's index, or -1. `same_position` and `real` mark pairs of cells.
    """

    slot: Ints
    same_position: Bools
    real: Bools

    @classmethod
    def of(cls, athlete: Ints, position: Ints) -> Blocks:
        """Lay out cells by the athlete and the position of each."""
        order = np.argsort(athlete, kind="stable")
        counts = np.bincount(athlete)
        slot = np.full((len(counts), int(counts.max(initial=1))), -1, dtype=np.intp)
        place = np.arange(len(order)) - np.repeat(np.cumsum(counts) - counts, counts)
        slot[athlete[order], place] = order
        where = position[slot]
        real = (slot >= 0)[:, :, None] & (slot >= 0)[:, None, :]
        return cls(slot, real & (where[:, :, None] == where[:, None, :]), real)

    def spread(self, values: Floats, empty: float) -> Floats:
        """Lay out one value per cell; shape (athletes, width)."""
        return np.where(self.slot >= 0, values[self.slot], empty)

    def correlations(self, same: float, other: float) -> Floats:
        """Correlation matrices of all athletes, shape (athletes, width, width)."""
        matrix = np.where(self.same_position, same, np.where(self.real, other, 0.0))
        np.einsum("aii->ai", matrix)[:] = 1.0
        return matrix


@dataclass(frozen=True)
class Carried:
    """Best predictions of standardised effects, per cell.

    `mean`, `variance` have shape (cells,). Prediction k of an athlete is Σ_j weights[k, j]·z[j]; `weights` has shape
    (athletes, width, width).
    """

    mean: Floats
    variance: Floats
    weights: Floats


def fit_correlations(blocks: Blocks, z: Floats, variance: Floats, same: float, other: float) -> tuple[float, float]:
    """Estimate both correlations by penalised likelihood around the beliefs `same` and `other`.

    `z` and `variance` (infinite where there is no record) per cell.
    """
    seen = np.isfinite(variance)
    keep = np.flatnonzero(blocks.spread(seen, False).any(axis=1))
    part = Blocks(blocks.slot[keep], blocks.same_position[keep], blocks.real[keep])
    noise = part.spread(np.where(seen, variance, _UNKNOWN), 1.0)
    values = part.spread(np.where(seen, z, 0.0), 0.0)
    before = np.array([logit(same), logit(other / same)])

    def badness(point: Floats) -> float:
        r = float(expit(point[0]))
        matrix = part.correlations(r, r * float(expit(point[1])))
        np.einsum("aii->ai", matrix)[:] += noise
        lower = np.linalg.cholesky(matrix)
        white = np.linalg.solve(lower, values[:, :, None])
        log_det = 2 * np.log(np.einsum("aii->ai", lower)).sum()
        return float(log_det + (white**2).sum() + (((point - before) / _STRENGTH) ** 2).sum())

    if not len(keep):
        return same, other
    steps = before + np.array([[0.0, 0.0], [_STRENGTH, 0.0], [0.0, _STRENGTH]])  # SciPy's own hardly move off a zero
    found = minimize(
        badness,
        before,
        method="Nelder-Mead",
        options={"initial_simplex": steps, "xatol": 0.01, "fatol": 0.01, "maxiter": 80},
    )
    r = float(expit(found.x[0]))
    return r, r * float(expit(found.x[1]))


def carry(blocks: Blocks, z: Floats, variance: Floats, same: float, other: float) -> Carried:
    """Predict every cell's standardised effect from all records of its athlete."""
    seen = np.isfinite(variance)
    prior = blocks.correlations(same, other)
    total = prior.copy()
    np.einsum("aii->ai", total)[:] += blocks.spread(np.where(seen, variance, _UNKNOWN), 1.0)
    weights = np.asarray(np.linalg.solve(total, prior), dtype=np.float64).transpose(0, 2, 1)
    mean = np.einsum("akj,aj->ak", weights, blocks.spread(np.where(seen, z, 0.0), 0.0))
    left = np.einsum("aii->ai", prior) - np.einsum("akj,akj->ak", weights, prior)
    cells = blocks.slot >= 0
    out_mean, out_variance = np.empty(len(z)), np.empty(len(z))
    out_mean[blocks.slot[cells]] = mean[cells]
    out_variance[blocks.slot[cells]] = np.maximum(left[cells], 1e-12)
    return Carried(out_mean, out_variance, weights)


@dataclass(frozen=True)
class Pooled:
    """What is known of each cell after pooling; shape (cells,). `same` and `other` are the correlations found."""

    mean: Floats
    variance: Floats
    same: float
    other: float


def pool_cells(
    blocks: Blocks,
    own: Floats,
    own_variance: Floats,
    centre: Floats,
    centre_variance: Floats,
    scale: Floats,
    believed: tuple[float, float],
) -> Pooled:
    """Combine each cell's own record with its pool and with the athlete's records elsewhere.

    Parameters
    ----------
    own, own_variance : a cell's own estimate and its sampling variance (infinite without a record).
    centre, centre_variance : what the pool says of the cell, and how uncertain that is.
    scale : standard deviation of athletes around the centre.
    believed : correlations (same position, other position) believed before.
    """
    z, noise = (own - centre) / scale, own_variance / scale**2
    same, other = fit_correlations(blocks, z, noise, *believed)
    found = carry(blocks, z, noise, same, other)
    wide, unsure = blocks.spread(scale, 1.0), blocks.spread(centre_variance, 0.0)
    lean = np.eye(wide.shape[1]) - found.weights * wide[:, :, None] / wide[:, None, :]
    inherited = np.empty(len(own))
    cells = blocks.slot >= 0
    inherited[blocks.slot[cells]] = np.einsum("akj,aj->ak", lean**2, unsure)[cells]
    return Pooled(centre + scale * found.mean, scale**2 * found.variance + inherited, same, other)
