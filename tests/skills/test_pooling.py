"""Pooling of variances and of rates."""

import numpy as np
import pytest
from scipy import stats

from lineup.skills.mixed import MixedFit
from lineup.skills.pooling import fit_rates, log_variances, shrink


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


def test_rates_are_the_most_credible_ones_given_beliefs():
    """Normal beliefs about ln mean and ln shape, scipy.stats throughout: no neighbour is more credible."""
    counts, chances = np.array([0.0, 3.0, 1.0, 7.0]), np.array([20.0, 30.0, 25.0, 40.0])
    pool = fit_rates(counts, chances, typical=0.05, typical_sd=0.5, shape=4.0, shape_sd=0.3)

    def credible(mean: float, shape: float) -> float:
        told = stats.nbinom(shape, shape / (shape + mean * chances)).logpmf(counts).sum()
        believed = stats.norm(np.log(0.05), 0.5).logpdf(np.log(mean)) + stats.norm(np.log(4.0), 0.3).logpdf(
            np.log(shape)
        )
        return float(told + believed)

    best = credible(pool.mean, pool.shape)
    for mean, shape in ((1.02, 1.0), (0.98, 1.0), (1.0, 1.02), (1.0, 0.98)):
        assert credible(pool.mean * mean, pool.shape * shape) < best
    # Information of a negative binomial mean (Fisher, of ln mean): Σ μ / (1 + μ / shape), plus that of the belief.
    due = pool.mean * chances
    assert 1 / pool.doubt == pytest.approx((due / (1 + due / pool.shape)).sum() + 1 / 0.5**2)
    assert pool.worth == pytest.approx(1 / (1 / pool.shape + pool.doubt))


def test_what_rates_usually_differ_by_is_believed_unless_said():
    counts, chances = np.array([0.0, 9.0]), np.array([30.0, 30.0])
    said = fit_rates(counts, chances, typical=0.1, typical_sd=1.0, shape=4.0, shape_sd=0.7)
    assert fit_rates(counts, chances, typical=0.1, typical_sd=1.0, shape=4.0) == said


def test_shrinking_by_hand():
    """Conjugate normal: 3 between 2 ± 0.1 and 4, the between variance as large as the sampling variance."""
    fit = MixedFit(np.array([2.0]), np.array([[0.01]]), 0.5, 1.0)
    means, variances = shrink(np.array([4.0]), np.array([0.25]), fit)
    assert means == pytest.approx([3.0])
    assert variances == pytest.approx([0.5 * 0.25 + 0.25 * 0.01])
