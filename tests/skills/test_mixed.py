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


def test_dyestuff_in_another_unit_is_the_same():
    grams, kilograms = one_way(DYESTUFF), one_way(DYESTUFF / 1000)
    assert 1000 * kilograms.between == pytest.approx(grams.between)
    assert 1000 * kilograms.noise == pytest.approx(grams.noise)


def test_two_rows_of_one_group_tell_their_own_variance_and_no_spread():
    fit = one_way(np.array([[1.0, 3.0]]))
    assert (fit.between, fit.noise) == (0.0, pytest.approx(np.sqrt(2.0)))  # sample variance, Σ(y - mean)² / (2 - 1)


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


def dense_badness(between, y, x, group, weight, *, prior, spread, multiple, noise=1.0, likelihood="reml"):
    """Minus twice the log density, with dense matrices: data, coefficients' normal belief, and the spread's belief."""
    v = np.diag(noise**2 / weight) + between**2 * multiple[group] * (group[:, None] == group)
    inverse = np.linalg.inv(v)
    information = x.T @ inverse @ x + np.diag(prior.precision)
    beta = np.linalg.solve(information, x.T @ inverse @ y + prior.precision * prior.mean)
    residual = y - x @ beta
    bad = np.linalg.slogdet(v)[1] + residual @ inverse @ residual + prior.precision @ (beta - prior.mean) ** 2
    bad += np.linalg.slogdet(information)[1] if likelihood == "reml" else 0.0
    if spread is not None:
        bad += spread.evidence * (np.log(between**2) + spread.typical**2 / between**2)
    return bad, beta, np.linalg.inv(information)


@pytest.mark.parametrize("likelihood", ["reml", "ml"])
@pytest.mark.parametrize("believed", [False, True])
def test_beliefs_and_multiples_match_the_density_written_out(believed, likelihood):
    rng = np.random.default_rng(9)
    group = np.repeat(np.arange(6), [1, 2, 3, 5, 8, 4])
    x = np.column_stack([np.ones(len(group)), rng.standard_normal(len(group))])
    weight, multiple = rng.uniform(1, 9, len(group)), np.array([1.0, 2.0, 1.0, 3.0, 1.0, 0.5])
    y = (
        2
        + 0.5 * x[:, 1]
        + 0.9 * (np.sqrt(multiple) * rng.standard_normal(6))[group]
        + rng.standard_normal(len(group)) / np.sqrt(weight)
    )
    prior = Prior(np.array([1.0, -1.0]), np.array([2.0, 3.0]))
    spread = SpreadPrior(0.3, 4.0) if believed else None
    fit = fit_mixed(
        y, x, group, weight, prior=prior, between_prior=spread, multiple=multiple,
        maximum_likelihood=likelihood == "ml",
    )  # fmt: skip
    facts = {"prior": prior, "spread": spread, "multiple": multiple, "likelihood": likelihood}
    grid = np.linspace(0.05, 2.5, 2451)
    best = grid[np.argmin([dense_badness(b, y, x, group, weight, **facts)[0] for b in grid])]
    assert fit.between == pytest.approx(best, abs=2e-3)
    _, beta, covariance = dense_badness(fit.between, y, x, group, weight, **facts)
    np.testing.assert_allclose(fit.beta, beta)
    np.testing.assert_allclose(fit.cov, covariance)
    assert fit.noise == 1.0


@pytest.mark.parametrize("precision", [0.0, 3.0])
def test_unknown_noise_with_a_covariate_matches_the_density_written_out(precision):
    """Two variances at once: no neighbour on either side is more likely; weights and beliefs are relative to noise."""
    rng = np.random.default_rng(10)
    group = np.repeat(np.arange(8), 4)
    x = np.column_stack([np.ones(32), rng.standard_normal(32)])
    weight = rng.uniform(1, 4, 32)
    y = 1 + 0.3 * x[:, 1] + 0.7 * rng.standard_normal(8)[group] + 0.5 * rng.standard_normal(32) / np.sqrt(weight)
    prior = Prior(np.array([0.5, 0.0]), np.full(2, precision))
    fit = fit_mixed(y, x, group, weight, noise_known=False, prior=prior)

    def dense(between, noise):
        believed = Prior(prior.mean, prior.precision / noise**2)
        facts = {"prior": believed, "spread": None, "multiple": np.ones(8)}
        bad, beta, covariance = dense_badness(between, y, x, group, weight, noise=noise, **facts)
        if precision:
            bad -= np.log(believed.precision).sum()
        return bad, beta, covariance

    best, beta, covariance = dense(fit.between, fit.noise)
    for b, s in ((1.02, 1.0), (0.98, 1.0), (1.0, 1.02), (1.0, 0.98)):
        assert dense(fit.between * b, fit.noise * s)[0] > best
    np.testing.assert_allclose(fit.beta, beta)
    np.testing.assert_allclose(fit.cov, covariance)


def test_weights_alone_set_no_scale_when_the_noise_is_unknown():
    rng = np.random.default_rng(10)
    y, group, ones = (
        rng.standard_normal(32) + np.repeat(rng.standard_normal(8), 4),
        np.repeat(np.arange(8), 4),
        np.ones((32, 1)),
    )
    one, three = (fit_mixed(y, ones, group, weight, noise_known=False) for weight in (np.ones(32), np.full(32, 3.0)))
    assert three.between == pytest.approx(one.between, rel=1e-4)
    assert three.noise == pytest.approx(np.sqrt(3) * one.noise, rel=1e-4)


@pytest.mark.parametrize(("groups", "left"), [(2, 0), (3, 0), (4, 1), (5, 2), (9, 2)])
def test_the_james_stein_factor_needs_more_than_three_groups(groups, left):
    """1 - (groups - 3)·v / Σ(y - mean)², Efron & Morris 1975; fewer than five groups get part of that mending.

    With k groups of equal variance the REML factor is 1 - (k - 1)·v / Σ(y - mean)² (from memory), so each unit of
    `ease` in the code takes one group off: none off for three groups, one for four, two from five on.
    """
    values, v = np.linspace(0.0, 2.0, groups), 0.02
    fit = pool_levels(values, np.full(groups, v), james_stein=True)
    shrinkage = 1 - fit.between**2 / (fit.between**2 + v)
    assert shrinkage == pytest.approx((groups - 1 - left) * v / ((values - 1) ** 2).sum(), rel=1e-4)


def test_a_spread_is_found_far_from_the_sampling_errors():
    """Balanced REML: the sample variance less the sampling variance, be it ten or a hundred thousand times that."""
    rng = np.random.default_rng(11)
    draws = rng.standard_normal(20)
    for scale in (1e-2, 1.0):
        fit = pool_levels(scale * draws, np.full(20, 1e-5))
        assert fit.between == pytest.approx(np.sqrt((scale * draws).var(ddof=1) - 1e-5), rel=1e-4)
