"""What pool and standing lead to expect: dense linear algebra where it is exact, arithmetic by hand elsewhere."""

from dataclasses import replace

import numpy as np
import pytest

from lineup.season import Clearance, Task
from lineup.skills import Assumptions
from lineup.skills.grades import make_cells
from lineup.skills.levels import (
    _fit_splits,
    _fit_traits,
    _mean_of_cleared,
    _typical,
    _usual_traits,
    fit_levels,
)
from lineup.skills.mixed import MixedFit
from tests.builders import tiny_season

BELIEFS = Assumptions()


def crew(groups="", training=(), tasks=None):
    """Cells of athletes a1, a2, … of these groups (l: lead, d: developing, c: candidate, r: regular) in p1 and p2."""
    tasks = tasks or [("p1", "lift", False), ("p1", "reach", True), ("p2", "lift", False)]
    shape = tuple(Task(f"{s}-{p}", "", p, (), s, 2.0, early=early, release=True) for p, s, early in tasks)
    names = {"l": "lead", "d": "developing", "c": "candidate", "r": "regular"}
    season = tiny_season(athletes=len(groups), positions=["p1", "p2"], shape=shape, grades=0)
    people = {a: replace(who, group=names[g]) for (a, who), g in zip(season.athletes.items(), groups, strict=True)}
    levels = tuple(Clearance(a, p, "training" if a in training else "cleared") for a in people for p in ("p1", "p2"))
    return make_cells(season.replace(athletes=people, clearances=levels), 0.5)


def test_traits_are_compared_within_pools_and_athletes_count_once():
    """Against generalised least squares with dense matrices, at the between variance that the fit reports.

    Both sides centred by pool; an athlete's splits share an effect, so a dozen splits of one newcomer tell little.
    """
    cells = crew(
        "llrrdd", training=("a6",), tasks=[("p1", "lift", False), ("p2", "lift", False), ("p2", "drop", False)]
    )
    rng = np.random.default_rng(5)
    own, variance = rng.standard_normal(len(cells.keys)), rng.uniform(0.001, 0.01, len(cells.keys))
    variance[[3, 7]] = np.inf
    traits, doubt = _fit_traits(cells, own, variance, np.array([9.0, 0.07]), BELIEFS)
    seen = np.flatnonzero(np.isfinite(variance))
    noise = (1 - 0.3) * 0.07**2 + variance[seen]
    table = np.column_stack([own[seen], cells.traits[seen]])
    for pool in range(len(cells.pools)):
        at = cells.pool[seen] == pool
        if at.any():
            table[at] -= np.average(table[at], axis=0, weights=1 / noise[at])
    prior_mean, prior_precision = np.array([0.03, 0.0, 0.0]), np.full(3, 0.06**-2)
    alike = (cells.athlete[seen][:, None] == cells.athlete[seen]).astype(float)

    def solve(between2):
        inverse = np.linalg.inv(np.diag(noise) + between2 * alike)
        information = table[:, 1:].T @ inverse @ table[:, 1:] + np.diag(prior_precision)
        beta = np.linalg.solve(information, table[:, 1:].T @ inverse @ table[:, 0] + prior_precision * prior_mean)
        residual = table[:, 0] - table[:, 1:] @ beta
        bad = residual @ inverse @ residual + (prior_precision * (beta - prior_mean) ** 2).sum()
        bad += np.linalg.slogdet(information)[1] - np.linalg.slogdet(inverse)[1]
        return bad, beta, np.linalg.inv(information)

    _, beta, covariance = min((solve(b) for b in np.exp(np.linspace(-9, 3, 1201))), key=lambda found: found[0])
    np.testing.assert_allclose(traits[0], beta, atol=2e-3)
    np.testing.assert_allclose(doubt[0], covariance, atol=1e-4)
    np.testing.assert_array_equal(traits, traits[[0] * len(traits)])


def test_without_grades_only_newcomers_are_expected_elsewhere():
    cells = crew("lrdc", training=("a2",))
    traits, doubt = _fit_traits(
        cells, np.zeros(len(cells.keys)), np.full(len(cells.keys), np.inf), np.full(2, 0.07), BELIEFS
    )
    np.testing.assert_array_equal(traits, np.tile([0.03, 0.0, 0.0], (len(cells.pools), 1)))
    np.testing.assert_allclose(doubt, np.tile(np.eye(3) * 0.06**2, (len(cells.pools), 1, 1)))


def test_each_scale_has_traits_of_its_own():
    """Leads quicker by 0.2 in ln seconds, and slower by 0.1 units in early tasks."""
    cells = crew("llllrrrr")
    own = np.where(cells.traits[:, 1] > 0, np.where(cells.log[cells.pool], -0.2, 0.1), 0.0)
    traits, _ = _fit_traits(cells, own, np.full(len(own), 1e-4), np.full(2, 0.07), BELIEFS)
    assert traits[cells.log, 1] == pytest.approx(np.full(cells.log.sum(), -0.2), abs=0.06)
    assert traits[~cells.log, 1] == pytest.approx([0.1], abs=0.05)


def test_positions_that_share_a_split_have_means_of_their_own_and_one_spread():
    """Known exactly: conjugate normal means around the nominal value ± 0.25, the spread common about both means."""
    cells = crew("r" * 40)
    rng = np.random.default_rng(6)
    base = np.array([0.2, -5.0, 0.9])[cells.pool]
    own = base + 0.3 * rng.standard_normal(len(base))
    pools, fits = _fit_splits(cells, own, np.full(len(own), 1e-6), np.array([0.3, 0.3]), BELIEFS)
    assert [list(some) for some in pools] == [[0, 2], [1]]
    means = [own[cells.pool == i].mean() for i in range(3)]
    rest = np.concatenate([own[cells.pool == i] - means[i] for i in (0, 2)])
    assert fits[0].between == pytest.approx(np.sqrt((rest**2).sum() / 78), rel=0.03)
    for fit, at in zip(fits, ([0, 2], [1]), strict=True):
        weight = 40 / (fit.between**2 + 1e-6)
        expected = (weight * np.array(means)[at] + cells.nominal[at] / 0.25**2) / (weight + 1 / 0.25**2)
        assert fit.beta == pytest.approx(expected)
        np.testing.assert_allclose(fit.cov, np.eye(len(at)) / (weight + 1 / 0.25**2), atol=1e-12)


def test_athletes_are_shrunk_as_efron_and_morris_shrank_batters():
    """JASA 70 (1975) 311-319: factor .212 for 18 batting averages (recomputed .21165), when nothing is believed."""
    hits = [18, 17, 16, 15, 14, 14, 13, 12, 11, 11, 10, 10, 10, 10, 10, 9, 8, 7]
    cells = crew("r" * 18, tasks=[("p1", "lift", False)])
    nothing = Assumptions(nominal_sd=1e4, between_evidence=1e-12)
    variance = np.full(18, 0.00433284)
    _, fits = _fit_splits(cells, np.array(hits) / 45, variance, np.full(2, 0.07), nothing)
    assert fits[0].between ** 2 / (fits[0].between ** 2 + variance[0]) == pytest.approx(0.21165, abs=1e-5)


def test_newcomers_scatter_more_so_they_tell_less_of_the_mean():
    """Two athletes known exactly, one new: weights 1 and 1 / 2 about the mean, 0.25 about the nominal value."""
    cells = crew("rr", training=("a2",), tasks=[("p1", "lift", False)])
    _, fits = _fit_splits(cells, np.array([0.5, 1.1]), np.full(2, 1e-9), np.full(2, 0.07), BELIEFS)
    w = np.array([1.0, 0.5]) / fits[0].between ** 2
    nominal = np.log(2.0)
    assert fits[0].beta == pytest.approx([(w @ [0.5, 1.1] + nominal / 0.25**2) / (w.sum() + 1 / 0.25**2)])


def test_the_typical_spread_is_the_median_of_splits_with_four_athletes():
    tasks = [("p1", "a", False), ("p1", "b", False), ("p1", "c", False), ("p1", "d", True), ("p2", "c", False)]
    cells = crew("rrrr", tasks=tasks)
    variance = np.ones(len(cells.keys))
    variance[[i for i, (a, _, s) in enumerate(cells.keys) if (s == "a" and a == "a1") or (s == "c" and a > "a2")]] = (
        np.inf
    )
    pools = [np.flatnonzero([split == name for _, split in cells.pools]) for name in cells.splits]
    fits = [MixedFit(np.zeros(1), np.eye(1), between, 1.0) for between in (9.0, 0.2, 0.3, 0.5)]
    # a: three athletes are too few; c: two in either position are four in all
    found = _typical(cells, variance, pools, fits, BELIEFS)
    assert found == pytest.approx([np.median([0.07, 0.5]), np.median([0.07, 0.2, 0.3])])


def test_usual_traits_and_the_mean_of_the_cleared_by_hand():
    cells = crew("lrdc", training=("a2",), tasks=[("p1", "lift", False), ("p2", "drop", False)])
    variance = np.full(len(cells.keys), np.inf)
    graded = [i for i, (a, p, _) in enumerate(cells.keys) if p == "p1" and a != "a3"]
    variance[graded] = 0.1
    usual = _usual_traits(cells, variance)
    np.testing.assert_allclose(usual, [[2 / 3, 1 / 3, 1 / 3], [0, 0, 0]])  # a1 lead, a2 new, a4 new and rising
    one = variance.copy()
    one[cells.index["a1", "p2", "drop"]] = 0.1
    np.testing.assert_allclose(_usual_traits(cells, one)[1], [0, 1, 0])  # the lead alone
    centre = 5.0 + np.arange(len(cells.keys))
    lead = centre[cells.index["a1", "p1", "lift"]]
    np.testing.assert_array_equal(_mean_of_cleared(cells, variance, centre, np.array([1.0, 2.0])), [lead, 2.0])


def test_what_is_expected_of_an_athlete_is_his_pool_and_his_traits():
    cells = crew("lrdcrr", training=("a2",), tasks=[("p1", "lift", False)])
    cell = np.repeat(np.arange(5), 10)
    rng = np.random.default_rng(8)
    x = np.array([0.4, 0.8, 0.7, 0.9, 0.6])[cell] + 0.01 * rng.standard_normal(50)
    found = fit_levels(cells, cell, x, np.zeros((50, 1)), np.full(50, 1e4), np.full(2, 0.07), BELIEFS)
    np.testing.assert_allclose(found.own[:5], [x[cell == c].mean() for c in range(5)])
    np.testing.assert_allclose(found.own_variance, [1e-5] * 5 + [np.inf])
    traits, doubt = _fit_traits(cells, found.own, found.own_variance, np.full(2, 0.07), BELIEFS)
    added = found.centre - found.centre[4]
    np.testing.assert_allclose(added, cells.traits @ traits[0], atol=1e-12)
    unusual = cells.traits - cells.traits[:5].mean(axis=0)
    doubts = np.array([u @ doubt[0] @ u for u in unusual])
    np.testing.assert_allclose(found.centre_variance, found.mean_variance[0] + doubts)
    np.testing.assert_allclose(found.scale / found.between[0], np.sqrt([1, 2, 1, 2, 1, 1]))
    assert found.mean == pytest.approx([found.centre[[0, 2, 4]].mean()])  # cleared and graded
