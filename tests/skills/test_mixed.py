"""The mixed model and level pooling, against published figures."""

import numpy as np
import pytest

from lineup.skills.mixed import Prior, SpreadPrior, fit_mixed
from lineup.skills.pooling import pool_levels, shrink

# Dyestuff yields, six batches of five: Davies & Goldsmith, Statistical Methods in Research and Production (1972).
DYESTUFF = np.array(
    [
        [1545, 1440, 1440, 1520, 1580],
        [1540, 1555, 1490, 1560, 1495],
        [1595, 1550, 1605, 1510, 1560],
        [1445, 1440, 1595, 1465, 1545],
        [1595, 1630, 1515, 1635, 1625],
        [1520, 1455, 1450, 1480, 1445],
    ],
    dtype=float,
)
# Dyestuff2, simulated data of Box & Tiao, Bayesian Inference in Statistical Analysis (1973), as in the lme4 examples:
# the between-batch variance is estimated as zero.
DYESTUFF2 = np.array(
    [
        [7.298, 3.846, 2.434, 9.566, 7.990],
        [5.220, 6.556, 0.608, 11.788, -0.892],
        [0.110, 10.386, 13.434, 5.510, 8.166],
        [2.212, 4.852, 7.092, 9.288, 4.980],
        [0.282, 9.014, 4.458, 9.446, 7.198],
        [1.722, 4.782, 8.106, 0.758, 3.758],
    ]
)
HITS = np.array([18, 17, 16, 15, 14, 14, 13, 12, 11, 11, 10, 10, 10, 10, 10, 9, 8, 7])


def one_way(table, **options):
    rows, batches = table.size, np.repeat(np.arange(len(table)), table.shape[1])
    return fit_mixed(table.ravel(), np.ones((rows, 1)), batches, np.ones(rows), noise_known=False, **options)


def test_dyestuff_reml():
    """lme4 (Bates et al. 2015, J. Stat. Software 67(1)): 1527.5 (SE 19.38), batch variance 1764, residual 2451."""
    fit = one_way(DYESTUFF)
    assert fit.beta[0] == pytest.approx(1527.5, abs=0.01)
    assert np.sqrt(fit.cov[0, 0]) == pytest.approx(19.38, abs=0.005)
    assert fit.between**2 == pytest.approx(1764, abs=0.5)
    assert fit.noise**2 == pytest.approx(2451, abs=0.5)


def test_dyestuff_maximum_likelihood():
    """lme4: variances 1388 and 2451, and the batch effects it prints."""
    fit = one_way(DYESTUFF, maximum_likelihood=True)
    assert fit.between**2 == pytest.approx(1388, abs=0.5)
    assert fit.noise**2 == pytest.approx(2451, abs=0.5)
    levels, _ = shrink(DYESTUFF.mean(axis=1), np.full(6, fit.noise**2 / 5), fit)
    published = [-16.62822, 0.36951, 26.97466, -21.80144, 53.57981, -42.49433]
    np.testing.assert_allclose(levels - fit.beta[0], published, atol=2e-3)


def test_dyestuff_batch_means_alone_give_the_same():
    """With equal batches the means and their known variance hold all there is (Searle et al. 1992, from memory)."""
    fit = pool_levels(DYESTUFF.mean(axis=1), np.full(6, 2451.25 / 5))
    assert fit.between**2 == pytest.approx(1764.05, abs=0.01)


def test_dyestuff2_has_no_between_variance():
    """lme4: batch variance 0, residual standard deviation 3.715684."""
    fit = one_way(DYESTUFF2)
    assert fit.between == 0.0
    assert fit.noise == pytest.approx(3.715684, abs=1e-6)
    levels, _ = shrink(DYESTUFF2.mean(axis=1), np.full(6, fit.noise**2 / 5), fit)
    np.testing.assert_allclose(levels, DYESTUFF2.mean())


def test_efron_morris():
    """Efron & Morris, JASA 70 (1975) 311-319: factor .212 (recomputed .21165); estimates in Sci. Am., May 1977."""
    raw, variance = HITS / 45, np.full(18, 0.00433284)
    fit = pool_levels(raw, variance, james_stein=True)
    assert fit.beta[0] == pytest.approx(0.265432, abs=1e-6)
    assert fit.between**2 / (fit.between**2 + variance[0]) == pytest.approx(0.21165, abs=1e-5)
    shrunk, _ = shrink(raw, variance, fit)
    published = [
        0.294,
        0.289,
        0.285,
        0.280,
        0.275,
        0.275,
        0.270,
        0.266,
        0.261,
        0.261,
        *[0.256] * 5,
        0.252,
        0.247,
        0.242,
    ]
    np.testing.assert_allclose(shrunk, published, atol=6e-4)


def test_reml_matches_the_likelihood_written_out():
    """Unbalanced, weighted, with a covariate: the same optimum as the dense Gaussian REML likelihood."""
    rng = np.random.default_rng(5)
    group = np.repeat(np.arange(7), [1, 2, 3, 5, 8, 4, 2])
    x = np.column_stack([np.ones(len(group)), rng.standard_normal(len(group))])
    weight = rng.uniform(1, 9, len(group))
    y = 2 + 0.5 * x[:, 1] + 0.8 * rng.standard_normal(7)[group] + rng.standard_normal(len(group)) / np.sqrt(weight)
    fit = fit_mixed(y, x, group, weight)

    def dense(between: float) -> float:
        v = between**2 * (group[:, None] == group) + np.diag(1 / weight)
        inverse = np.linalg.inv(v)
        information = x.T @ inverse @ x
        residual = y - x @ np.linalg.solve(information, x.T @ inverse @ y)
        dets = np.linalg.slogdet(v)[1] + np.linalg.slogdet(information)[1]
        return float(dets + residual @ inverse @ residual)

    grid = np.linspace(0.2, 2.0, 1801)
    assert fit.between == pytest.approx(grid[np.argmin([dense(b) for b in grid])], abs=2e-3)


def test_a_belief_keeps_a_lone_group_from_claiming_zero_spread():
    fit = pool_levels(np.array([1.0]), np.array([0.01]), mean_prior=(0.8, 0.2), between_prior=SpreadPrior(0.07, 2.0))
    assert 0.05 < fit.between < 0.1
    assert 0.8 < fit.beta[0] < 1.0


def test_nobody_graded_leaves_the_belief():
    nothing = np.array([])
    fit = pool_levels(nothing, nothing, mean_prior=(1.4, 0.25), between_prior=SpreadPrior(0.07, 2.0))
    assert fit.beta[0] == pytest.approx(1.4)
    assert np.sqrt(fit.cov[0, 0]) == pytest.approx(0.25)
    assert fit.between == pytest.approx(0.07, rel=1e-3)


def test_groups_that_scatter_more_are_shrunk_less():
    """A group with twice the between variance moves the mean less: weights 1 / (multiple·between² + v)."""
    y, group, ones = np.array([0.0, 0.0, 0.0, 3.0]), np.arange(4), np.ones((4, 1))
    prior = Prior(np.zeros(1), np.zeros(1))
    alike = fit_mixed(y, ones, group, np.full(4, 100.0), prior=prior)
    wide = fit_mixed(y, ones, group, np.full(4, 100.0), prior=prior, multiple=np.array([1.0, 1.0, 1.0, 9.0]))
    assert wide.beta[0] < alike.beta[0]
