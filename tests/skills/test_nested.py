"""Correlated effects, carried from one record of an athlete to another."""

import numpy as np
import pytest
from scipy import stats

from lineup.skills.nested import Blocks, carry, fit_correlations, pool_cells

ATHLETES, POSITIONS, SPLITS = 400, 2, 3
ATHLETE = np.repeat(np.arange(ATHLETES), POSITIONS * SPLITS)
POSITION = np.tile(np.repeat(np.arange(POSITIONS), SPLITS), ATHLETES)


def effects(same, other, seed=1):
    """Standardised effects with these correlations, shape (cells,)."""
    rng = np.random.default_rng(seed)
    general = rng.standard_normal((ATHLETES, 1, 1)) * np.sqrt(other)
    here = rng.standard_normal((ATHLETES, POSITIONS, 1)) * np.sqrt(same - other)
    return (general + here + rng.standard_normal((ATHLETES, POSITIONS, SPLITS)) * np.sqrt(1 - same)).ravel()


def test_correlations_are_found_again():
    z = effects(0.6, 0.3)
    noise = np.full(len(z), 0.2)
    seen = z + np.sqrt(0.2) * np.random.default_rng(2).standard_normal(len(z))
    same, other = fit_correlations(Blocks.of(ATHLETE, POSITION), seen, noise, 0.3, 0.15)
    assert same == pytest.approx(0.6, abs=0.06)
    assert other == pytest.approx(0.3, abs=0.06)


def test_predictions_are_those_of_the_multivariate_normal():
    """Against the textbook conditional mean and variance, written out for one athlete."""
    blocks = Blocks.of(np.zeros(4, dtype=np.intp), np.array([0, 0, 1, 1]))
    z, noise = np.array([1.0, 0.5, -0.2, 0.0]), np.array([0.1, 0.4, 0.2, np.inf])
    found = carry(blocks, z, noise, 0.5, 0.2)
    prior = np.array([[1, 0.5, 0.2, 0.2], [0.5, 1, 0.2, 0.2], [0.2, 0.2, 1, 0.5], [0.2, 0.2, 0.5, 1]])
    known = prior[:3, :3] + np.diag(noise[:3])
    weights = prior[:, :3] @ np.linalg.inv(known)
    np.testing.assert_allclose(found.mean, weights @ z[:3], atol=1e-6)
    np.testing.assert_allclose(found.variance, np.diag(prior - weights @ prior[:3]), atol=1e-6)


def test_without_correlation_each_record_stands_alone():
    blocks = Blocks.of(np.zeros(2, dtype=np.intp), np.array([0, 1]))
    found = carry(blocks, np.array([1.0, 0.0]), np.array([1.0, np.inf]), 0.0, 0.0)
    np.testing.assert_allclose(found.mean, [0.5, 0.0], atol=1e-6)
    np.testing.assert_allclose(found.variance, [0.5, 1.0], atol=1e-6)


def test_doubt_of_the_pool_is_inherited_where_a_record_leans_on_it():
    blocks = Blocks.of(np.arange(2), np.zeros(2, dtype=np.intp))
    own, noise = np.array([4.0, 0.0]), np.array([1e-6, np.inf])
    found = pool_cells(blocks, own, noise, np.full(2, 3.5), np.full(2, 0.04), np.full(2, 0.1), (0.3, 0.1))
    np.testing.assert_allclose(found.mean, [4.0, 3.5], atol=1e-3)
    np.testing.assert_allclose(found.variance, [1e-6, 0.01 + 0.04], atol=1e-4)
    fewer = Blocks.of(np.array([0, 0, 1]), np.zeros(3, dtype=np.intp))  # the last athlete has one cell, not two
    for last, known in ((np.inf, 0.01 + 0.04), (1e-6, 1e-6)):
        noise = np.array([1e-6, 1e-6, last])
        found = pool_cells(
            fewer, np.full(3, 4.0), noise, np.full(3, 3.5), np.full(3, 0.04), np.full(3, 0.1), (0.3, 0.1)
        )
        np.testing.assert_allclose(found.variance, [1e-6, 1e-6, known], atol=1e-4)
        np.testing.assert_allclose(found.mean, [4.0, 4.0, 4.0 if last < 1 else 3.5], atol=1e-3)


def test_cells_are_laid_out_by_athlete_and_told_apart_by_position():
    blocks = Blocks.of(np.array([1, 0, 1, 1]), np.array([5, 5, 7, 5]))
    assert blocks.slot.tolist() == [[1, -1, -1], [0, 2, 3]]
    assert blocks.real.tolist()[0] == [[True, False, False], [False] * 3, [False] * 3]
    assert blocks.same_position.tolist()[1] == [[True, False, True], [False, True, False], [True, False, True]]
    assert blocks.spread(np.array([1.0, 2.0, 3.0, 4.0]), 9.0).tolist() == [[2.0, 9.0, 9.0], [1.0, 3.0, 4.0]]
    expected = [[[1, 0, 0], [0, 1, 0], [0, 0, 1]], [[1, 0.2, 0.5], [0.2, 1, 0.2], [0.5, 0.2, 1]]]
    np.testing.assert_allclose(blocks.correlations(0.5, 0.2), expected)


def test_correlations_nobody_shows_are_those_believed():
    """Each athlete with one record tells of no correlation; nor does anyone without records."""
    blocks = Blocks.of(np.arange(5), np.zeros(5, dtype=np.intp))
    assert fit_correlations(blocks, np.ones(5), np.full(5, np.inf), 0.4, 0.1) == (0.4, 0.1)
    same, other = fit_correlations(blocks, np.ones(5), np.full(5, 0.1), 0.4, 0.1)
    assert (same, other) == (pytest.approx(0.4, abs=0.01), pytest.approx(0.1, abs=0.01))


@pytest.mark.parametrize(("believed", "number"), [((0.3, 0.15), 30), ((0.7, 0.1), 4)])
def test_correlations_are_the_most_credible_ones(believed, number):
    """Against scipy's multivariate normal and a normal belief (sd 0.7) on the logit scale: no neighbour beats it.

    With 0.3 and 0.15 believed, the second starts at logit 0, where a search by shares of the start would not move.
    """
    keep = number * POSITIONS * SPLITS
    z = effects(0.6, 0.3)[:keep]
    noise = np.random.default_rng(3).uniform(0.1, 0.6, keep)
    noise[::7] = np.inf
    blocks = Blocks.of(ATHLETE[:keep], POSITION[:keep])
    found = fit_correlations(blocks, z, noise, *believed)

    def logit(p):
        return np.log(p / (1 - p))

    def credible(same, other):
        told = 0.0
        for athlete in range(number):
            at = np.flatnonzero((ATHLETE[:keep] == athlete) & np.isfinite(noise))
            matrix = np.where(POSITION[at][:, None] == POSITION[at], same, other)
            np.fill_diagonal(matrix, 1.0)
            told += stats.multivariate_normal(np.zeros(len(at)), matrix + np.diag(noise[at])).logpdf(z[at])
        off = (logit(same) - logit(believed[0]), logit(other / same) - logit(believed[1] / believed[0]))
        return told + stats.norm(0, 0.7).logpdf(off).sum()

    best = credible(*found)
    for same, other in ((1.1, 1.0), (0.9, 1.0), (1.0, 1.15), (1.0, 0.85)):
        assert credible(found[0] * same, found[1] * other) < best


def test_pooling_on_the_scale_of_each_cell():
    """Best linear prediction with dense matrices in seconds: levels of different spread, centres with doubt."""
    blocks = Blocks.of(np.zeros(3, dtype=np.intp), np.array([0, 0, 1]))
    own, noise = np.array([4.3, 1.9, 0.0]), np.array([0.02, 0.3, np.inf])
    centre, doubt, scale = np.array([4.0, 2.0, 7.0]), np.array([0.01, 0.02, 0.04]), np.array([0.1, 0.5, 0.2])
    found = pool_cells(blocks, own, noise, centre, doubt, scale, (0.5, 0.2))
    matrix = np.array([[1, found.same, found.other], [found.same, 1, found.other], [found.other, found.other, 1]])
    prior = matrix * np.outer(scale, scale)
    gain = prior[:, :2] @ np.linalg.inv(prior[:2, :2] + np.diag(noise[:2]))
    np.testing.assert_allclose(found.mean, centre + gain @ (own - centre)[:2], atol=1e-6)
    lean = np.eye(3)
    lean[:, :2] -= gain
    inherited = (lean**2) @ doubt  # what each prediction still takes from the centres, whose doubts are independent
    np.testing.assert_allclose(found.variance, np.diag(prior - gain @ prior[:2]) + inherited, atol=1e-6)
