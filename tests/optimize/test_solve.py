"""The best lineup of tiny seasons equals brute force over every feasible plan, whatever limits bind."""

from __future__ import annotations

import subprocess
import sys

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import linear_sum_assignment

from lineup.limits import Limit, Limits
from lineup.optimize import solve as solve_module
from lineup.optimize.solve import Outcome, solve
from lineup.problem import build
from lineup.season import Season
from lineup.stop_model.stops import StopModel
from tests.builders import tiny_season
from tests.optimize.brute import best_lineup, size
from tests.optimize.seasons import QUICK, make_problem, random_bank, random_season

MOST_PLANS = 1500


@settings(max_examples=25, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(st.integers(0, 10_000))
def test_equals_brute_force(seed: int) -> None:
    problem = make_problem(random_season(seed, small=True), seed)
    assume(size(problem) <= MOST_PLANS)
    best, found = best_lineup(problem), solve(problem, QUICK)
    if best is None:
        assert found.status == "impossible"
        return
    assert found.status == "proven"
    assert found.value_s == pytest.approx(best[0], rel=2e-5)
    assert found.bound_s is not None
    assert found.bound_s <= best[0] + 1e-6
    assert found.value_s == pytest.approx(problem.pricer.price(found.assignments).value_s, abs=1e-6)


@settings(max_examples=12, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(st.integers(0, 10_000))
def test_bound_of_schedules_never_passes_brute_force(seed: int) -> None:
    problem = make_problem(random_season(seed, small=True), seed)
    assume(size(problem) <= MOST_PLANS)
    best = best_lineup(problem)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(solve_module, "SMALL_SEATS", 0)
        found = solve(problem, QUICK.replace(work=1))
    if best is None:
        assert found.status in ("impossible", "not_found")
    elif found.bound_s is not None:
        assert found.bound_s <= best[0] + 1e-6
        assert found.value_s is not None
        assert found.value_s >= best[0] - 1e-6


def additive(costs: np.ndarray) -> tuple[Season, StopModel]:
    """One entry whose positions follow each other: its stop is the sum of what each athlete takes."""
    size = len(costs)
    season = tiny_season(athletes=size, positions=size, shape="chained", grades=0, count=1)
    bank = random_bank(season, "four", "plain", 2, np.random.default_rng(0))
    durations = {f"p{p + 1}": np.repeat(costs[:, p, None, None].astype(float), 2, axis=2) for p in range(size)}
    bank = type(bank)(
        bank.service,
        bank.tire,
        bank.choreography,
        bank.athletes,
        durations,
        bank.car,
        bank.clean,
        {p: np.zeros(size) for p in bank.penalty_s},
    )
    return season, StopModel({("four", "plain"): bank}, 1, 2)


def test_additive_season_is_an_assignment_problem() -> None:
    costs = np.random.default_rng(3).integers(1, 60, (9, 9))
    season, model = additive(costs)
    found = solve(build(season, model, season.weekends, QUICK), QUICK)
    rows, columns = linear_sum_assignment(costs)  # scipy as an independent solver
    assert found.value_s == pytest.approx(costs[rows, columns].sum())


def test_worked_example_of_scipy() -> None:
    season, model = additive(np.array([[4, 1, 3], [2, 0, 5], [3, 2, 2]]))  # linear_sum_assignment's docstring: 5
    assert solve(build(season, model, season.weekends, QUICK), QUICK).value_s == pytest.approx(5.0)


def two_seats(first: str, second: str) -> tuple[Season, StopModel]:
    """Two positions side by side, two candidates each: one steady, one quicker on average but not always."""
    season = tiny_season(athletes=4, positions=2, grades=0, count=1)
    rows = tuple(c for c in season.clearances if (c.position == "p1") == (c.athlete in ("a1", "a2")))
    season = season.replace(clearances=rows)
    bank = random_bank(season, "four", "plain", 2, np.random.default_rng(0))
    times = {"steady": [10.0, 10.0], "now-and-then": [6.0, 13.0], "other-day": [13.0, 6.0]}
    durations = {
        "p1": np.array([[times["steady"]], [times[first]]]),
        "p2": np.array([[times["steady"]], [times[second]]]),
    }
    none = {p: np.zeros(2) for p in ("p1", "p2")}
    bank = type(bank)(bank.service, bank.tire, bank.choreography, bank.athletes, durations, bank.car, bank.clean, none)
    return season, StopModel({("four", "plain"): bank}, 1, 2)


def test_best_averages_are_not_the_best_crew() -> None:
    season, model = two_seats("now-and-then", "other-day")
    found = solve(build(season, model, season.weekends, QUICK), QUICK)
    assert [a.athlete for a in found.assignments] == ["a1", "a3"]  # 10 s on average each, against 9.5 s
    by_averages = [
        a.__class__(a.race, a.car, a.position, b) for a, b in zip(found.assignments, ("a2", "a4"), strict=True)
    ]
    worse = build(season, model, season.weekends, QUICK).pricer.value(by_averages)
    assert found.value_s == pytest.approx(10.0)
    assert worse - 10.0 == pytest.approx(3.0)  # both slow on different days: 13 s every time


def test_impossible_is_said_only_when_it_is() -> None:
    season = tiny_season(athletes=3, positions=2, races=3, grades=0)
    tight = season.replace(limits=Limits({"starts": Limit("starts", at_most=1)}))
    assert solve(make_problem(tight), QUICK).status == "impossible"
    assert solve(make_problem(season), QUICK).status == "proven"


def test_counted_effort_gives_the_same_plan_twice() -> None:
    season = tiny_season(athletes=14, positions=5, cars=2, races=8, grades=0)
    limits = Limits({"weekends_in_a_row": Limit("weekends_in_a_row", at_most=6)})
    found = [solve(make_problem(season.replace(limits=limits), 5), QUICK.replace(work=1)) for _ in range(2)]
    assert found[0] == found[1]
    assert found[0].assignments


def test_stop_returns_the_best_so_far() -> None:
    problem = make_problem(tiny_season(athletes=14, positions=5, cars=2, races=8, grades=0), 5)
    begin = solve(problem, QUICK.replace(work=1)).assignments
    found: Outcome = solve(problem, QUICK, stop=lambda: True, start=begin)
    assert found.status == "best_so_far"
    assert found.assignments


def test_progress_only_gets_better() -> None:
    seen = []
    solve(make_problem(random_season(4), 4), QUICK, on_progress=seen.append)
    values = [p.value_s for p in seen if p.value_s is not None]
    bounds = [p.bound_s for p in seen if p.bound_s is not None]
    assert values == sorted(values, reverse=True)
    assert bounds == sorted(bounds)


def test_anchor_keeps_what_a_change_is_not_worth() -> None:
    problem = make_problem(tiny_season(athletes=5, positions=2, races=2, grades=0), 7)
    best = solve(problem, QUICK)
    other = {a.seat: a.athlete for a in best.assignments}
    baseline = tuple(
        a.__class__(a.race, a.car, a.position, "a5" if a.position == "p1" else a.athlete) for a in best.assignments
    )
    dear = solve(problem.near(baseline, 1000.0), QUICK)
    cheap = solve(problem.near(baseline, 0.0), QUICK)
    assert dear.assignments == tuple(sorted(baseline, key=lambda a: a.race))
    assert {a.seat: a.athlete for a in cheap.assignments} == other
    frozen = frozenset(a.seat for a in baseline if a.race == "r1")
    held = solve(problem.near(baseline, 0.0, frozen), QUICK)
    assert [a for a in held.assignments if a.race == "r1"] == [a for a in baseline if a.race == "r1"]


def test_the_solver_says_nothing_of_itself() -> None:
    code = "from lineup.optimize.lp import new_lp; new_lp(); print('a document')"
    told = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert (told.stdout, told.stderr) == ("a document\n", "")
