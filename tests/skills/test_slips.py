"""What a miss costs: limits with much evidence, conjugate posteriors with little, and what others say of one unseen."""

import numpy as np
import pytest

from lineup.season import Miss, Task
from lineup.skills import Assumptions
from lineup.skills.grades import make_cells, make_rows
from lineup.skills.mixed import SpreadPrior
from lineup.skills.pooling import pool_levels, shrink
from lineup.skills.slips import Expected, Losses, _common, _varies, fit_losses, fit_pace
from tests.builders import FIRST_SUNDAY, grade_row, grade_table, tiny_season

NAMES = ("slip", "drop", "fall", "free")
BELIEFS = Assumptions()


def graded(rows, athletes=3):
    """Cells and rows of (athlete, misses, seconds), all fresh."""
    tasks = (Task("do-p1", "Work", "p1", (), "do-p1", 4.0, NAMES, release=True),)
    misses = {name: Miss(name, name, 1.0) for name in NAMES}
    season = tiny_season(athletes=athletes, positions=1, shape=tasks, grades=0, misses=misses)
    made = [grade_row(a, "p1", "do-p1", s, misses=tuple(m)) for a, m, s in rows]
    season = season.replace(grades=grade_table(made))
    cells = make_cells(season, 0.5)
    return cells, make_rows(season, cells, FIRST_SUNDAY, 90.0)[0]


def fitted(rows, stated, noise_s=0.01, before=None, scale=1.0):
    """Losses found when every row was expected to take 4 s, give or take `noise_s`; seconds times `scale`."""
    _, found = graded([("a1", m, s * scale) for m, s in rows])
    stated_s = scale * np.array(stated)
    seen = Expected(np.full(len(rows), 4.0 * scale), np.full(len(rows), noise_s * scale))
    return fit_losses(found, stated_s, seen, before or Losses(stated_s, 0.0), BELIEFS)


def test_losses_with_much_evidence_are_least_squares():
    """Against numpy's lstsq of extra seconds on how often each miss was made."""
    rng = np.random.default_rng(1)
    counts = rng.poisson(0.6, (600, 4))
    counts = counts[counts.any(axis=1)]
    extra = counts @ [0.5, 1.4, 0.9, 0.3] + 0.01 * rng.standard_normal(len(counts))
    rows = [
        ([n for n, k in zip(NAMES, row, strict=True) for _ in range(k)], 4.0 + e)
        for row, e in zip(counts, extra, strict=True)
    ]
    found = fitted([*rows, ([], 9.0)], [0.4, 1.0, 1.0, 0.0])  # who made no miss lost nothing to one
    np.testing.assert_allclose(found.loss_s, np.linalg.lstsq(counts, extra, rcond=None)[0], atol=2e-3)


def test_a_miss_said_to_cost_nothing_has_a_normal_posterior_around_zero():
    """Conjugate normal: 0.05 s before, four times 0.1 s with noise 0.1 s: 0.1 / (1 + (0.1 / 0.05)² / 4)."""
    found = fitted([(["free"], 4.1)] * 4, [1.0, 1.0, 1.0, 0.0], noise_s=0.1)
    assert found.loss_s[3] == pytest.approx(0.1 / 2)
    assert found.loss_s[:3] == pytest.approx([1.0, 1.0, 1.0])  # nothing was seen of these


def test_older_grades_count_less():
    """The same posterior, from a grade one half-life old that counts half: 0.1 / (1 + (0.1 / 0.05)² / 0.5)."""
    _, rows = graded([("a1", ["free"], 4.1)])
    rows.weight[:] = 0.5
    seen = Expected(np.array([4.0]), np.array([0.1]))
    found = fit_losses(rows, np.array([1.0, 1.0, 1.0, 0.0]), seen, Losses(np.ones(4), 0.0), BELIEFS)
    assert found.loss_s[3] == pytest.approx(0.1 / 9)


def test_what_a_miss_varies_makes_its_grade_noisier():
    """Twice the noise variance when the loss itself varies as much as the work: 0.1 / (1 + 2 · (0.1 / 0.05)²)."""
    before = Losses(np.array([1.0, 1.0, 1.0, 0.2]), 0.5)
    found = fitted([(["free"], 4.1)], [1.0, 1.0, 1.0, 0.0], noise_s=0.1, before=before)
    assert found.loss_s[3] == pytest.approx(0.1 / 9)


def test_a_miss_nobody_made_costs_more_when_the_others_do():
    """Three misses half as dear again as stated, known exactly: the fourth follows as far as their pool says."""
    rows = [([name], 4.0 + 1.5 * stated) for name, stated in zip(NAMES, (0.4, 1.0, 2.0), strict=False)] * 50
    found = fitted(rows, [0.4, 1.0, 2.0, 0.6], noise_s=1e-4)
    np.testing.assert_allclose(found.loss_s[:3], [0.6, 1.5, 3.0], rtol=1e-3)
    ratio = pool_levels(
        np.full(3, 1.5), np.full(3, 1e-9), mean_prior=(1.0, 0.25), between_prior=SpreadPrior(0.5, 2.0)
    ).beta[0]
    assert 1.1 < ratio < 1.5
    assert found.loss_s[3] == pytest.approx(0.6 * ratio, rel=1e-3)


def test_misses_made_together_tell_of_each_with_the_other_allowed_for():
    """Evidence of each with the other integrated out (Schur complement), then the pool of both ratios to the stated."""
    information = np.zeros((4, 4))
    information[:2, :2] = [[8.0, 5.0], [5.0, 30.0]]
    information[3, 3] = 8.0
    stated = np.array([0.4, 1.0, 0.6, 0.0])
    right = information @ [0.6, 1.3, 0.0, 0.1]
    ratios, variances = [], []
    for i, j in ((0, 1), (1, 0)):
        prior = (0.5 * stated[j]) ** -2
        share = information[i, j] / (information[j, j] + prior)
        precision = information[i, i] - share * information[j, i]
        ratios.append((right[i] - share * (right[j] + prior * stated[j])) / precision / stated[i])
        variances.append(1 / precision / stated[i] ** 2)
    pool = pool_levels(
        np.array(ratios), np.array(variances), mean_prior=(1.0, 0.25), between_prior=SpreadPrior(0.5, 2.0)
    )
    mean, sd = _common(information, right, stated, BELIEFS)
    np.testing.assert_allclose(mean, pool.beta[0] * stated, rtol=1e-5)
    np.testing.assert_allclose(sd[:3], np.hypot(pool.between, np.sqrt(pool.cov[0, 0])) * stated[:3], rtol=1e-5)
    assert sd[3] == 0.05
    mean, sd = _common(np.zeros((4, 4)), np.zeros(4), stated, BELIEFS)  # nothing seen: as stated, half as much off
    np.testing.assert_allclose((mean, sd), (stated, [0.2, 0.5, 0.3, 0.05]))


def test_losses_know_no_unit_of_time():
    """Ten times the seconds everywhere, ten times the losses; how much they vary stays a share."""
    rng = np.random.default_rng(3)
    rows = [([name], 4.0 + 0.8 * rng.exponential()) for name in NAMES[:3] for _ in range(4)]
    one, ten = (fitted(rows, [0.4, 1.0, 2.0, 0.6], noise_s=0.2, scale=scale) for scale in (1.0, 10.0))
    np.testing.assert_allclose(ten.loss_s, 10 * one.loss_s)
    assert ten.varies == pytest.approx(one.varies)


def test_no_loss_is_a_gain_and_rows_without_a_clean_time_say_nothing():
    assert fitted([(["free"], 3.0)] * 20, [1.0, 1.0, 1.0, 0.0]).loss_s[3] == 0.0
    _, rows = graded([("a1", ["free"], 4.1), ("a1", ["free"], 9.0), ("a1", [], 4.0)])
    before = Losses(np.ones(4), 0.2)
    nothing = Expected(np.full(3, np.nan), np.full(3, 0.1))
    assert fit_losses(rows, np.ones(4), nothing, before, BELIEFS) is before
    some = Expected(np.array([4.0, np.nan, 4.0]), np.full(3, 0.1))
    found = fit_losses(rows, np.array([1.0, 1.0, 1.0, 0.0]), some, Losses(np.ones(4), 0.0), BELIEFS)
    assert found.loss_s[3] == pytest.approx(0.1 / (1 + 4))


def test_how_much_losses_vary_by_moments():
    """Ten misses of 2 s that scatter by 1 s, beside ten of the belief (0.3): sqrt((0.5² + 0.3²) / 2)."""
    one, two = np.ones((10, 1)), np.full(10, 1.0)
    excess = np.tile([1.0, 3.0], 5)
    varies = _varies(one, excess, np.zeros(10), np.array([2.0]), two, BELIEFS)
    assert varies == pytest.approx(np.sqrt((0.25 + 0.09) / 2))
    noisy = _varies(one, excess, np.full(10, 0.64), np.array([2.0]), two, BELIEFS)  # of which the work itself 0.8 s
    assert noisy == pytest.approx(np.sqrt((0.09 + 0.09) / 2))
    light = _varies(one, excess, np.zeros(10), np.array([2.0]), two / 2, BELIEFS)
    assert light == pytest.approx(np.sqrt((0.25 * 5 + 0.09 * 10) / 15))
    # Three in one row vary apart from each other: (3 · 2 s · v)² is not expected, 3 · (2 s · v)² is.
    three = _varies(3 * one, 6 + np.tile([-1.0, 1.0], 5), np.zeros(10), np.array([2.0]), two, BELIEFS)
    assert three == pytest.approx(np.sqrt((10 * 1.0 + 0.09 * 360) / (10 * 3 * 4 + 360)))
    assert _varies(one, np.full(10, 2.0), np.full(10, 99.0), np.array([2.0]), two, BELIEFS) == 0.05
    assert _varies(one, np.tile([-90.0, 94.0], 5), np.zeros(10), np.array([2.0]), two, BELIEFS) == 1.0


def test_pace_is_each_ones_own_as_far_as_it_is_known():
    cells, _ = graded([("a1", [], 4.0)], athletes=4)
    cell = np.array([cells.index[a, "p1", "do-p1"] for a in ("a1", "a1", "a2", "a3")])
    gap = np.array([0.02, 0.10, -0.04, 0.5])
    pace = fit_pace(cells, cell, gap, np.array([3e9, 1e9, 4e9, 1e-9]), BELIEFS)
    assert pace[:2] == pytest.approx([0.04, -0.04], abs=1e-6)
    assert pace[2] == pytest.approx(pace[3], abs=1e-6)  # one knows next to nothing, the other nothing
    assert abs(pace[3]) < 0.02
    unsure = fit_pace(cells, cell, gap, np.array([300.0, 100.0, 800.0, 1e-9]), BELIEFS)
    own, variance = np.array([0.04, -0.04, 0.5]), np.array([1 / 400, 1 / 800, 1e9])
    pool = pool_levels(own, variance, mean_prior=(0.0, 0.05), between_prior=SpreadPrior(0.02, 8.0))
    np.testing.assert_allclose(unsure[:2], shrink(own, variance, pool)[0][:2], rtol=1e-9)
    nobody = fit_pace(cells, cell[:0], gap[:0], gap[:0], BELIEFS)
    np.testing.assert_allclose(nobody, np.zeros(len(cells.athletes)))
