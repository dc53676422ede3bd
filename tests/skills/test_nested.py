"""Correlated effects, carried from one record of an athlete to another."""

import numpy as np
import pytest

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
