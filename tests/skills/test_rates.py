"""How often athletes slip: what is counted where, and the gamma posterior of each rate, worked out by hand."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from scipy import stats

from lineup.season import Clearance, Miss, Task
from lineup.skills import Assumptions, estimate_skills
from lineup.skills.pooling import RatePool, fit_rates
from lineup.skills.rates import _lean, _pools, _Seen, _share, _Tally
from tests.builders import FIRST_SUNDAY, grade_row, grade_table, tiny_season

TASKS = (
    Task("do-1", "Work", "p1", (), "do", 4.0, misses=("slip", "foul"), release=True),
    Task("move", "Move", "p1", ("do-1",), "move", 2.0),
    Task("do-2", "Work", "p1", ("move",), "do", 4.0, misses=("slip",)),
    Task("lift", "Lift", "p2", (), "lift", 1.0, misses=("slip",), release=True),
    Task("brake", "Stop", None, (), "brake", 1.0, misses=("slip",)),
)
MISSES = {"slip": Miss("slip", "A slip", 0.5), "foul": Miss("foul", "A foul", 0.0, 1.0)}
OLD = FIRST_SUNDAY - timedelta(days=90)  # one half-life


def rates(rows, athletes=3, beliefs=None, **groups):
    """Rates from rows of (athlete, position, task, misses, times); all of a day one half-life before."""
    season = tiny_season(athletes=athletes, positions=2, shape=TASKS, grades=0, misses=MISSES)
    crew = {a: replace(who, group=groups.get(a, "regular")) for a, who in season.athletes.items()}
    made = [
        grade_row(a, p, task, 4.0, on=OLD, misses=tuple(misses), setting="race")
        for a, p, task, misses, times in rows
        for _ in range(times)
    ]
    season = season.replace(athletes=crew, grades=grade_table(made))
    return estimate_skills(season, beliefs=beliefs).misses


def test_every_task_that_lists_a_miss_is_a_chance_and_penalties_are_remembered_longer():
    found = rates([("a1", "p1", "do-1", ["slip"], 4), ("a1", "p1", "do-2", [], 6), ("a1", "p1", "move", [], 9)])
    assert found["a1", "p1", "slip"].chances == pytest.approx(10 / 2)
    assert found["a1", "p1", "foul"].chances == pytest.approx(4 * 0.5**0.25)
    assert found["a2", "p1", "slip"].chances == 0
    people = {(a, p, "slip") for a in ("a1", "a2", "a3") for p in ("p1", "p2")} | {("", "", "slip")}
    assert set(found) == people | {(a, "p1", "foul") for a in ("a1", "a2", "a3")}
    assert all((m.athlete, m.position, m.miss) == key for key, m in found.items())
    assert all(m.rate == pytest.approx(m.alpha / m.beta) for m in found.values())


def test_without_grades_rates_are_those_believed():
    found = rates([])
    assert found["a1", "p1", "slip"].rate == pytest.approx(0.05, rel=0.01)
    assert found["a1", "p1", "foul"].rate == pytest.approx(0.003, rel=0.01)
    assert found["a1", "p1", "foul"].alpha < found["a1", "p1", "slip"].alpha * 16 / 4


def test_who_slips_more_is_expected_to_and_his_other_position_follows_in_part():
    rows = [("a1", "p1", "do-1", ["slip"], 30), ("a1", "p1", "do-1", [], 50), ("a2", "p1", "do-1", [], 80)]
    rows += [(a, "p2", "lift", *seen) for a in ("a2", "a3") for seen in (([], 36), (["slip"], 4))]
    found = rates(rows)
    own = {key: m.rate for key, m in found.items() if key[2] == "slip"}
    assert 0.2 < own["a1", "p1", "slip"] < 0.4
    assert own["a2", "p1", "slip"] < own["a3", "p1", "slip"] < own["a1", "p1", "slip"]
    assert own["a1", "p2", "slip"] > own["a3", "p2", "slip"] > own["a2", "p2", "slip"]


def test_groups_that_slip_more_are_expected_to_where_nobody_was_graded():
    """Developing athletes slip five times as often here; one of them without a grade is expected to slip more."""
    crew = [f"a{i}" for i in range(1, 13)]
    groups = {a: "developing" if i % 2 else "regular" for i, a in enumerate(crew)}
    rows = []
    for a in crew[:10]:
        often = 30 if groups[a] == "developing" else 6
        rows += [(a, "p1", "do-1", ["slip"], often), (a, "p1", "do-1", [], 200 - often)]
    found = rates(rows, athletes=12, **groups)
    assert found["a12", "p1", "slip"].rate > 1.5 * found["a11", "p1", "slip"].rate
    ungraded, graded = found["a12", "p1", "slip"], found["a10", "p1", "slip"]
    assert ungraded.alpha < graded.alpha


def test_newcomers_may_be_further_from_the_pool():
    season = tiny_season(athletes=2, positions=2, shape=TASKS, grades=0, misses=MISSES)
    levels = (Clearance("a1", "p1", "cleared"), Clearance("a2", "p1", "training"))
    found = estimate_skills(season.replace(clearances=levels)).misses
    assert found["a2", "p1", "slip"].alpha < found["a1", "p1", "slip"].alpha
    sure = estimate_skills(season.replace(clearances=levels), beliefs=Assumptions(miss_trait_sd=1e-6)).misses
    old, new = (sure[a, "p1", "slip"].alpha for a in ("a1", "a2"))
    assert 1 / new - 1 / old == pytest.approx(2 / 4.0 - 1 / 4.0, rel=0.01)  # twice the variance, 1 / shape
    alike = Assumptions(newcomer_variance=1.0, miss_trait_sd=1e-6)
    found = estimate_skills(season.replace(clearances=levels), beliefs=alike).misses
    assert found["a2", "p1", "slip"].alpha == pytest.approx(found["a1", "p1", "slip"].alpha)


def tally(pairs, counts, chances, pool, factor=None, worth=None):
    size = len(pairs)
    return _Tally(
        np.array(pairs),
        np.array(counts, dtype=float),
        np.array(chances, dtype=float),
        np.ones(size) if factor is None else np.array(factor),
        np.full(size, pool.shape) if worth is None else np.array(worth),
        pool,
    )


def test_a_lone_record_has_the_textbook_posterior():
    """Gamma(a, b) before, k in n after: Gamma(a + k, b + n); `factor` times the rate for the same executions."""
    pool = RatePool(0.1, 4.0, 0.0)
    one = tally([0, 1], [3, 0], [20, 60], pool, factor=[1.0, 2.0], worth=[4.0, 3.0])
    first, second = _lean("slip", [("a1", "p1"), ("a2", "p1")], [one])
    assert (first.athlete, first.position, first.miss) == ("a1", "p1", "slip")
    assert (first.alpha, first.beta, first.chances) == pytest.approx((4 + 3, 4 / 0.1 + 20, 20))
    assert (second.alpha, second.beta, second.chances) == pytest.approx((3, 3 / 0.2 + 30, 30))
    assert second.rate == pytest.approx(3 / 45)


def test_a_record_in_another_position_counts_in_part():
    """The share that counts is read off one athlete and has to explain all of them."""
    p1, p2 = RatePool(0.1, 4.0, 0.0), RatePool(0.2, 6.0, 0.0)
    pairs = [("a1", "p1"), ("a2", "p1"), ("a1", "p2"), ("a2", "p2"), ("a3", "p2")]
    here, there = tally([0, 1], [6, 1], [30, 30], p1), tally([2, 3, 4], [8, 2, 5], [20, 10, 25], p2)
    found = {(m.athlete, m.position): m for m in _lean("slip", pairs, [here, there])}
    share = (found["a1", "p1"].alpha - 4 - 6) / 8  # eight made elsewhere
    assert 0 < share <= 1
    # made and due elsewhere: a1 8 of 20 · 0.2 and 6 of 30 · 0.1; a2 2 of 10 · 0.2 and 1 of 30 · 0.1
    assert found["a1", "p1"].beta == pytest.approx((4 + share * 4) / 0.1 + 30)
    assert (found["a2", "p1"].alpha, found["a2", "p1"].beta) == pytest.approx(
        (4 + 1 + share * 2, (4 + share * 2) / 0.1 + 30)
    )
    assert (found["a1", "p2"].alpha, found["a1", "p2"].beta) == pytest.approx(
        (6 + 8 + share * 6, (6 + share * 3) / 0.2 + 20)
    )
    assert (found["a3", "p2"].alpha, found["a3", "p2"].beta) == pytest.approx((6 + 5, 6 / 0.2 + 25))


@pytest.mark.parametrize(("rare", "believed", "differ", "shape"), [(False, 0.05, 0.7, 4.0), (True, 0.003, 0.3, 16.0)])
def test_what_a_position_says_of_each_athlete_by_hand(rare, believed, differ, shape):
    """The fit is held against the negative binomial; here what it is made of. The third cannot make this miss."""
    counts, chances = np.array([4.0, 1.0, 0.0, 2.0]), np.array([50.0, 40.0, 0.0, 10.0])
    factor, doubt, scatter = (
        np.array([1.0, 2.0, 9.0, 1.5]),
        np.array([0.0, 0.1, 9.0, 0.2]),
        np.array([1.0, 2.0, 9.0, 1.0]),
    )
    places = {"p1": np.array([0, 1]), "p2": np.array([3])}
    found = _pools(_Seen("slip", rare, places, counts, chances), factor, doubt, scatter, Assumptions())
    worth, everywhere = chances * factor, [0, 1, 3]
    common = fit_rates(counts[everywhere], worth[everywhere], typical=believed, typical_sd=1.5, shape=shape)
    near = np.hypot(differ, np.sqrt(common.doubt))
    for tally, at in zip(found, places.values(), strict=True):
        pool = fit_rates(counts[at], worth[at], typical=common.mean, typical_sd=near, shape=shape)
        assert (tally.pool.mean, tally.pool.shape) == pytest.approx((pool.mean, pool.shape), rel=1e-3)
        np.testing.assert_allclose(tally.worth, 1 / (scatter[at] / pool.shape + pool.doubt + doubt[at]), rtol=1e-3)
        np.testing.assert_allclose(tally.chances, worth[at])
        np.testing.assert_allclose((tally.counts, tally.factor), (counts[at], factor[at]))


@pytest.mark.parametrize("alike", [True, False])
@pytest.mark.parametrize(("athletes", "chances"), [(40, 80.0), (10, 4.0), (4, 30.0)])
def test_the_share_is_the_most_credible_one(alike, athletes, chances):
    """Against scipy.stats.nbinom: each count given the gamma posterior of the others, belief 0.3 ± 0.3."""
    pool = RatePool(0.1, 3.0, 0.0)
    for seed in range(7, 17):
        rng = np.random.default_rng(seed)
        true = rng.gamma(3.0, 0.1 / 3.0, (2, athletes))
        made = rng.poisson(chances * (true[[0, 0]] if alike else true)).astype(float)
        tallies = [tally(range(athletes), made[i], np.full(athletes, chances), pool) for i in (0, 1)]
        elsewhere = [(made[1 - i], np.full(athletes, chances * 0.1)) for i in (0, 1)]

        def credible(share, tallies=tallies, elsewhere=elsewhere):
            told = 0.0
            for mine, (other, due) in zip(tallies, elsewhere, strict=True):
                a, b = 3.0 + share * other, (3.0 + share * due) / 0.1
                told += stats.nbinom(a, b / (b + mine.chances)).logpmf(mine.counts).sum()
            return told + stats.norm(0.3, 0.3).logpdf(share)

        found = _share(tallies, elsewhere)
        assert found == pytest.approx(max(np.arange(11) / 10, key=credible))
        if athletes == 40:
            assert found > 0.6 if alike else found < 0.5
    assert _share([], []) == pytest.approx(0.3)


def test_a_position_leans_on_the_others():
    """The rate of a position without grades lies where the other one's does, and is less sure."""
    rows = [(a, "p1", "do-1", misses, times) for a in ("a1", "a2", "a3") for misses, times in ((["slip"], 8), ([], 32))]
    found = rates(rows)
    assert 0.1 < found["a1", "p2", "slip"].rate < 0.25
    assert found["a1", "p2", "slip"].alpha < found["a1", "p1", "slip"].alpha - 4
    pool = fit_rates(np.full(3, 4.0), np.full(3, 20.0), typical=0.05, typical_sd=1.5, shape=4.0)
    assert found["a1", "p1", "slip"].rate == pytest.approx(pool.mean, rel=0.1)
