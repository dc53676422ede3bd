"""Tables of all crews against the stop model crew by crew, over random networks with seats that may stay empty."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from lineup.optimize.crew_grid import weighted_stops
from lineup.optimize.stopped import Stopped
from lineup.stop_model.blend import blend_weights
from lineup.stop_model.stops import ServiceBank
from tests.services import random_bank, random_choreography

SEEDS = range(30)


def some_bank(seed: int) -> ServiceBank:
    """Bank of a random network."""
    rng = np.random.default_rng(seed)
    return random_bank(rng, random_choreography(rng), mean=2.0)


def candidates_of(bank: ServiceBank) -> list[np.ndarray]:
    """Every athlete of each position, and nobody."""
    return [np.array([*range(len(bank.athletes[p])), -1], dtype=np.intp) for p in bank.positions]


def every_crew(bank: ServiceBank, candidates: list[np.ndarray]) -> tuple[np.ndarray, tuple[int, ...]]:
    """Stop times of all crews, and the shape of the table that holds them."""
    crews = np.array(list(product(*candidates)), dtype=np.intp)
    return bank.stop_times(crews), tuple(len(able) for able in candidates)


@pytest.mark.parametrize("seed", SEEDS)
def test_every_crew_as_the_stop_model_has_it(seed: int) -> None:
    bank = some_bank(seed)
    candidates = candidates_of(bank)
    times, shape = every_crew(bank, candidates)
    weights = np.stack([np.full(bank.scenarios, 1 / bank.scenarios), blend_weights(times[0], 0.4, 0.2)])
    table = weighted_stops(bank, candidates, weights)
    assert table == pytest.approx((times @ weights.T).T.reshape(2, *shape), abs=1e-9)


@pytest.mark.parametrize("seed", SEEDS)
def test_groups_of_scenarios_bound_from_below(seed: int) -> None:
    bank = some_bank(seed)
    candidates = candidates_of(bank)
    times, shape = every_crew(bank, candidates)
    weights = np.full((1, bank.scenarios), 1 / bank.scenarios)
    below = times.mean(axis=1).reshape(shape) - weighted_stops(bank, candidates, weights, groups=4)[0]
    assert below.min() >= 0.0
    assert below.mean() < 0.2 * times.mean()


def test_stops_when_asked() -> None:
    bank = some_bank(1)
    with pytest.raises(Stopped):
        weighted_stops(bank, candidates_of(bank), np.ones((1, bank.scenarios)), over=lambda: True)
