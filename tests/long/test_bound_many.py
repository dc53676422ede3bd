"""Hundreds of random seasons as they come: the bound never passes the optimum, and what is proven is the optimum.

Run by hand: pytest -n0 -s tests/long/test_bound_many.py. The optimum is that of the second model in
tests/optimize/independent.py, solved by SCIP; every rule has its turn, others join it. Seeds differ from those of the
normal suite. The last result stands in RESULTS.md. LINEUP_SEASONS says how many seasons.
"""

from __future__ import annotations

import os
from collections import Counter

import pytest

from lineup.optimize import solve as solve_module
from lineup.optimize.solve import Outcome, solve
from lineup.problem import build
from lineup.season import Season
from lineup.settings import Settings
from lineup.stop_model.stops import StopModel
from tests.optimize.independent import least_cost
from tests.optimize.switched import SWITCHES, switched, turn_of

SEASONS = int(os.environ.get("LINEUP_SEASONS", "300"))
FIRST = 10_000
EFFORT = Settings(time_s=2.0, workers=1, tolerance=0.0, scenarios=6)
INDEPENDENT_S = 6.0
SLACK = 2e-6  # the second solver's own tolerances, as a share of the value


def judge(season: Season, model: StopModel, found: Outcome) -> str:
    """Hold an outcome against the second model's optimum; say what could be compared."""
    try:
        least = least_cost(season, model, INDEPENDENT_S)
    except TimeoutError:
        return "second model not done in time"
    if least is None:
        assert found.status in ("impossible", "not_found")
        return found.status
    room = SLACK * abs(least) + 1e-6
    assert found.status != "impossible"
    assert found.bound_s is None or found.bound_s <= least + room
    assert found.value_s is None or found.value_s >= least - room
    if found.status == "proven":
        assert found.value_s == pytest.approx(least, rel=2e-5)
    reached = found.value_s is not None and found.value_s <= least + 2e-5 * abs(least)
    return found.status + (", optimum reached" if reached else "")


@pytest.mark.timeout(0)
@pytest.mark.parametrize("by_schedules", [False, True], ids=["as it comes", "bound by schedules alone"])
def test_bound_never_passes_the_optimum(monkeypatch: pytest.MonkeyPatch, by_schedules: bool) -> None:
    """The second run leaves out the loop for small seasons, so that the bound of large blocks is what is held."""
    if by_schedules:
        monkeypatch.setattr(solve_module, "SMALL_SEATS", 0)
    counts: Counter[str] = Counter()
    for seed in range(FIRST, FIRST + SEASONS):
        season, model = switched(seed)
        found = solve(build(season, model, season.weekends, EFFORT), EFFORT)
        try:
            counts[judge(season, model, found)] += 1
        except AssertionError as wrong:
            raise AssertionError(f"switched({seed}), {turn_of(seed)}: {found}") from wrong
    print(f"\n{SEASONS} seasons, {len(SWITCHES)} rules in turns:", dict(counts.most_common()))
