"""Hundreds of tiny seasons with a few pins of every kind, naming race, car and position or not: one meaning for all.

Run by hand: pytest -n0 -s tests/long/test_pins_many.py. A plan that is found is the best of all lineups that brute
force calls lawful (tests/optimize/brute.py says once more what a pin asks), and the audit passes it. Each season is
solved twice, the second time by schedules alone, as large blocks are. The last result stands in RESULTS.md;
LINEUP_SEASONS says how many seasons.
"""

from __future__ import annotations

import os
from collections import Counter

import numpy as np
import pytest

from lineup.audit import audit
from lineup.optimize import solve as solve_module
from lineup.optimize.solve import Outcome, solve
from lineup.plan import Plan
from lineup.problem import Problem
from lineup.season import Pin, Season
from lineup.settings import Settings
from tests.optimize.brute import best_lineup, size
from tests.optimize.seasons import make_problem, random_season

SEASONS = int(os.environ.get("LINEUP_SEASONS", "300"))
FIRST = 20_000
MOST_LINEUPS = 4000
EFFORT = Settings(time_s=5.0, scenarios=8, workers=1, tolerance=0.0)
KINDS = ("must", "never", "pair", "apart")


def pinned(season: Season, rng: np.random.Generator) -> Season:
    """One to three pins more, of which at least one ties two athletes; a car may miss the first race."""
    if len(season.cars) > 1 and rng.random() < 0.5:
        season = season.replace(entries=tuple(e for e in season.entries if (e.race, e.car) != ("r1", "c2")))
    for number in range(int(rng.integers(1, 4))):
        kind = str(rng.choice(KINDS[2:] if number == 0 else KINDS))
        one, two = (str(a) for a in rng.permutation(list(season.athletes))[:2])
        race, car, position = (
            str(rng.choice(list(names))) if rng.random() < 0.5 else None
            for names in (season.races, season.cars, season.positions)
        )
        other = two if kind in KINDS[2:] else None
        season = season.with_pin(Pin(kind, one, "why not", other, race, car, position))  # type: ignore[arg-type]
    return season


def judge(problem: Problem, found: Outcome, best: float | None) -> str:
    """Hold an outcome against brute force and the audit; say what was compared."""
    if best is None:
        assert found.status in ("impossible", "not_found")
        return found.status
    assert found.status in ("proven", "best_so_far")
    assert found.value_s is not None
    assert found.value_s >= best - 1e-6
    assert found.bound_s is None or found.bound_s <= best + 1e-6
    if found.status == "proven":
        assert found.value_s == pytest.approx(best, rel=2e-5)
    report = audit(problem.season, Plan(found.status, found.assignments), problem.season.weekends, problem.model)
    assert report.passed, [check.text for check in report.checks if not check.kept]
    assert report.value_s == pytest.approx(found.value_s, rel=1e-9)
    return found.status


@pytest.mark.timeout(0)
@pytest.mark.parametrize("by_schedules", [False, True], ids=["as it comes", "by schedules alone"])
def test_best_and_lawful_by_every_reading(monkeypatch: pytest.MonkeyPatch, by_schedules: bool) -> None:
    if by_schedules:
        monkeypatch.setattr(solve_module, "SMALL_SEATS", 0)
    counts: Counter[str] = Counter()
    for seed in range(FIRST, FIRST + SEASONS):
        problem = make_problem(pinned(random_season(seed), np.random.default_rng((seed, 7))), seed, EFFORT)
        if size(problem) > MOST_LINEUPS:
            counts["too many lineups to try, left out"] += 1
            continue
        best, found = best_lineup(problem), solve(problem, EFFORT.replace(work=1) if by_schedules else EFFORT)
        try:
            counts[judge(problem, found, None if best is None else best[0])] += 1
        except AssertionError as wrong:
            raise AssertionError(f"seed {seed}: {found}") from wrong
    print(f"\n{SEASONS} seasons:", dict(counts.most_common()))
