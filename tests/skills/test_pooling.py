"""Pooling of variances and of rates."""

import numpy as np
import pytest
from scipy import stats

from lineup.skills.pooling import fit_rates, log_variances


@pytest.mark.parametrize("freedom", [1.0, 4.0, 25.0])
def test_log_variance_is_unbiased_and_knows_its_error(freedom):
    """Against 200,000 chi-square draws of scipy.stats."""
    draws = 2.5 * stats.chi2(freedom).rvs(200_000, random_state=3)
    values, variances = log_variances(draws, np.full(len(draws), freedom))
    assert values.mean() == pytest.approx(np.log(2.5), abs=0.02)
    assert variances[0] == pytest.approx(values.var(), rel=0.02)


def test_rates_maximise_the_negative_binomial_likelihood():
    """Counts are negative binomial once rates are gamma: scipy.stats.nbinom(shape, shape / (shape + mean·chances))."""
    rng = np.random.default_rng(2)
    chances = rng.integers(50, 400, 300).astype(float)
    counts = rng.poisson(rng.gamma(4.0, 0.08 / 4.0, 300) * chances).astype(float)
    pool = fit_rates(counts, chances, typical=0.08, typical_sd=50.0, shape=4.0, shape_sd=50.0)

    def likelihood(mean: float, shape: float) -> float:
        return float(stats.nbinom(shape, shape / (shape + mean * chances)).logpmf(counts).sum())

    best = likelihood(pool.mean, pool.shape)
    for mean, shape in ((1.03, 1.0), (0.97, 1.0), (1.0, 1.15), (1.0, 0.87)):
        assert likelihood(pool.mean * mean, pool.shape * shape) < best
    assert pool.mean == pytest.approx(0.08, rel=0.1)
    assert pool.shape == pytest.approx(4.0, rel=0.25)


def test_rates_of_nobody_are_the_belief():
    pool = fit_rates(np.zeros(3), np.zeros(3), typical=0.05, typical_sd=1.5, shape=4.0)
    assert pool.mean == pytest.approx(0.05, rel=1e-2)
    assert pool.doubt == pytest.approx(1.5**2)


def test_no_slip_in_many_chances_is_a_low_rate_but_not_zero():
    pool = fit_rates(np.zeros(4), np.full(4, 250.0), typical=0.003, typical_sd=1.5, shape=16.0)
    assert 0 < pool.mean < 0.002
