"""The best lineup against figures others have published, and against brute force over every plan of small seasons."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import cache
from itertools import combinations, permutations, product
from pathlib import Path

import networkx as nx
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment
from scipy.stats import qmc

from lineup.optimize.solve import Outcome, solve
from lineup.problem import build
from lineup.season import Clearance, Season, Task
from lineup.settings import Settings
from lineup.stops import ServiceBank, StopModel
from tests.benchmarks.generate import make_model, make_season
from tests.builders import tiny_season
from tests.optimize.seasons import random_bank

REFERENCE = Path(__file__).resolve().parents[3] / "shared" / "reference"
EXACT = Settings(time_s=60.0, workers=1, tolerance=0.0, scenarios=2)
KEY = ("four", "plain")


def best(season: Season, model: StopModel, effort: Settings = EXACT) -> Outcome:
    return solve(build(season, model, season.weekends, effort), effort)


def model_of(season: Season, durations: Mapping[str, np.ndarray]) -> StopModel:
    """Sampled stops given as seconds by position, shape (athletes, tasks, scenarios); nobody is penalised."""
    scenarios = next(iter(durations.values())).shape[2]
    bank = random_bank(season, *KEY, scenarios, np.random.default_rng(0))
    bank = replace(bank, durations=durations, penalty_s={p: np.zeros(len(d)) for p, d in durations.items()})
    return StopModel({KEY: bank}, 1, scenarios)


# ---------------------------------------------------------------------------------------------------- assignment


def additive(costs: np.ndarray) -> tuple[Season, StopModel]:
    """One entry whose positions follow each other, so that its stop is the sum of what each athlete takes."""
    size = len(costs)
    season = tiny_season(athletes=size, positions=size, shape="chained", grades=0, count=1)
    return season, model_of(season, {f"p{p + 1}": np.repeat(costs[:, p, None, None], 2, 2) for p in range(size)})


def test_example_of_scipy() -> None:
    """scipy.optimize.linear_sum_assignment, docstring example: cost 5."""
    found = best(*additive(np.array([[4.0, 1, 3], [2, 0, 5], [3, 2, 2]])))
    assert (found.status, found.value_s) == ("proven", pytest.approx(5.0))


@pytest.mark.parametrize("seed", range(6))
def test_additive_season_is_an_assignment_problem(seed: int) -> None:
    """scipy.optimize.linear_sum_assignment as an independent solver."""
    costs = np.random.default_rng(seed).uniform(1, 9, (7, 7))
    found = best(*additive(costs))
    assert found.status == "proven"
    assert found.value_s == pytest.approx(costs[linear_sum_assignment(costs)].sum(), rel=2e-5)


def test_assign100() -> None:
    """OR-Library (J. E. Beasley), assign100: the optimum is 305."""
    file = REFERENCE / "assign100.txt"
    if not file.exists():
        pytest.skip(f"OR-Library's assign100.txt is not at {file}")
    size, *numbers = (float(word) for word in file.read_text().split())
    costs = np.reshape(numbers, (int(size), int(size)))
    assert costs[linear_sum_assignment(costs)].sum() == 305  # the file is the one the optimum belongs to
    found = best(*additive(costs))
    assert found.value_s == pytest.approx(305)
    assert found.status == "proven"


# ------------------------------------------------------------------------------------------- network of 13 arcs

# An activity network of 9 nodes, all arcs independent Exp(1), known from libraries of simulation optimisation. The
# figures below were computed by the Markov chain of Kulkarni and Adlakha (1986; citation from memory).
ARCS = "1-2 1-3 2-3 2-4 2-6 3-6 4-5 4-7 5-6 5-8 6-9 7-8 8-9".split()
MEAN_ALL_SLOW = 6.566019232
BEST, MEAN_BEST = {"1-2", "2-4", "6-9"}, 5.3709079
BY_AVERAGES, MEAN_BY_AVERAGES = {"1-2", "1-3", "2-4"}, 5.5952


def before(arc: str) -> tuple[str, ...]:
    return tuple(other for other in ARCS if other.split("-")[1] == arc.split("-")[0])


def exact_mean(quick: set[str]) -> float:
    """Mean time to the last node when some arcs have mean 1/2: a chain over sets of finished arcs."""

    @cache
    def left(done: frozenset[str]) -> float:
        rates = {a: 2.0 if a in quick else 1.0 for a in ARCS if a not in done and done.issuperset(before(a))}
        total = sum(rates.values())
        return (1 + sum(rate * left(done | {arc}) for arc, rate in rates.items())) / total if rates else 0.0

    return left(frozenset())


def arcs_season(arcs: np.ndarray) -> tuple[Season, StopModel]:
    """One steady athlete per arc and three quick ones, cleared for all, who take half as long; arcs (13, scenarios)."""
    tasks = tuple(Task(a, a, a, before(a), a, 1.0, release=a.endswith("-9")) for a in ARCS)
    season = tiny_season(athletes=len(ARCS) + 3, positions=ARCS, shape=tasks, grades=0, count=1)
    steady, quick = list(season.athletes)[: len(ARCS)], list(season.athletes)[len(ARCS) :]
    own = [Clearance(a, arc, "cleared") for a, arc in zip(steady, ARCS, strict=True)]
    season = season.replace(clearances=(*own, *(Clearance(a, arc, "cleared") for a in quick for arc in ARCS)))
    speed = np.array([1.0, 0.5, 0.5, 0.5])[:, None, None]
    return season, model_of(season, {arc: speed * arcs[i] for i, arc in enumerate(ARCS)})


def quick_arcs(season: Season, found: Outcome) -> set[str]:
    quick = list(season.athletes)[len(ARCS) :]
    return {a.position for a in found.assignments if a.athlete in quick}


def test_exact_means_of_the_network() -> None:
    assert exact_mean(set()) == pytest.approx(MEAN_ALL_SLOW, abs=1e-8)
    means = {frozenset(choice): exact_mean(set(choice)) for choice in combinations(ARCS, 3)}
    assert min(means, key=lambda choice: means[choice]) == BEST
    assert means[frozenset(BEST)] == pytest.approx(MEAN_BEST, abs=5e-8)
    assert means[frozenset(BY_AVERAGES)] == pytest.approx(MEAN_BY_AVERAGES, abs=5e-5)


def test_best_three_arcs() -> None:
    uniform = qmc.Sobol(len(ARCS), seed=5).random_base2(12)
    season, model = arcs_season(-np.log(1 - uniform.T))
    found = best(season, model, EXACT.replace(tolerance=1e-4))
    assert found.status == "proven"
    assert quick_arcs(season, found) == BEST
    bank = model.banks[KEY]
    crews = {"best": BEST, "by averages": BY_AVERAGES}
    rows = {
        name: bank.crew_row({arc: "a14" if arc in arcs else f"a{i + 1}" for i, arc in enumerate(ARCS)})
        for name, arcs in crews.items()
    }
    for name, exact in (("best", MEAN_BEST), ("by averages", MEAN_BY_AVERAGES)):
        times = bank.stop_times(rows[name])[0]
        assert times.mean() == pytest.approx(exact, abs=4 * times.std() / np.sqrt(len(times)))


def test_mean_values_cannot_tell_the_best_three_arcs() -> None:
    """With every arc at its mean, the wrong three look as good as any: 4.0, the right ones' own figure."""
    season, model = arcs_season(np.ones((len(ARCS), 2)))
    assert best(season, model).value_s == pytest.approx(4.0)
    for quick in (BEST, BY_AVERAGES):
        network = nx.DiGraph()
        for arc in ARCS:
            network.add_edge(*arc.split("-"), weight=0.5 if arc in quick else 1.0)
        assert nx.dag_longest_path_length(network) == pytest.approx(4.0)  # networkx as a second opinion
    assert MEAN_BY_AVERAGES - MEAN_BEST == pytest.approx(0.2243, abs=1e-4)


# ------------------------------------------------------------------------------------------ averages and best crew


def sum_of_averages(season: Season, model: StopModel) -> dict[str, str]:
    """Crew in which every position goes, one after the other, to the smallest sum of average splits."""
    bank = model.banks[KEY]
    crew: dict[str, str] = {}
    for position in bank.positions:
        mean = bank.durations[position].mean(axis=2).sum(axis=1)
        free = [i for i, athlete in enumerate(bank.athletes[position]) if athlete not in crew.values()]
        crew[position] = bank.athletes[position][min(free, key=lambda i: mean[i])]
    return crew
