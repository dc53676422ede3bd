"""What blocks of many races need: a lineup race by race, a solver that stops when asked, a program that stays small."""

from __future__ import annotations

from dataclasses import replace

import pytest

from lineup.audit import audit
from lineup.limits import Limit, Limits
from lineup.optimize import plain
from lineup.optimize import search as search_module
from lineup.optimize.bench import Bench
from lineup.optimize.bounding import Bounding
from lineup.optimize.crew_tables import CrewTables
from lineup.optimize.plain import Plain
from lineup.optimize.pricing import Pricing
from lineup.optimize.rows import left_out
from lineup.optimize.run import Run
from lineup.optimize.search import Search, mean_costs, race_by_race
from lineup.optimize.solve import solve
from lineup.optimize.stopped import Stopped
from lineup.plan import Plan
from lineup.problem import Problem, build
from lineup.settings import Settings
from tests.benchmarks.generate import make_model, make_season
from tests.builders import tiny_season
from tests.optimize.seasons import make_problem

EFFORT = Settings(time_s=20.0, work=1, scenarios=8, seed=1)


def block(athletes: int, weekends: int) -> Problem:
    season = make_season(athletes, 2, weekends)
    return build(season, make_model(season, 8, 1), season.weekends, EFFORT)


def test_a_lineup_race_by_race_holds_people_back_for_later_races() -> None:
    problem = block(athletes=15, weekends=18)  # three people for two seats
    run = Run(Bench(problem), EFFORT)
    race_by_race(run, mean_costs(run))
    assert run.best is not None
    found = audit(problem.season, Plan("best_so_far", run.bench.frame.assignments(run.best), weekends=problem.weekends))
    assert all(
        check.kept for check in found.checks if check.rule in ("weekends_in_a_row", "filled", "clearance", "one_seat")
    )


def test_too_few_people_race_by_race_is_no_lineup() -> None:
    run = Run(Bench(block(athletes=10, weekends=18)), EFFORT)
    race_by_race(run, mean_costs(run))
    assert run.best is None


def test_a_linear_program_ends_when_asked() -> None:
    with pytest.raises(Stopped):
        Plain(Bench(block(athletes=20, weekends=6))).solve(lambda: True, 1)


def test_the_bound_of_a_heavy_block_holds(monkeypatch: pytest.MonkeyPatch) -> None:
    problem = block(athletes=18, weekends=17)
    exact = solve(problem, EFFORT)
    monkeypatch.setattr(plain, "MOST_IN_RUNS", 0)
    light = solve(problem, EFFORT)
    assert exact.value_s is not None
    assert light.value_s is not None
    assert exact.bound_s is not None
    assert light.bound_s is not None
    assert light.bound_s <= min(exact.value_s, light.value_s)
    assert light.bound_s == pytest.approx(exact.bound_s, rel=0.02)


def test_windows_take_turns_until_walks_are_warm(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of more races than are walked at once, eight in a row at a time, each window hot at first."""
    monkeypatch.setattr(search_module, "MOVES", (5, 5, 5, 5))
    monkeypatch.setattr(search_module, "POLISHING", 5)
    problem = block(athletes=15, weekends=18)
    run = Run(Bench(problem), EFFORT)
    race_by_race(run, mean_costs(run))
    begun = run.value
    bounding = Bounding(run.bench, Pricing(run.bench), CrewTables(run.bench.values), 1)
    search = Search(run, bounding, bounding.tables, 1)
    seen: list[int] = []
    assert bounding.tables.prepare(lambda: False)
    while search.number < 18:
        run.offer_all(search.advance(1000))
        if search.window is not None:
            seen.append(min(search.window.races))
    assert begun is not None
    assert run.value is not None
    assert run.value <= begun
    assert len(set(seen)) > 3


def test_limits_the_bound_does_not_know_are_told_in_words() -> None:
    season = tiny_season(limits=Limits({"nights_away_in_days": Limit("nights_away_in_days", at_most=9, days=30)}))
    cars = {id: replace(car, slowest_s=99.0) for id, car in season.cars.items()}
    bench = Bench(make_problem(season.replace(cars=cars), 1))
    assert left_out(bench) == ("nights away from home in a window of days", "the slowest stop of a car")
