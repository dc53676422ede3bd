"""How far shares stray by luck: the binomial law for stops that share nobody's doubt, further for those that do."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lineup.season import Choreography, Miss, Task
from lineup.skills import MissEstimate, SkillEstimates
from lineup.stop_model.past_stops import Forecaster, PastStop, past_stops
from lineup.stop_model.stop_luck import _play, places_by_luck
from tests.builders import FIRST_SUNDAY, tiny_season
from tests.services import log_level, made_estimates, task
from tests.stop_model.test_stop_check import world


def shares(sd: float, spread: float, stops: int = 50, rate: float = 0.0) -> np.ndarray:
    """Share of stops inside their 50 % interval in each world, when levels are known up to `sd`."""
    season, _ = world(stops)
    estimates = made_estimates(season, log_level(4.0, sd, spread), rate)
    made, times, _ = Forecaster(season, estimates).forecast(past_stops(season).stops)
    places = places_by_luck(season, estimates, made, times, seed=3, worlds=2000)
    assert places.shape == (stops, 2000)
    return ((places > 0.25) & (places < 0.75)).mean(axis=0)


def test_known_levels_leave_the_binomial_law() -> None:
    """Standard deviation of a share of n independent cases: sqrt(p (1 - p) / n)."""
    found = shares(sd=0.0, spread=0.1)
    assert found.mean() == pytest.approx(0.5, abs=0.01)
    assert found.std() == pytest.approx(np.sqrt(0.25 / 50), rel=0.06)


def test_the_same_unknown_athletes_in_every_stop_let_shares_stray_further() -> None:
    found = shares(sd=0.1, spread=0.1)
    assert found.mean() == pytest.approx(0.5, abs=0.03)  # right on average over worlds
    assert found.std() > 1.5 * np.sqrt(0.25 / 50)


def test_doubt_alone_puts_all_stops_in_or_out_together() -> None:
    found = shares(sd=0.1, spread=1e-6)
    assert np.all((found == 0) | (found == 1))


def test_the_same_seed_gives_the_same_worlds() -> None:
    np.testing.assert_array_equal(shares(0.1, 0.1, stops=5), shares(0.1, 0.1, stops=5))


def played(estimates: SkillEstimates, tasks: list[Task], worlds: int, stop: int = 0, **crew: str) -> np.ndarray:
    """Seconds of a stop in worlds that all stops share, with luck of its own."""
    made = PastStop("s", FIRST_SUNDAY, "practice", "four", "lined", 9.0, crew)
    return _play(
        Choreography("four", "Four", tuple(tasks)), estimates, made, np.random.default_rng(stop), worlds, seed=1
    )


def test_how_often_somebody_slips_is_the_same_in_all_stops_of_a_world() -> None:
    """Rate Gamma(1, 1), counts Poisson: of a variance of 1 + 1 the rate's is shared, a correlation of one half."""
    tasks = [task("lift", "p1", misses=("slip",), release=True)]
    season = tiny_season(positions=1, shape=tasks, misses={"slip": Miss("slip", "A slip", 1.0)})
    known = made_estimates(season, log_level(4.0, 0.0, 0.0))
    often = {key: MissEstimate(*key, 1.0, 1.0, 1.0, 0.0) for key in known.misses}
    first, second = (played(replace(known, misses=often), tasks, 8000, stop, p1="a1") for stop in (0, 1))
    assert (first.mean(), first.var()) == (pytest.approx(5.0, abs=0.08), pytest.approx(2.0, abs=0.2))
    assert np.corrcoef(first, second)[0, 1] == pytest.approx(0.5, abs=0.06)


def test_an_empty_seat_brings_the_task_done_only_without_it() -> None:
    tasks = [task("fetch", "p1", only_without="helper"), task("hand", "helper")]
    tasks += [task("hang", "p1", "fetch hand"), task("wave", None, "hang", release=True)]
    season = tiny_season(positions=["p1", "helper"], shape=tasks)
    seconds = {"fetch": 5.0, "hand": 9.0, "hang": 1.0, "wave": 0.5}
    known = made_estimates(season, lambda a, p, s: log_level(seconds[s], 0.0, 0.0)(a, p, s))
    np.testing.assert_allclose(played(known, tasks, 4, p1="a1"), 6.5)
    np.testing.assert_allclose(played(known, tasks, 4, p1="a1", helper="a2"), 10.5)


def test_tire_and_setting_are_those_of_the_stop() -> None:
    tasks = [task("lift", "p1", release=True)]
    known = made_estimates(tiny_season(positions=1, shape=tasks), log_level(4.0, 0.0, 0.0))
    known = replace(known, tire={("lift", "lined"): np.log(2.0)}, setting={("lift", "practice"): np.log(1.5)})
    np.testing.assert_allclose(played(known, tasks, 4, p1="a1"), 12.0)
