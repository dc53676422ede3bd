"""What a setting adds is told from who works in it; what standing adds is told from few athletes' luck."""

from datetime import timedelta

import numpy as np
import pytest
from scipy.optimize import minimize

from lineup.season import Clearance, Task
from lineup.skills import Assumptions, estimate_skills
from lineup.skills.effects import _pool_effects, effect_columns, own_levels
from lineup.skills.grades import make_cells, make_rows
from lineup.skills.mixed import SpreadPrior
from lineup.skills.pooling import pool_levels
from lineup.skills.slip_traits import fit_trait_rates
from tests.builders import FIRST_SUNDAY, grade_row, grade_table, tiny_season

DAY = FIRST_SUNDAY - timedelta(days=5)


def sample(rng, level, athletes, settings):
    """Rows of graded times around `level[athlete]` (ln seconds), `settings`: how many of each per athlete."""
    return [
        grade_row(athlete, "p1", "do-p1", float(seconds), on=DAY, setting=setting)
        for athlete in athletes
        for setting, (number, shift) in settings(athlete).items()
        for seconds in np.exp(level[athlete] + shift + 0.1 * rng.standard_normal(number))
    ]


def test_who_works_the_races_is_no_part_of_what_a_race_adds():
    """The quicker half works the races and practises a little, the slower half practises alone; practice adds -0.02."""
    rng = np.random.default_rng(4)
    season = tiny_season(athletes=20, positions=1, grades=0)
    names = list(season.athletes)
    level = {a: np.log(4.0) + (-0.06 if i < 10 else 0.06) + 0.02 * rng.standard_normal() for i, a in enumerate(names)}

    def settings(athlete):
        racer = names.index(athlete) < 10
        return {"race": (30, 0.0), "practice": (10, -0.02)} if racer else {"practice": (30, -0.02)}

    estimates = estimate_skills(season.replace(grades=grade_table(sample(rng, level, names, settings))))
    # Standard error of the comparison of ten racers with themselves: 0.1 * sqrt(1/300 + 1/100) = 0.012.
    assert estimates.setting["do-p1", "practice"] == pytest.approx(-0.02, abs=0.025)
    off = np.array([estimates.splits[a, "p1", "do-p1"].mean - level[a] for a in names])
    assert abs(off[10:].mean()) < 0.03


def standing(rng, lead, developing, number=24):
    """Season of leads, regulars and developing athletes, a third each, with six grades each and two without any."""
    season = tiny_season(athletes=number, positions=1, grades=0)
    groups = ["lead", "regular", "developing"]
    crew = {
        a: type(who)(a, who.name, who.home, group=groups[i % 3]) for i, (a, who) in enumerate(season.athletes.items())
    }
    crew |= {a: type(who)(a, who.name, who.home, group="candidate") for a, who in list(crew.items())[-1:]}
    add = {"lead": lead, "regular": 0.0, "developing": developing, "candidate": developing}
    level = {a: np.log(4.0) + add[who.group] + 0.02 * rng.standard_normal() for a, who in crew.items()}
    graded = list(crew)[:-4]
    rows = sample(rng, level, graded, lambda _: {"race": (6, 0.0)})
    return season.replace(athletes=crew, grades=grade_table(rows)), level


def test_an_ungraded_athlete_is_expected_where_his_group_is():
    season, _ = standing(np.random.default_rng(5), lead=-0.08, developing=0.08)
    found = estimate_skills(season)
    ungraded = {season.athletes[a].group: found.splits[a, "p1", "do-p1"] for a in list(season.athletes)[-4:]}
    assert all(e.grades == 0 for e in ungraded.values())
    means = {group: e.mean - np.log(4.0) for group, e in ungraded.items()}
    # Leads and developing athletes lie 0.08 off, each known from about seven: 0.02 / sqrt(7) and the prior's pull.
    assert means["lead"] == pytest.approx(-0.08, abs=0.035)
    assert means["developing"] == pytest.approx(0.08, abs=0.035)
    assert means["candidate"] > means["developing"]  # and new besides
    assert ungraded["candidate"].sd > ungraded["developing"].sd


def test_groups_that_do_not_differ_are_not_told_apart():
    season, _ = standing(np.random.default_rng(6), lead=0.0, developing=0.0)
    found = estimate_skills(season)
    means = [found.splits[a, "p1", "do-p1"].mean - np.log(4.0) for a in list(season.athletes)[-4:-1]]
    assert np.abs(means).max() < 0.03


def test_a_shared_early_split_has_one_effect_in_seconds():
    """Positions with different nominal times that share an early split: what practice adds is the same for both."""
    rng = np.random.default_rng(8)
    season, names = _early_season()
    rows = [
        grade_row(a, p, f"reach-{p}", float(base + shift + 0.05 * rng.standard_normal()), on=DAY, setting=setting)
        for p, base in (("p1", 1.8), ("p2", 0.2))
        for a in names
        for setting, shift in (("race", 0.0), ("practice", -0.1))
        for _ in range(12)
    ]
    found = estimate_skills(season.replace(grades=grade_table(rows)))
    assert found.setting["reach", "practice"] == pytest.approx(-0.1, abs=0.03)


def _early_season():
    shape = tuple(
        Task(f"reach-{p}", "To the wheel", p, (), "reach", seconds, early=True, release=True)
        for p, seconds in (("p1", 1.8), ("p2", 0.2))
    )
    season = tiny_season(athletes=4, positions=2, grades=0, shape=shape)
    everyone = tuple(Clearance(a, p, "cleared") for a in season.athletes for p in ("p1", "p2"))
    return season.replace(clearances=everyone), list(season.athletes)


def test_rates_of_traits_are_found_and_leave_doubt():
    """Poisson counts whose rates differ by pool and by trait; standard errors against the scatter of 200 samples."""
    rng = np.random.default_rng(9)
    pool = np.repeat(np.arange(4), 30)
    traits = (rng.random((120, 2)) < 0.4).astype(float)
    chances = rng.uniform(10, 60, 120)
    rate = np.array([0.02, 0.05, 0.1, 0.2])[pool] * np.exp(traits @ [0.5, -0.3])
    found = [fit_trait_rates(rng.poisson(rate * chances), chances, pool, traits, 1e6, 10.0) for _ in range(200)]
    effects = np.array([effect for effect, _ in found])
    np.testing.assert_allclose(effects.mean(axis=0), [0.5, -0.3], atol=0.02)
    stated = np.sqrt(np.diagonal(np.mean([cov for _, cov in found], axis=0)))
    np.testing.assert_allclose(effects.std(axis=0), stated, rtol=0.15)


def test_rates_of_traits_without_counts_stay_where_they_are_believed():
    none = np.zeros(0)
    effect, cov = fit_trait_rates(none, none, np.zeros(0, dtype=np.intp), np.zeros((0, 3)), 4.0, 0.3)
    np.testing.assert_allclose(effect, 0.0)
    np.testing.assert_allclose(cov, np.eye(3) * 0.09)
    effect, _ = fit_trait_rates(np.zeros(2), np.ones(2), np.zeros(2, dtype=np.intp), np.eye(2), 4.0, 0.3)
    np.testing.assert_allclose(effect, 0.0, atol=1e-9)


def noisy_season(groups, number=3):
    """Cells of a season of `number` athletes and these (position, split, early) tasks."""
    shape = tuple(
        Task(f"{s}-{p}", "", p, (), s, 1.0, early=early, load=load, release=True) for p, s, early, load in groups
    )
    positions = list(dict.fromkeys(p for p, *_ in groups))
    return make_cells(tiny_season(athletes=number, positions=positions, shape=shape, grades=0), 0.5)


def test_columns_of_effects_by_hand():
    """Practice, tryout, then each tire: tires count only where the load matters, and never the reference."""
    shape = (
        Task("lift", "", "p1", (), "lift", 1.0, load=True, release=True),
        Task("run", "", "p1", (), "run", 1.0, release=True),
    )
    season = tiny_season(positions=1, shape=shape, grades=0)
    facts = [
        ("lift", "race", "hard"),
        ("lift", "tryout", "plain"),
        ("run", "practice", "hard"),
        ("lift", "practice", "soft"),
    ]
    made = [grade_row("a1", "p1", task, 1.0, setting=setting, tire=tire) for task, setting, tire in facts]
    season = season.replace(grades=grade_table(made))
    cells = make_cells(season, 0.5)
    rows, _ = make_rows(season, cells, FIRST_SUNDAY, 90.0)
    assert rows.tires == ("hard", "plain", "soft")
    columns = effect_columns(rows, cells, reference=1)
    assert columns.tolist() == [[0, 0, 1, 0, 0], [0, 1, 0, 0, 0], [1, 0, 0, 0, 0], [1, 0, 0, 0, 1]]


def test_effects_and_levels_with_much_evidence_are_least_squares():
    """Against numpy's lstsq with a dummy for each athlete: what practice and a tire add, and every own level."""
    rng = np.random.default_rng(3)
    cells = noisy_season([("p1", "lift", False, True)])
    cell = np.repeat(np.arange(3), 400)
    columns = (rng.random((1200, 2)) < np.array([0.2, 0.5, 0.7])[cell][:, None]).astype(float)
    x = np.array([0.0, 0.3, -0.2])[cell] + columns @ [0.05, -0.08] + 0.01 * rng.standard_normal(1200)
    precision = rng.uniform(1e4, 3e4, 1200)
    found = own_levels(cells, cell, x, columns, precision, Assumptions())
    dense = np.column_stack([columns, cell[:, None] == np.arange(3)]) * np.sqrt(precision)[:, None]
    exact = np.linalg.lstsq(dense, x * np.sqrt(precision), rcond=None)[0]
    np.testing.assert_allclose(found.effect[0], exact[:2], atol=1e-4)
    np.testing.assert_allclose(found.level[:3], exact[2:], atol=1e-4)
    covariance = np.linalg.inv(dense.T @ dense)
    total = np.bincount(cell, precision)
    assert np.isinf(found.variance[3:]).all()
    # One athlete's level against the usual mix: 1/Σw, and the doubt about effects as far as his own mix is unusual.
    mix = np.array([[precision[cell == c] @ columns[cell == c, k] / total[c] for k in (0, 1)] for c in range(3)])
    unusual = mix - precision @ columns / precision.sum()
    expected = 1 / total + np.einsum("ci,ij,cj->c", unusual, covariance[:2, :2], unusual)
    np.testing.assert_allclose(found.variance[:3], expected, rtol=0.02)


def test_effects_with_little_evidence_have_the_conjugate_posterior():
    """One split known well (effect 0.1), one barely: the latter's is the normal posterior around the former's pool."""
    cells = noisy_season([("p1", "lift", False, False), ("p1", "run", False, False)])
    at = {split: cells.index["a1", "p1", split] for split in ("lift", "run")}
    cell = np.array([at["lift"], at["lift"], at["run"], at["run"]])
    columns = np.array([[1.0], [0.0], [1.0], [0.0]])
    x, precision = np.array([0.1, 0.0, 0.5, 0.0]), np.array([2e8, 2e8, 200.0, 200.0])
    effect = own_levels(cells, cell, x, columns, precision, Assumptions()).effect
    told = [(0.1, 1e-8), (0.5, 1 / 100)]  # difference of two rows of precision w: variance 2 / w
    pool = pool_levels(*np.array(told).T, mean_prior=(0.0, 0.1), between_prior=SpreadPrior(0.02, 2.0))
    mean, variance = pool.beta[0], pool.between**2 + pool.cov[0, 0]
    assert effect[0, 0] == pytest.approx(0.1, abs=1e-4)
    assert effect[1, 0] == pytest.approx((100 * 0.5 + mean / variance) / (100 + 1 / variance), rel=1e-3)


def test_splits_of_another_kind_have_effects_of_their_own():
    """What practice adds to ln seconds says nothing of early tasks in seconds, nor of what car and driver do."""
    shape = (
        Task("lift", "", "p1", (), "lift", 1.0, release=True),
        Task("reach", "", "p1", (), "reach", 1.0, early=True),
        Task("brake", "", None, (), "brake", 1.0),
        Task("swap", "", "p1", (), "swap", 1.0),
    )
    cells = make_cells(tiny_season(positions=1, shape=shape, grades=0), 0.5)
    cell = np.repeat(cells.index["a1", "p1", "lift"], 2)
    effect = own_levels(
        cells, cell, np.array([0.1, 0.0]), np.array([[1.0], [0.0]]), np.full(2, 1e8), Assumptions()
    ).effect
    by_split = {split: effect[i, 0] for i, (_, split) in enumerate(cells.pools)}
    assert by_split["lift"] == pytest.approx(0.1, abs=1e-3)
    assert by_split["swap"] > 0.05
    assert by_split["reach"] == by_split["brake"] == 0.0


def test_an_effect_nobody_tells_of_is_believed_to_be_none():
    """A row that tells next to nothing (precision 0.5 of a difference) does not count as one split's word."""
    found = [(np.array([0.2]), np.array([[1 / (0.3**-2 + 0.5)]]))]
    mean, sd = _pool_effects(found, Assumptions())
    assert (mean[0], sd[0]) == (0.0, pytest.approx(np.hypot(0.10, 0.02)))
    told = [(np.array([0.2, 0.0]), np.diag([1 / (0.3**-2 + 5.0), 1.0]))]
    mean, sd = _pool_effects(told, Assumptions())
    value = 0.2 * (0.3**-2 + 5) / 5  # the loose belief (0 ± 0.3) taken out again
    pool = pool_levels(
        np.array([value]), np.array([1 / 5]), mean_prior=(0.0, 0.1), between_prior=SpreadPrior(0.02, 2.0)
    )
    assert mean == pytest.approx([pool.beta[0], 0.0])
    assert sd == pytest.approx([np.hypot(pool.between, np.sqrt(pool.cov[0, 0])), np.hypot(0.10, 0.02)])


@pytest.mark.parametrize("weight", [1.0, 0.02])
def test_rates_of_traits_are_the_most_credible_ones(weight):
    """Against scipy's minimiser on the Poisson likelihood written out, every pool with a rate of its own.

    Old grades count a fraction of a count each, so whole pools may hold less than one.
    """
    rng = np.random.default_rng(12)
    pool = np.repeat(np.arange(3), 20)
    traits = (rng.random((60, 2)) < 0.4).astype(float)
    chances = weight * rng.uniform(10, 60, 60)
    rate = np.array([0.02, 0.1, 0.4])[pool] * np.exp(traits @ [1.2, -0.9])
    counts = weight * rng.poisson(rate * chances / weight)
    effect, cov = fit_trait_rates(counts, chances, pool, traits, 1e9, 0.5)

    def badness(point):
        log_rate = point[:3][pool] + traits @ point[3:]
        return (np.exp(log_rate) * chances - counts * log_rate).sum() + (point[3:] ** 2).sum() / 2 / 0.5**2

    best = minimize(badness, np.array([-3.0, -2.0, -1.0, 0.0, 0.0]), method="BFGS", tol=1e-8).x
    np.testing.assert_allclose(effect, best[3:], atol=1e-3)
    table = np.column_stack([pool[:, None] == np.arange(3), traits])
    due = np.exp(best[:3][pool] + traits @ best[3:]) * chances
    information = table.T @ (due[:, None] * table) + np.diag([0, 0, 0, 4.0, 4.0])  # Fisher's, and the belief's
    np.testing.assert_allclose(cov, np.linalg.inv(information)[3:, 3:], rtol=5e-3, atol=1e-4)


def test_rows_that_tell_much_count_less_the_more_athletes_differ():
    """Quasi-likelihood of the negative binomial: a count due weighs due / (1 + due / shape); two rows by hand."""
    counts, chances, traits = np.array([8.0, 8.0]), np.array([8.0, 8.0]), np.array([[1.0], [0.0]])
    effect, cov = fit_trait_rates(counts, chances, np.zeros(2, dtype=np.intp), traits, 4.0, 0.5)
    weight = 8 / (1 + 8 / 4)
    assert effect == pytest.approx([0.0])
    assert cov == pytest.approx(np.array([[1 / (weight / 2 + 1 / 0.5**2)]]))  # half of it tells apart


def test_a_trait_of_great_effect_is_found_without_overshooting():
    """One row in a thousand slips fifty times as often: ln 50, as the likelihood of two rates says in closed form."""
    counts = np.append(np.ones(1000), 50.0)
    traits = np.append(np.zeros(1000), 1.0)[:, None]
    effect, _ = fit_trait_rates(counts, np.ones(1001), np.zeros(1001, dtype=np.intp), traits, 1e9, 1e3)
    assert effect == pytest.approx([np.log(50.0)], abs=1e-4)
    little, _ = fit_trait_rates(
        np.array([0.1, 0.3]), np.full(2, 0.2), np.zeros(2, dtype=np.intp), np.eye(2)[:, :1], 1e9, 1e3
    )
    assert little == pytest.approx([-np.log(3.0)], abs=1e-4)  # old grades: far less than one chance in all
