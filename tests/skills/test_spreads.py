"""Spreads from stop to stop: textbook variances where there is much evidence, beliefs where there is none."""

import numpy as np
import pytest
from scipy.special import digamma, polygamma

from lineup.skills import Assumptions
from lineup.skills.estimate import _blocks
from lineup.skills.grades import make_cells
from lineup.skills.mixed import SpreadPrior
from lineup.skills.pooling import pool_levels
from lineup.skills.spreads import _own, fit_spreads
from tests.builders import tiny_season

BELIEFS = Assumptions()


def fitted(residuals, weight=1.0, beliefs=BELIEFS):
    """Spreads of a season of 4 athletes and 2 positions, with residuals by (athlete, position)."""
    cells = make_cells(tiny_season(positions=2, grades=0), 0.5)
    cell = np.repeat([cells.index[a, p, f"do-{p}"] for a, p in residuals], [len(r) for r in residuals.values()])
    values = np.concatenate([np.zeros(0), *residuals.values()])
    spreads = fit_spreads(cells, _blocks(cells), cell.astype(np.intp), values, np.full(len(values), weight), beliefs)
    return cells, spreads


def test_with_many_grades_a_spread_is_the_sample_standard_deviation():
    """Against numpy's, with n - 1 in the denominator, whatever the level; grades of half weight change nothing."""
    rng = np.random.default_rng(1)
    seen = {("a1", "p1"): 5 + 0.05 * rng.standard_normal(2000), ("a2", "p1"): 0.2 * rng.standard_normal(2000)}
    for weight in (1.0, 0.5):
        cells, spreads = fitted(seen, weight)
        for (athlete, position), values in seen.items():
            found = np.sqrt(spreads.variance[cells.index[athlete, position, f"do-{position}"]])
            assert found == pytest.approx(values.std(ddof=1), rel=0.01)


def test_nobody_graded_has_the_typical_spread():
    """Log-normal: variance of median 0.1² whose ln has sd 0.4 and its doubt of 1 has a mean of exp(min(v, 1) / 2)."""
    _, spreads = fitted({})
    assert np.sqrt(spreads.pool_variance) == pytest.approx(np.full(2, 0.1))
    np.testing.assert_allclose(spreads.variance, 0.01 * np.exp(0.5), rtol=1e-6)
    steady = Assumptions(typical_spread=1e-4)
    assert np.sqrt(fitted({}, beliefs=steady)[1].variance) == pytest.approx(np.full(8, 0.005))


def test_a_pool_without_grades_follows_the_other_and_its_athletes_too():
    rng = np.random.default_rng(2)
    seen = {(a, "p1"): 0.02 * rng.standard_normal(200) for a in ("a1", "a2", "a3")}
    cells, spreads = fitted(seen)
    by_pool = dict(zip(cells.pools, np.sqrt(spreads.pool_variance), strict=True))
    assert by_pool["p1", "do-p1"] == pytest.approx(0.02, rel=0.1)
    assert by_pool["p2", "do-p2"] < 0.06  # all that is known of it, between 0.02 and 0.1
    here, there = (spreads.variance[cells.index["a4", p, f"do-{p}"]] for p in ("p1", "p2"))
    assert here < there


def test_one_grade_says_nothing_of_consistency():
    rng = np.random.default_rng(3)
    seen = {(a, "p1"): 0.1 * rng.standard_normal(30) for a in ("a1", "a2")}
    cells, without = fitted(seen)
    one, two = (fitted(seen | {("a3", "p1"): r})[1] for r in ([7.0], [7.0, 8.0]))
    np.testing.assert_array_equal(one.variance, without.variance)
    own = cells.index["a3", "p1", "do-p1"]
    assert two.variance[own] > 1.2 * one.variance[own]


def test_own_variances_by_hand():
    """Unbiased weighted variance Σw(x - m)² / (Σw - Σw²/Σw), the textbook form for weights that are precisions."""
    cell = np.array([0, 0, 0, 1, 1, 2, 4, 4, *[5] * 9, 6, 6])
    x = np.array([1.0, 2.0, 6.0, 3.0, 3.0, 9.0, 1.0, 3.0, *range(9), 1.0, 3.0])
    w = np.array([1.0, 0.5, 0.25, 1.0, 1.0, 1.0, 0.2, 0.2, *[0.1] * 9, 0.5, 0.5])
    values, sampling = _own(7, cell, x, w, 0.005)
    mean = 3.5 / 1.75
    variance = ((1 - mean) ** 2 + 0.25 * (6 - mean) ** 2) / (1.75 - 1.3125 / 1.75)
    half = (1.75 - 1.3125 / 1.75) / 2
    assert values[0] == pytest.approx(np.log(variance) - digamma(half) + np.log(half))
    assert sampling[0] == pytest.approx(polygamma(1, half))
    assert values[1] == pytest.approx(np.log(0.005**2) - digamma(0.5) + np.log(0.5))  # all alike: the least there is
    assert sampling[1] == pytest.approx(polygamma(1, 0.5))
    np.testing.assert_array_equal(values[2:5], 0.0)  # one grade, none, and two that count a fifth each
    np.testing.assert_array_equal(sampling[2:5], np.inf)
    half = (0.9 - 0.09 / 0.9) / 2  # nine old grades that count a tenth each
    assert values[5] == pytest.approx(np.log(np.var(range(9), ddof=1)) - digamma(half) + np.log(half))
    assert sampling[5] == pytest.approx(polygamma(1, half))
    assert values[6] == pytest.approx(
        np.log(2.0) - digamma(0.25) + np.log(0.25)
    )  # two that count half each: just enough
    assert sampling[6] == pytest.approx(polygamma(1, 0.25))


def test_each_pool_leans_on_the_typical_one():
    """What a pool says is its level fit around the fit of all cells; that fit is held against published figures."""
    rng = np.random.default_rng(4)
    seen = {(a, p): s * rng.standard_normal(12) for p, s in (("p1", 0.03), ("p2", 0.3)) for a in ("a1", "a2", "a3")}
    cells, spreads = fitted(seen)
    places = {p: [cells.index[a, p, f"do-{p}"] for a in ("a1", "a2", "a3")] for p in ("p1", "p2")}
    cell = np.repeat([*places["p1"], *places["p2"]], 12)
    values, sampling = _own(len(cells.keys), cell, np.concatenate(list(seen.values())), np.ones(72), 0.005)
    prior = SpreadPrior(0.4, 2.0)
    both = [*places["p1"], *places["p2"]]
    common = pool_levels(values[both], sampling[both], mean_prior=(2 * np.log(0.1), 1.0), between_prior=prior).beta[0]
    for p, at in places.items():
        mean = pool_levels(values[at], sampling[at], mean_prior=(common, 1.0), between_prior=prior).beta[0]
        assert spreads.pool_variance[cells.pools.index((p, f"do-{p}"))] == pytest.approx(np.exp(mean))
