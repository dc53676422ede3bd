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
from lineup.stop_model.stops import ServiceBank, StopModel
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
ARCS = ["1-2", "1-3", "2-3", "2-4", "2-6", "3-6", "4-5", "4-7", "5-6", "5-8", "6-9", "7-8", "8-9"]
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
    """With every arc at its mean the wrong three take 4.0, as long as the right ones: averages cannot tell them."""
    season, model = arcs_season(np.ones((len(ARCS), 2)))
    assert best(season, model).value_s == pytest.approx(4.0)
    for quick in (BEST, BY_AVERAGES):
        network = nx.DiGraph()
        for arc in ARCS:
            network.add_edge(*arc.split("-"), weight=0.5 if arc in quick else 1.0)
        assert nx.dag_longest_path_length(network) == pytest.approx(4.0)  # networkx as a second opinion


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


def only_stops(season: Season) -> Season:
    """The same season with one stop for four tires and nothing else that costs."""
    return season.replace(service_counts={"r1": {"four": 1.0}}, absences=(), weights=type(season.weights)())


def test_best_crew_is_not_that_of_the_best_averages() -> None:
    """Seconds on the stops it was chosen on, against every crew, and on 4096 fresh ones."""
    season = only_stops(make_season(athletes=15, cars=1, weekends=1, seed=1))
    model, fresh = make_model(season, 1024, seed=1), make_model(season, 4096, seed=101).banks[KEY]
    bank = model.banks[KEY]
    found = best(season, model, EXACT.replace(tolerance=1e-5))
    chosen = {a.position: a.athlete for a in found.assignments}
    averages = sum_of_averages(season, model)
    crews = [c for c in product(*(range(len(bank.athletes[p])) for p in bank.positions)) if nobody_twice(bank, c)]
    assert found.value_s == pytest.approx(float(bank.stop_times(np.array(crews)).mean(axis=1).min()), rel=2e-5)
    sampled = float(np.subtract(*(bank.stop_times(bank.crew_row(c))[0] for c in (averages, chosen))).mean())
    lost = np.subtract(*(fresh.stop_times(fresh.crew_row(crew))[0] for crew in (averages, chosen)))
    error = float(lost.std() / np.sqrt(len(lost)))
    print(
        f"by averages: {sampled:.3f} s a stop slower; on fresh stops {lost.mean():.3f} s, standard error {error:.3f} s"
    )
    assert sampled == pytest.approx(0.082, abs=5e-4)
    assert lost.mean() > 10 * error
    assert lost.mean() == pytest.approx(sampled, abs=4 * error)


def nobody_twice(bank: ServiceBank, crew: tuple[int, ...]) -> bool:
    names = [bank.athletes[p][row] for p, row in zip(bank.positions, crew, strict=True)]
    return len(set(names)) == len(names)


# --------------------------------------------------------------------------------------------------- brute force


def random_tasks(rng: np.random.Generator, positions: int) -> tuple[Task, ...]:
    """Two tasks of each position, one after the other, each waiting for some of those named earlier."""
    tasks: list[Task] = []
    for half in ("first", "then"):
        for p in range(1, positions + 1):
            earlier = [t.id for t in tasks if rng.random() < 0.35 and t.id != f"first-{p}"]
            after = (*earlier, *([f"first-{p}"] if half == "then" else []))
            tasks.append(Task(f"{half}-{p}", half, f"p{p}", after, f"{half}-{p}", 1.0, release=half == "then"))
    return tuple(tasks)


def crew_times(season: Season, bank: ServiceBank, crew: Mapping[str, str]) -> np.ndarray:
    """Stop of a crew in each scenario: the latest of the tasks, each after what it waits for."""
    done: dict[str, np.ndarray] = {}
    for rank, task in enumerate(season.choreographies["four"].tasks):
        assert task.position is not None
        row = bank.athletes[task.position].index(crew[task.position])
        own = bank.durations[task.position][row, int(rank >= len(season.positions))]
        done[task.id] = own + np.max([done[other] for other in task.after] or [0 * own], axis=0)
    return np.max(list(done.values()), axis=0)


def every_plan(season: Season) -> Iterator[dict[str, tuple[str, ...]]]:
    """Athletes of each race's seats, cars one after the other: all different, in every order."""
    seats = len(season.positions) * len(season.cars)
    for choice in product(*(permutations(season.athletes, seats) for _ in season.races)):
        yield dict(zip(season.races, choice, strict=True))


def plan_cost(season: Season, bank: ServiceBank, plan: Mapping[str, tuple[str, ...]]) -> float:
    """Stops weighted by priority and count, and crew changes."""
    mean = np.mean([car.priority for car in season.cars.values()])
    total, size, last = 0.0, len(season.positions), dict[str, tuple[str, ...]]()
    for race, athletes in plan.items():
        for i, car in enumerate(season.cars.values()):
            crew = athletes[i * size : (i + 1) * size]
            total += car.priority / mean * season.service_counts[race]["four"] * _mean_s(season, bank, crew)
            changed = sum(new != old for new, old in zip(crew, last.get(car.id, crew), strict=True))
            total += season.weights.crew_change_s * changed
            last[car.id] = crew
    return total


_MEANS: dict[tuple[int, tuple[str, ...]], float] = {}


def _mean_s(season: Season, bank: ServiceBank, crew: tuple[str, ...]) -> float:
    key = (id(bank), crew)
    if key not in _MEANS:
        named = dict(zip(season.positions, crew, strict=True))
        _MEANS[key] = float(crew_times(season, bank, named).mean()) + sum(
            float(bank.penalty_s[p][bank.athletes[p].index(a)]) for p, a in named.items()
        )
    return _MEANS[key]


@settings(max_examples=40, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(st.integers(0, 10**6), st.sampled_from([(4, 2, 1, 2), (5, 2, 2, 1), (5, 3, 1, 2), (6, 3, 2, 1), (4, 2, 2, 2)]))
def test_equals_the_best_of_every_plan(seed: int, size: tuple[int, int, int, int]) -> None:
    athletes, positions, cars, races = size
    rng = np.random.default_rng(seed)
    season = tiny_season(
        athletes=athletes, positions=positions, cars=cars, races=races, shape=random_tasks(rng, positions), grades=0
    )
    garage = {name: replace(car, priority=float(rng.uniform(0.5, 2))) for name, car in season.cars.items()}
    weights = replace(season.weights, crew_change_s=float(rng.uniform(0, 2)))
    counts = {race: {"four": float(rng.integers(1, 7))} for race in season.races}
    season = season.replace(cars=garage, weights=weights, service_counts=counts)
    bank = random_bank(season, *KEY, 16, rng)
    found = best(season, StopModel({KEY: bank}, 1, 16))
    _MEANS.clear()
    least = min(plan_cost(season, bank, plan) for plan in every_plan(season))
    assert found.status == "proven"
    assert found.value_s == pytest.approx(least, rel=2e-5)
    assert found.bound_s is not None
    assert found.bound_s <= least + 1e-6
