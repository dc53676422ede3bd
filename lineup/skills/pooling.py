"""Partial pooling of groups: levels by a linear mixed model, variances on the log scale, rates by Gamma-Poisson.

Nothing here knows of pit stops. Sources: the mixed model and REML as in Searle, Casella & McCulloch, Variance
Components (1992), ch. 6; the adjusted likelihood that gives James-Stein shrinkage after Morris & Tang, Statistical
Science 26 (2011) 271-287; Gamma-Poisson pooling as in Carlin & Louis, Bayesian Methods for Data Analysis (2008), ch. 5.
All cited from memory.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize, minimize_scalar
from scipy.special import digamma, gammaln, polygamma

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]


def group_sums(group: Ints, values: Floats, groups: int) -> Floats:
    """Sum values per group; shape (groups,), zero for a group without rows."""
    sums: Floats = np.bincount(group, weights=values, minlength=groups).astype(np.float64)
    return sums


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


@dataclass(frozen=True)
class _Sums:
    """Cross products of a grouped regression: per group, and in total."""

    weight: Floats  # (groups,)
    x: Floats  # (groups, columns)
    y: Floats  # (groups,)
    xx: Floats  # (columns, columns)
    xy: Floats  # (columns,)
    yy: float
    multiple: Floats  # (groups,)
    rows: float


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
    """Fit level and between-group spread by REML (or ML), from rows.

    Parameters
    ----------
    y : shape (rows,). x : shape (rows, columns), full column rank unless `prior` mends it.
    group : group of each row, 0 to groups - 1.
    weight : precision of each row (1 / its noise variance); with `noise_known` False only relative, and the noise
        variance is fitted with it.
    multiple : per group, how many times the between variance applies to it; all 1 unless given.
    james_stein : choose the between variance so that the shrinkage weight, rather than the variance, is unbiased;
        with equal variances that weight is the James-Stein factor 1 - (groups - 3)·v / Σ(y - mean)².
    """
    sums = _sum_up(y, x, group, weight, multiple)
    columns = x.shape[1]
    prior = prior or Prior(np.zeros(columns), np.zeros(columns))
    lost = 0 if maximum_likelihood else columns - np.count_nonzero(prior.precision)
    ease = float(np.clip(len(sums.weight) - 3, 0, 2)) if james_stein else 0.0
    positive = sums.weight[sums.weight > 0]

    def badness(ratio: float) -> float:
        _, spd_log_det, rss = _solve(sums, prior, ratio)
        total = float(np.log1p(ratio * sums.multiple * sums.weight).sum())
        total += 0.0 if maximum_likelihood else spd_log_det
        total += rss if noise_known else (sums.rows - lost) * np.log(max(rss, 1e-300))
        if ease:
            total -= ease * float(np.mean(np.log(1 / positive + ratio)))
        if between_prior is not None and ratio > 0:
            total += between_prior.evidence * (np.log(ratio) + between_prior.typical**2 / ratio)
        return total

    start = 1.0 / float(np.median(positive)) if len(positive) else 1.0
    if between_prior is not None:
        start = max(start, between_prior.typical**2)
    ratio = _least(badness, start, zero=between_prior is None)
    beta, _, rss = _solve(sums, prior, ratio)
    noise2 = 1.0 if noise_known else rss / max(sums.rows - lost, 1.0)
    cov = noise2 * np.asarray(np.linalg.inv(_information(sums, prior, ratio)), dtype=np.float64)
    return MixedFit(beta, cov, float(np.sqrt(ratio * noise2)), float(np.sqrt(noise2)))


def _sum_up(y: Floats, x: Floats, group: Ints, weight: Floats, multiple: Floats | None) -> _Sums:
    groups = int(group.max()) + 1 if len(group) else 0
    if multiple is not None:
        groups = len(multiple)
    wx = weight[:, None] * x

    return _Sums(
        weight=group_sums(group, weight, groups),
        x=np.column_stack([group_sums(group, column, groups) for column in wx.T])
        if groups
        else np.zeros((0, x.shape[1])),
        y=group_sums(group, weight * y, groups),
        xx=x.T @ wx,
        xy=wx.T @ y,
        yy=float(weight @ y**2),
        multiple=np.ones(groups) if multiple is None else multiple,
        rows=float(len(y)),
    )


def _information(sums: _Sums, prior: Prior, ratio: float) -> Floats:
    pull = _pull(sums, ratio)
    info: Floats = sums.xx - (sums.x * pull[:, None]).T @ sums.x + np.diag(prior.precision)
    return info


def _pull(sums: _Sums, ratio: float) -> Floats:
    variance = ratio * sums.multiple
    pull: Floats = variance / (1 + variance * sums.weight)
    return pull


def _solve(sums: _Sums, prior: Prior, ratio: float) -> tuple[Floats, float, float]:
    """Return coefficients, log determinant of their information, and the (penalised) weighted residual square."""
    pull = _pull(sums, ratio)
    info = _information(sums, prior, ratio)
    right = sums.xy - sums.x.T @ (pull * sums.y) + prior.precision * prior.mean
    beta = np.asarray(np.linalg.solve(info, right), dtype=np.float64)
    total = sums.yy - float(pull @ sums.y**2) + float(prior.precision @ prior.mean**2)
    return beta, float(np.linalg.slogdet(info)[1]), max(total - float(beta @ right), 0.0)


def _least(badness: Callable[[float], float], start: float, *, zero: bool) -> float:
    """Find the variance ratio with the least badness: a coarse grid of logs, refined; zero is a candidate."""
    grid = np.log(start) + np.linspace(-14, 12, 27)
    values = np.array([badness(float(np.exp(u))) for u in grid])
    best = int(values.argmin())
    low, high = grid[max(best - 1, 0)], grid[min(best + 1, len(grid) - 1)]
    found = minimize_scalar(
        lambda u: badness(float(np.exp(u))), bounds=(low, high), method="bounded", options={"xatol": 1e-8}
    )
    if zero and badness(0.0) <= float(found.fun) + 1e-9:
        return 0.0
    return float(np.exp(found.x))


def pool_levels(
    values: Floats,
    variances: Floats,
    *,
    mean_prior: tuple[float, float] | None = None,
    between_prior: SpreadPrior | None = None,
    maximum_likelihood: bool = False,
    james_stein: bool = False,
) -> MixedFit:
    """Fit mean and between-group spread to one value per group with a known sampling variance.

    `mean_prior` is (mean, standard deviation).
    """
    prior = None
    if mean_prior is not None:
        prior = Prior(np.array([mean_prior[0]]), np.array([mean_prior[1] ** -2]))
    return fit_mixed(
        values,
        np.ones((len(values), 1)),
        np.arange(len(values)),
        1 / variances,
        prior=prior,
        between_prior=between_prior,
        maximum_likelihood=maximum_likelihood,
        james_stein=james_stein,
    )


def shrink(values: Floats, variances: Floats, fit: MixedFit) -> tuple[Floats, Floats]:
    """Shrink groups toward their pool: posterior means and variances, the pool mean's own uncertainty included."""
    own = fit.between**2 / (fit.between**2 + variances)
    means: Floats = fit.beta[0] + own * (values - fit.beta[0])
    spread: Floats = own * variances + (1 - own) ** 2 * fit.cov[0, 0]
    return means, spread


def log_variances(squares: Floats, freedom: Floats) -> tuple[Floats, Floats]:
    """Turn sums of squares into unbiased estimates of ln variance, with their sampling variances.

    Exact first two moments of ln(variance · chi-square(freedom) / freedom).
    """
    half = freedom / 2
    values: Floats = np.log(squares / freedom) - digamma(half) + np.log(half)
    variances: Floats = polygamma(1, half)
    return values, variances


@dataclass(frozen=True, slots=True)
class RatePool:
    """Rates of a pool's athletes ~ Gamma(shape, shape / mean); `doubt` is the variance of ln mean."""

    mean: float
    shape: float
    doubt: float

    @property
    def worth(self) -> float:
        """Shape of what the pool says of one athlete, its own doubt included."""
        return 1 / (1 / self.shape + self.doubt)


def fit_rates(
    counts: Floats, chances: Floats, *, typical: float, typical_sd: float, shape: float, shape_sd: float = 0.7
) -> RatePool:
    """Fit mean and shape of a pool of rates to counts in so many chances (negative binomial likelihood).

    Beliefs before: ln mean ~ Normal(ln typical, typical_sd²), ln shape ~ Normal(ln shape, shape_sd²).
    """

    def badness(point: Floats) -> float:
        log_mean, log_shape = point
        a, b = np.exp(log_shape), np.exp(log_shape - log_mean)
        gain = gammaln(a + counts) - gammaln(a) + a * np.log(b) - (a + counts) * np.log(b + chances)
        beliefs = ((log_mean - np.log(typical)) / typical_sd) ** 2 + ((log_shape - np.log(shape)) / shape_sd) ** 2
        return float(beliefs / 2 - gain.sum())

    crude = (counts.sum() + typical) / (chances.sum() + 1.0)
    start = np.array([np.log(crude), np.log(shape)])
    found = minimize(badness, start, method="Nelder-Mead", options={"xatol": 1e-4, "fatol": 1e-6})
    mean, fitted = float(np.exp(found.x[0])), float(np.exp(found.x[1]))
    information = float((fitted * mean * chances / (fitted + mean * chances)).sum()) + typical_sd**-2
    return RatePool(mean, fitted, 1 / information)
