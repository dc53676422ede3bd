"""Chances from independent draws."""

from datetime import date

import numpy as np
import pytest
from scipy.stats import norm

from lineup.errors import InputError
from lineup.season import Choreography, Task
from lineup.skills import MissEstimate, PoolEstimate, SkillEstimates, SplitEstimate, chance_faster, draws, own_seconds

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
    lift, drop = (m * np.exp((0.02**2 + 0.1**2) / 2) for m in (1.0, 0.5))
    expected = 2 * (lift + 0.4) + drop
    assert own_seconds(estimates, "a", "jack", work, n=65536).mean() == pytest.approx(expected, rel=0.003)
    assert chance_faster(estimates, "a", "b", "jack") > 0.99  # on pace alone
    assert chance_faster(estimates, "a", "b", "jack", work=work) < 0.05  # the slips cost more


def test_who_is_not_known_is_named(estimates):
    with pytest.raises(InputError, match=r"'a' in 'fueler', split 'plug'; known positions: jack"):
        draws(estimates, "a", "fueler", "plug")
    with pytest.raises(InputError, match="nothing is known of this athlete"):
        draws(estimates, "z", "jack", "lift")


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
