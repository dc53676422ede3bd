"""How far shares stray by luck: the binomial law for stops that share nobody's doubt, further for those that do."""

from __future__ import annotations

import numpy as np
import pytest

from lineup.stop_model.past_stops import Forecaster, past_stops
from lineup.stop_model.stop_luck import places_by_luck
from tests.services import log_level, made_estimates
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
