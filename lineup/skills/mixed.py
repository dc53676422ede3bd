"""A linear mixed model with one grouping: coefficients, spread between groups and noise, by REML or ML.

Nothing here knows of pit stops. Sources: REML as in Searle, Casella & McCulloch, Variance Components (1992), ch. 6;
adjusting the likelihood of the between variance so that shrinkage comes out right after Morris & Tang, Statistical
Science 26 (2011) 271-287. Both cited from memory.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from lineup.skills.arrays import Floats, Ints, group_sums

_REFINEMENTS = 5  # of the grid on which the variance ratio is found; each is sixteen times finer


@dataclass(frozen=True)
class Prior:
    """Normal belief about coefficients: means and precisions, both of shape (columns,); precision 0 is flat."""

    mean: Floats
    precision: Floats


@dataclass(frozen=True)
class SpreadPrior:
    """Belief about a standard deviation: `typical`, worth as much as `evidence` groups."""

    typical: float
    evidence: float


@dataclass(frozen=True)
class MixedFit:
    """y = x·beta + u[group] + noise, with u ~ Normal(0, between²·multiple[group]).

    `cov` is the covariance of `beta`, shape (columns, columns); `between` and `noise` are standard deviations.
    """

    beta: Floats
    cov: Floats
    between: float
    noise: float


def fit_mixed(
    y: Floats,
    x: Floats,
    group: Ints,
    weight: Floats,
    *,
    noise_known: bool = True,
    maximum_likelihood: bool = False,
    prior: Prior | None = None,
    between_prior: SpreadPrior | None = None,
    multiple: Floats | None = None,
    james_stein: bool = False,
) -> MixedFit:
    """Fit coefficients and between-group spread to rows.

    Parameters
    ----------
    y : shape (rows,). x : shape (rows, columns), full column rank unless `prior` mends it.
    group : group of each row, 0 to groups - 1.
    weight : precision of each row (1 / its noise variance); with `noise_known` False weights and `prior` precisions
        are only relative to a noise variance that is fitted with the rest.
    multiple : per group, how many times the between variance applies to it; all 1 unless given.
    james_stein : choose the between variance so that the shrinkage weight, rather than the variance, is unbiased;
        with equal variances that weight is the James-Stein factor 1 - (groups - 3)·v / Σ(y - mean)².
    """
    columns = x.shape[1]
    sums = _sum_up(y, x, group, weight, multiple, prior or Prior(np.zeros(columns), np.zeros(columns)))
    free = sums.rows - (0 if maximum_likelihood else columns - np.count_nonzero(sums.prior.precision))
    ease = float(np.clip(len(sums.weight) - 3, 0, 2)) if james_stein else 0.0

    def badness(ratio: Floats) -> Floats:
        """Minus twice the log likelihood, up to a constant, of each variance ratio."""
        solved = _solve(sums, ratio)
        total = np.log1p(ratio[:, None] * sums.multiple * sums.weight).sum(axis=1)
        total += 0.0 if maximum_likelihood else solved.log_det
        total += solved.rss if noise_known else free * np.log(np.maximum(solved.rss, 1e-300))
        if ease:
            total -= ease * np.log(1 / sums.weight + ratio[:, None]).mean(axis=1)
        if between_prior is not None:
            total += between_prior.evidence * (np.log(ratio) + between_prior.typical**2 / ratio)
        return np.asarray(total, dtype=np.float64)

    start = 1.0 / float(np.median(sums.weight)) if len(sums.weight) else 0.0
    start = max(start, between_prior.typical**2 if between_prior else 0.0)
    ratio = _least(badness, start, zero=between_prior is None)
    solved = _solve(sums, np.array([ratio]))
    noise2 = 1.0 if noise_known else float(solved.rss[0]) / max(free, 1.0)
    cov = noise2 * np.asarray(np.linalg.inv(solved.information[0]), dtype=np.float64)
    return MixedFit(solved.beta[0], cov, float(np.sqrt(ratio * noise2)), float(np.sqrt(noise2)))


@dataclass(frozen=True)
class _Sums:
    """Cross products of a grouped regression, per group and in total."""

    weight: Floats  # (groups,)
    x: Floats  # (groups, columns)
    y: Floats  # (groups,)
    outer: Floats  # (groups, columns²)
    xx: Floats  # (columns, columns)
    xy: Floats  # (columns,)
    yy: float
    multiple: Floats  # (groups,)
    rows: float
    prior: Prior


@dataclass(frozen=True)
class _Solved:
    """Regression at each variance ratio: information, its log determinant, coefficients, residual square."""

    information: Floats  # (ratios, columns, columns)
    log_det: Floats  # (ratios,)
    beta: Floats  # (ratios, columns)
    rss: Floats  # (ratios,)


def _sum_up(y: Floats, x: Floats, group: Ints, weight: Floats, multiple: Floats | None, prior: Prior) -> _Sums:
    groups = int(group.max(initial=-1)) + 1
    wx = weight[:, None] * x
    gx = np.column_stack([group_sums(group, column, groups) for column in wx.T])
    return _Sums(
        weight=group_sums(group, weight, groups),
        x=gx,
        y=group_sums(group, weight * y, groups),
        outer=(gx[:, :, None] * gx[:, None, :]).reshape(groups, x.shape[1] ** 2),
        xx=x.T @ wx,
        xy=wx.T @ y,
        yy=float(weight @ y**2),
        multiple=np.ones(groups) if multiple is None else multiple,
        rows=float(len(y)),
        prior=prior,
    )


def _solve(sums: _Sums, ratio: Floats) -> _Solved:
    """Take group effects out by Woodbury's identity, then solve the normal equations."""
    variance = ratio[:, None] * sums.multiple
    pull = variance / (1 + variance * sums.weight)
    prior, columns = sums.prior, len(sums.xy)
    information = sums.xx + np.diag(prior.precision) - (pull @ sums.outer).reshape(-1, columns, columns)
    right = sums.xy + prior.precision * prior.mean - (pull * sums.y) @ sums.x
    beta = np.asarray(np.linalg.solve(information, right[:, :, None])[:, :, 0], dtype=np.float64)
    square = sums.yy + float(prior.precision @ prior.mean**2) - pull @ sums.y**2
    rss = np.maximum(square - (beta * right).sum(axis=1), 0.0)
    log_det = np.asarray(np.linalg.slogdet(information)[1], dtype=np.float64)
    return _Solved(information, log_det, beta, rss)


def _least(badness: Callable[[Floats], Floats], start: float, *, zero: bool) -> float:
    """Find the variance ratio with the least badness: a grid of logs, refined around its best; zero is a candidate."""
    grid = np.log(start) + np.linspace(-14, 12, 27)
    for _ in range(_REFINEMENTS):
        values = badness(np.exp(grid))
        best, step = grid[int(values.argmin())], grid[1] - grid[0]
        grid = best + step * np.linspace(-1, 1, 33)
    if zero and float(badness(np.zeros(1))[0]) <= float(values.min()) + 1e-9:
        return 0.0
    return float(np.exp(best))
