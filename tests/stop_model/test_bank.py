"""What a crew makes of sampled stops: in bulk, one at a time, and with one position changed."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lineup.errors import InputError
from lineup.stop_model.bank import ServiceBank
from lineup.stop_model.network import Network
from tests.services import STAGER, four_tires, random_bank, random_choreography


def one_by_one(bank: ServiceBank, crew: np.ndarray) -> np.ndarray:
    """Stop times of one crew from the definition, scenario by scenario."""
    empty = {p for p, row in zip(bank.positions, crew, strict=True) if row < 0}
    rank: dict[str | None, int] = {}
    times = np.empty(bank.scenarios)
    taken = {}
    for t in bank.choreography.tasks:
        k = rank.get(t.position, 0)
        rank[t.position] = k + 1
        there = not (t.position in empty or t.only_with in empty or (t.only_without and t.only_without not in empty))
        if not there:
            taken[t.id] = np.zeros(bank.scenarios)
        elif t.position is None:
            taken[t.id] = bank.car[k]
        else:
            taken[t.id] = bank.durations[t.position][crew[bank.positions.index(t.position)], k]
    for s in range(bank.scenarios):
        finish: dict[str, float] = {}
        for t in bank.choreography.tasks:
            finish[t.id] = max((finish[a] for a in t.after), default=0.0) + taken[t.id][s]
        times[s] = max(finish[t.id] for t in bank.choreography.tasks if t.release)
    return times


@given(st.integers(0, 10_000))
@settings(max_examples=40, deadline=None)
def test_bulk_evaluation_equals_the_definition(seed: int) -> None:
    rng = np.random.default_rng(seed)
    bank = random_bank(rng, random_choreography(rng), athletes=2, scenarios=3)
    crews = np.array(list(itertools.product(range(-1, 2), repeat=len(bank.positions))))
    expected = np.array([one_by_one(bank, crew) for crew in crews])
    np.testing.assert_allclose(bank.stop_times(crews), expected, atol=1e-12)


def test_more_crews_than_fit_the_cache_come_out_in_their_order() -> None:
    rng = np.random.default_rng(3)
    bank = random_bank(rng, four_tires(), athletes=4, scenarios=512)
    crews = rng.integers(-1, 4, (150, len(bank.positions)))
    times = bank.stop_times(crews)
    for i in (0, 31, 32, 149):
        np.testing.assert_array_equal(times[i], bank.stop_times(crews[i])[0])


@pytest.mark.parametrize("scenarios", [16, 8192])
def test_each_athlete_in_one_position_gives_the_crews_with_that_position_changed(scenarios: int) -> None:
    rng = np.random.default_rng(4)
    bank = random_bank(rng, four_tires(), athletes=5, scenarios=scenarios)
    crew = rng.integers(0, 5, len(bank.positions))
    crew[bank.positions.index(STAGER)] = -1
    for column, position in enumerate(bank.positions):
        crews = np.repeat(crew[None], 5, axis=0)
        crews[:, column] = range(5)
        np.testing.assert_allclose(bank.with_each(crew, position, range(5)), bank.stop_times(crews), atol=1e-12)


def test_a_seat_that_only_one_athlete_could_take() -> None:
    bank = random_bank(np.random.default_rng(4), four_tires(), athletes=1, scenarios=4)
    crew = np.zeros(len(bank.positions), dtype=int)
    np.testing.assert_allclose(bank.with_each(crew, "jack", [0]), bank.stop_times(crew))


def test_each_athlete_in_a_position_without_tasks_gives_the_same_stop() -> None:
    rng = np.random.default_rng(4)
    choreography = four_tires()
    without = [t for t in choreography.tasks if t.position != STAGER]
    tasks = tuple(replace(t, after=tuple(a for a in t.after if a != "s-hold")) for t in without)
    bank = random_bank(rng, replace(choreography, tasks=tasks), athletes=3, scenarios=4)
    times = bank.with_each(np.zeros(len(bank.positions), dtype=int), STAGER, range(3))
    assert times.shape == (3, 4)
    np.testing.assert_array_equal(times[0], times[2])


def test_clean_share_and_longest_path_of_a_crew() -> None:
    rng = np.random.default_rng(5)
    bank = random_bank(rng, four_tires(), scenarios=400)
    crew = np.array([0, 1, 2, 0, 1, -1])
    by_hand = np.ones(400, dtype=bool)
    for position, row in zip(bank.positions[:5], crew[:5], strict=True):
        by_hand &= bank.clean[position][row]
    assert bank.clean_share(crew) == by_hand.mean()
    durations = bank.crew_durations(crew)
    path_length = (durations * bank.longest_path(crew)).sum(axis=0)
    np.testing.assert_allclose(path_length, bank.stop_times(crew)[0], atol=1e-9)
    assert Network(bank.choreography, frozenset({STAGER})).exists.tolist() == (durations.any(axis=1)).tolist()


def test_crew_rows_name_who_cannot_be_forecast() -> None:
    bank = random_bank(np.random.default_rng(6), four_tires())
    assert bank.crew_row({"jack": "athlete-1", "elsewhere": "nobody"}).tolist() == [-1, -1, 1, -1, -1, -1]
    with pytest.raises(InputError, match="nobody has no clearance for jack"):
        bank.crew_row({"jack": "nobody"})
