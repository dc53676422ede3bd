"""The calls that command line and pages share: what becomes of a block the optimiser calls impossible."""

from __future__ import annotations

import pytest

from lineup.optimize.run import Progress
from lineup.optimize.solve import Outcome
from lineup.season import Absence
from lineup.settings import Settings
from lineup.study import Study
from lineup.workflow import FOUND_BY_SECOND_LOOK, finish_plan, make_plan
from tests.builders import FIRST_SUNDAY, tiny_season

QUICK = Settings(time_s=10.0, scenarios=64, workers=1)


def test_an_impossible_block_carries_its_clash() -> None:
    season = tiny_season().with_absence(*(Absence(a, FIRST_SUNDAY, None, "out") for a in ("a1", "a2")))
    plan = make_plan(Study(season, season.weekends, QUICK))
    assert plan.status == "impossible"
    assert plan.assignments == ()
    assert [fact.kind for fact in plan.clash[0].facts] == ["need", "availability", "availability"]


def test_a_wrong_impossible_is_found_out() -> None:
    """Had the optimiser been wrong, the second look's lineup is given instead, and the plan says so."""
    season = tiny_season()
    plan = finish_plan(Study(season, season.weekends, QUICK), Outcome("impossible"))
    assert plan.status == "best_so_far"
    assert len(plan.assignments) == 3
    assert FOUND_BY_SECOND_LOOK in plan.notes
    assert plan.bound_s is None


def test_progress_tells_when_the_search_is_over_and_reserves_are_chosen() -> None:
    season, told = tiny_season(), list[Progress]()
    plan = make_plan(Study(season, season.weekends, QUICK), on_progress=told.append)
    assert told[-1].phase == "reserves and cover"
    assert told[-1].value_s == pytest.approx(plan.value_s)
