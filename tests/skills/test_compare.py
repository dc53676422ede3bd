"""Chances from independent draws."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from scipy.stats import norm

from lineup.errors import InputError
from lineup.season import Choreography, Task
from lineup.skills import (
    MissEstimate,
    PoolEstimate,
    SkillEstimates,
    SplitEstimate,
    chance_faster,
    draws,
    own_seconds,
    shared_doubt,
)

SPLITS = {
    ("a", "jack", "lift"): (np.log(1.00), 0.02),
    ("b", "jack", "lift"): (np.log(1.03), 0.03),
    ("a", "jack", "drop"): (np.log(0.50), 0.02),
    ("b", "jack", "drop"): (np.log(0.60), 0.02),
}
RATES = {"a": (40.0, 100.0), "b": (4.0, 100.0)}  # gamma shape and inverse scale of "slip"


@pytest.fixture
def estimates():
    splits = {key: SplitEstimate(*key, "log", mean, sd, 0.1, 20.0) for key, (mean, sd) in SPLITS.items()}
    rates = {(w, "jack", "slip"): MissEstimate(w, "jack", "slip", a / b, a, b, 100.0) for w, (a, b) in RATES.items()}
    return SkillEstimates(date(2026, 4, 5), splits, rates, loss_s={"slip": 1.0}, tire={("lift", "heavy"): 0.1})


def test_chance_matches_the_closed_form(estimates):
    """Two independent normals on the log scale: Φ((μ_b - μ_a) / √(sd_a² + sd_b²))."""
    exact = norm.cdf(np.log(1.03) / np.hypot(0.02, 0.03))
    assert chance_faster(estimates, "a", "b", "jack", "lift", n=65536) == pytest.approx(exact, abs=0.006)
    opposite = chance_faster(estimates, "b", "a", "jack", "lift", n=65536)
    assert opposite == pytest.approx(1 - exact, abs=0.006)


def test_an_athlete_is_as_fast_as_himself(estimates):
    assert chance_faster(estimates, "a", "a", "jack", "lift") == 0.5


def test_draws_are_reproducible_and_independent(estimates):
    first, again = (draws(estimates, "a", "jack", "lift", 4096, seed=7) for _ in range(2))
    np.testing.assert_array_equal(first, again)
    other = draws(estimates, "b", "jack", "lift", 4096, seed=7)
    assert abs(np.corrcoef(first, other)[0, 1]) < 0.06
    assert np.median(first) == pytest.approx(1.0, rel=0.002)
    assert np.median(draws(estimates, "a", "jack", "lift", tire="heavy")) == pytest.approx(np.exp(0.1), rel=0.003)


def test_whole_position_counts_tasks_and_misses(estimates):
    """Expected own seconds: the mean of a log-normal is exp(μ + (sd² + spread²) / 2), plus rate times loss."""
    tasks = [Task(f"lift-{i}", "", "jack", (), "lift", 1.0, misses=("slip",)) for i in (1, 2)]
    work = Choreography("four", "Four tires", (*tasks, Task("drop", "", "jack", (), "drop", 0.5)))
    estimates = replace(
        estimates,
        splits={key: replace(own, spread=0.4) for key, own in estimates.splits.items()},
    )
    lift, drop = (m * np.exp((0.02**2 + 0.4**2) / 2) for m in (1.0, 0.5))
    expected = 2 * (lift + 0.4) + drop
    assert own_seconds(estimates, "a", "jack", work, n=65536).mean() == pytest.approx(expected, rel=0.003)
    assert chance_faster(estimates, "a", "b", "jack") > 0.99  # on pace alone
    assert chance_faster(estimates, "a", "b", "jack", work=work) < 0.05  # the slips cost more


def test_who_is_not_known_is_named(estimates):
    with pytest.raises(InputError, match=r"'a' in 'fueler', split 'plug'; known positions: jack"):
        draws(estimates, "a", "fueler", "plug")
    with pytest.raises(InputError, match=r"; nothing is known of this athlete\.$"):
        draws(estimates, "z", "jack", "lift")
    roll = SplitEstimate("a", "carrier", "roll", "log", 0.0, 0.02, 0.1, 20.0)
    two = replace(estimates, splits={**estimates.splits, ("a", "carrier", "roll"): roll})
    with pytest.raises(InputError, match=r"; known positions: carrier, jack\.$"):
        draws(two, "a", "fueler", "plug")


def test_what_is_not_known_of_an_athlete_hangs_together_over_his_splits(estimates):
    """Two ungraded splits of correlation r: the variance of their sum is that of the exact joint log-normal."""
    shape = {key: SplitEstimate(*key, "log", mean, 0.1, 0.0, 0.0) for key, (mean, _) in SPLITS.items()}
    pools = {("jack", s): PoolEstimate("jack", s, "log", 0.0, 0.0, 0.1, 0.1, 5) for s in ("lift", "drop")}
    for r in (0.0, 0.6):
        known = SkillEstimates(estimates.on, shape, estimates.misses, pools=pools, same_position=r)
        own = own_seconds(known, "a", "jack", n=65536)
        lift, drop = (np.exp(SPLITS["a", "jack", s][0] + 0.005) for s in ("lift", "drop"))
        each, both = np.expm1(0.01), np.expm1(0.01 * r)
        exact = (lift**2 + drop**2) * each + 2 * lift * drop * both
        assert own.var() == pytest.approx(exact, rel=0.03)


def test_athletes_positions_and_misses_are_drawn_apart(estimates):
    """What is not known of one athlete, of his work elsewhere or of another miss says nothing here."""
    works = [(a, p) for a in ("a", "b") for p in ("jack", "carrier")]
    misses = ("slip", "spill")
    splits = {(*work, "lift"): SplitEstimate(*work, "lift", "plain", 1.0, 0.1, 0.0, 0.0) for work in works}
    pools = {(p, "lift"): PoolEstimate(p, "lift", "plain", 1.0, 0.0, 0.1, 0.1, 5) for _, p in works}
    rates = {(*work, miss): MissEstimate(*work, miss, 0.5, 2.0, 4.0, 0.0) for work in works for miss in misses}

    def largest_correlation(sd, same, loss_s, kinds):
        known = replace(
            estimates,
            splits={key: replace(own, sd=sd) for key, own in splits.items()},
            misses=rates,
            pools=pools,
            loss_s=dict.fromkeys(misses, loss_s),
            same_position=same,
        )
        drawn = [
            own_seconds(known, a, p, Choreography("four", "", (Task("t", "", p, (), "lift", 1.0, misses=kind),)))
            for a, p in works
            for kind in kinds
        ]
        return np.abs(np.corrcoef(drawn) - np.eye(len(drawn))).max()

    assert largest_correlation(0.1, 0.0, 0.0, [()]) < 0.06  # four times the standard error of 4,096 draws
    assert largest_correlation(0.1, 1.0, 0.0, [()]) < 0.06  # all doubt is of the position altogether
    assert largest_correlation(0.0, 0.0, 1.0, [("slip",), ("spill",)]) < 0.06


def test_what_car_and_driver_do_is_no_position(estimates):
    brake = SplitEstimate("", "", "brake", "plain", 2.0, 0.0, 0.1, 9.0)
    car = replace(estimates, splits={**estimates.splits, ("", "", "brake"): brake})
    tasks = (Task("brake", "", None, (), "brake", 2.0), Task("lift", "", "jack", (), "lift", 1.0))
    np.testing.assert_allclose(own_seconds(car, "", "", Choreography("four", "Four", tasks)), 2.0)


def test_seconds_on_the_plain_scale_are_not_turned(estimates):
    plain = replace(
        estimates,
        splits={
            ("a", "jack", "reach"): SplitEstimate("a", "jack", "reach", "plain", -0.1, 0.02, 0.3, 9.0),
            ("b", "jack", "reach"): SplitEstimate("b", "jack", "reach", "plain", -0.1, 0.0, 0.3, 9.0),
        },
        tire={("reach", "heavy"): 0.5},
    )
    drawn = draws(plain, "a", "jack", "reach", 65536)
    assert (drawn.mean(), drawn.std()) == (pytest.approx(-0.1, abs=4e-4), pytest.approx(0.02, rel=0.02))
    own = own_seconds(plain, "a", "jack", n=65536)
    assert own.shape == (65536,)
    assert (own.mean(), own.std()) == (pytest.approx(-0.1, abs=4e-4), pytest.approx(0.02, rel=0.02))
    np.testing.assert_allclose(own_seconds(plain, "b", "jack", tire="heavy"), 0.4)
    other = SplitEstimate("b", "tire", "roll", "plain", 3.0, 0.0, 0.3, 9.0)
    more = replace(plain, splits={**plain.splits, ("b", "tire", "roll"): other})
    np.testing.assert_allclose(own_seconds(more, "b", "jack"), -0.1)  # of this position alone
    np.testing.assert_allclose(own_seconds(more, "b", "tire"), 3.0)
    assert len(own_seconds(plain, "b", "jack")) == len(draws(plain, "b", "jack", "reach")) == 4096


def test_an_equal_time_is_half_a_win(estimates):
    known = {("a", "lift"): 0.0, ("b", "lift"): 0.0, ("c", "lift"): 0.1}
    splits = {(a, "jack", s): SplitEstimate(a, "jack", s, "log", m, 0.0, 0.1, 9.0) for (a, s), m in known.items()}
    sure = replace(estimates, splits=splits)
    for split in ("lift", None):
        chances = [chance_faster(sure, *pair, "jack", split) for pair in (("a", "b"), ("a", "c"), ("c", "a"))]
        assert chances == [0.5, 1.0, 0.0]


def test_number_and_seed_reach_the_draws_behind_a_chance(estimates):
    work = Choreography(
        "four", "Four", (Task("lift", "", "jack", (), "lift", 1.0), Task("go", "", None, (), "go", 1.0))
    )
    for split in ("lift", None):
        some = chance_faster(estimates, "a", "b", "jack", split, work=work, n=64, seed=3)
        own = [
            draws(estimates, who, "jack", split, 64, 3) if split else own_seconds(estimates, who, "jack", work, 64, 3)
            for who in ("a", "b")
        ]
        assert some == np.mean(own[0] < own[1])
        assert some != chance_faster(estimates, "a", "b", "jack", split, work=work, n=64, seed=4)
    usual = np.mean(draws(estimates, "a", "jack", "lift") < draws(estimates, "b", "jack", "lift"))
    assert chance_faster(estimates, "a", "b", "jack", "lift") == usual


def test_a_tire_changes_the_chance_where_it_weighs_one_split_more(estimates):
    """Quick to lift and slow to drop: quicker only where the tire makes the lift ten times as long."""
    known = {("a", "lift"): 0.0, ("b", "lift"): 0.1, ("a", "drop"): 0.3, ("b", "drop"): 0.0}
    splits = {(a, "jack", s): SplitEstimate(a, "jack", s, "log", m, 0.01, 0.1, 9.0) for (a, s), m in known.items()}
    tires = replace(estimates, splits=splits, tire={("lift", "heavy"): np.log(10.0)})
    assert chance_faster(tires, "a", "b", "jack") < 0.01
    assert chance_faster(tires, "a", "b", "jack", tire="heavy") > 0.99
    assert chance_faster(tires, "a", "b", "jack", "lift", tire="heavy") == chance_faster(
        tires, "a", "b", "jack", "lift"
    )
    lift = np.median(draws(tires, "a", "jack", "lift", tire="heavy"))
    assert lift == pytest.approx(10 * np.median(draws(tires, "a", "jack", "lift")))


@pytest.mark.parametrize(
    ("athlete", "sd", "between", "same", "expected"),
    [
        ("a", 0.05, 0.1, 0.6, 0.15),  # grades have settled three quarters of the variance
        ("a", 0.2, 0.1, 0.6, 0.6),  # no more is shared than before any grade
        ("a", 0.05, 0.0, 0.6, 0.6),
        ("a", 0.05, 0.1, -0.2, 0.0),
        ("a", 0.0, 0.1, 0.6, 0.0),
        ("", 0.05, 0.1, 0.6, 0.0),  # car and driver
    ],
)
def test_the_share_of_doubt_by_hand(athlete, sd, between, same, expected):
    own = SplitEstimate(athlete, "jack", "lift", "log", 0.0, sd, 0.1, 1.0)
    pools = {("jack", "lift"): PoolEstimate("jack", "lift", "log", 0.0, 0.0, between, 0.1, 5)}
    known = SkillEstimates(date(2026, 4, 5), {}, {}, pools=pools, same_position=same)
    assert shared_doubt(known, own) == pytest.approx(expected)
    assert shared_doubt(replace(known, pools={}), own) == 0.0
