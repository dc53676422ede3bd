"""The tight bound: below every lineup at any prices, and the hull of whole crews where one race stands alone."""

from __future__ import annotations

import numpy as np
import pytest

from lineup.optimize import solve as solve_module
from lineup.optimize.bench import Bench
from lineup.optimize.crew_bound import CrewRelaxation, Prices
from lineup.optimize.crew_tables import CrewTables
from lineup.optimize.pricing import Pricing
from lineup.problem import build
from lineup.season import Entry, Weights
from tests.builders import tiny_season
from tests.optimize.brute import best_lineup, size
from tests.optimize.seasons import QUICK, make_problem, random_season
from tests.optimize.switched import switched

MOST_PLANS = 3000


def relaxation(bench: Bench) -> CrewRelaxation | None:
    """Relaxation with nothing done yet; None where a seat has no candidate."""
    tables = CrewTables(bench.values)
    if not tables.fit:
        return None
    assert tables.prepare(lambda: False)
    return CrewRelaxation(bench, Pricing(bench), tables)


@pytest.mark.parametrize("seed", range(40))
def test_below_the_optimum_at_random_prices_and_at_the_end(seed: int) -> None:
    problem = make_problem(random_season(seed, small=True), seed)
    if size(problem) > MOST_PLANS:
        return
    best, bound = best_lineup(problem), relaxation(Bench(problem))
    if best is None or bound is None:
        return
    rng = np.random.default_rng(seed)
    shape = bound.bench.frame.may.shape
    handovers = 2.0 * rng.random(shape) * bound.handed
    bound.begin(Prices(-3.0 * rng.random(shape), rng.standard_normal(len(bound.pricing.ties)), handovers))
    assert bound.bound <= best[0] + 1e-6
    for _ in range(15):
        if not bound.step(lambda: False):
            break
    assert bound.bound <= best[0] + 1e-6


@pytest.mark.parametrize("seed", range(12))
def test_never_above_the_optimum_where_cars_race_in_turn(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(seed)
    season = tiny_season(athletes=4, positions=2, cars=2, races=4, grades=0, weights=Weights(crew_change_s=1.0))
    entered = [f"c{1 + (r + int(rng.random() < 0.2)) % 2}" for r in range(4)]
    season = season.replace(entries=tuple(Entry(f"r{r + 1}", car) for r, car in enumerate(entered)))
    kept = tuple(c for c in season.clearances if rng.random() < 0.8)
    problem = make_problem(season.replace(clearances=kept), seed)
    best = best_lineup(problem)
    monkeypatch.setattr(solve_module, "SMALL_SEATS", 0)
    found = solve_module.solve(problem, QUICK.replace(time_s=3.0))
    if best is None:
        assert found.value_s is None
        return
    assert found.bound_s is not None
    assert found.value_s is not None
    assert found.bound_s <= best[0] + 1e-6
    assert found.value_s >= best[0] - 1e-6


@pytest.mark.parametrize("seed", range(0, 60, 2))
def test_rises_with_every_rule_in_turn(seed: int) -> None:
    season, model = switched(seed)
    bench = Bench(build(season, model, season.weekends, QUICK))
    bound = relaxation(bench)
    if bound is None:
        return
    nothing = np.zeros(bench.frame.may.shape)
    bound.begin(Prices(nothing, np.zeros(len(bound.pricing.ties)), nothing))
    begun = bound.bound
    for _ in range(10):
        if not bound.step(lambda: False):
            break
    assert np.isfinite(bound.bound)
    assert bound.bound >= begun


def test_a_race_that_nobody_enters_has_an_empty_table(monkeypatch: pytest.MonkeyPatch) -> None:
    season = tiny_season(athletes=5, positions=2, races=3, grades=0)
    season = season.replace(entries=tuple(entry for entry in season.entries if entry.race != "r2"))
    monkeypatch.setattr(solve_module, "SMALL_SEATS", 0)
    problem = make_problem(season, 1)
    best = best_lineup(problem)
    for workers in (1, 2):
        found = solve_module.solve(problem, QUICK.replace(workers=workers))
        assert best is not None
        assert found.status == "proven"
        assert found.value_s == pytest.approx(best[0], rel=2e-5)
