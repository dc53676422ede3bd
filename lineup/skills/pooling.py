"""Partial pooling of groups: levels with known sampling variances, variances, and rates of counts.

Nothing here knows of pit stops. Gamma-Poisson pooling as in Carlin & Louis, Bayesian Methods for Data Analysis (2008),
ch. 5, cited from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import minimize
from scipy.special import digamma, gammaln, polygamma

from lineup.skills.arrays import Floats
from lineup.skills.mixed import MixedFit, Prior, SpreadPrior, fit_mixed


def pool_levels(
    values: Floats,
    variances: Floats,
    *,
    mean_prior: tuple[float, float] | None = None,
    between_prior: SpreadPrior | None = None,
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
