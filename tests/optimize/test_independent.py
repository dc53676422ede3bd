"""The optimum agrees with a second model of the block, written on its own and solved by another solver, rule by rule.

Each season below is one in which its rule makes a difference, by the second model's word: a solver that overlooked
the rule would come out with another value. They are small enough to be proven at once; tests/long/test_bound_many.py
takes seasons as they come.
"""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from lineup.optimize.solve import solve
from lineup.problem import build
from lineup.settings import Settings
from tests.optimize.independent import least_cost
from tests.optimize.switched import LATER, SWITCHES, switched, turn_of

EFFORT = Settings(time_s=30.0, workers=1, tolerance=0.0, scenarios=6)
# fmt: off
SEEDS = (
    7, 187, 8, 128, 11, 41, 14, 224, 314, 194, 18, 78, 20, 80, 21, 231, 23, 113, 24, 84, 26, 86, 32, 122, 34, 154,
    36, 66, 40, 340, 42, 72, 43, 253, 52, 172, 58, 88, 61, 151, 69, 189, 85, 205, 90, 240, 93, 213, 95, 275,
    109, 319, 136, 166, 167, 227, 327, 59, 329, 735,
    1245, 1365, 2115,
)
# fmt: on
# For each of LATER two seeds, found by trying: where the rule makes no difference the test says so.
LATER_SEEDS: Mapping[str, tuple[int, int]] = {}
CASES = [(turn_of(seed), seed, None) for seed in SEEDS]
CASES_LATER = [(name, seed, name) for name, seeds in LATER_SEEDS.items() for seed in seeds]


def test_every_rule_has_its_turn() -> None:
    assert {turn_of(seed) for seed in SEEDS} == set(SWITCHES)
    assert set(LATER_SEEDS) == set(LATER)


@pytest.mark.parametrize(("rule", "seed", "later"), [*CASES, *CASES_LATER])
def test_agrees_where_the_rule_matters(rule: str, seed: int, later: str | None) -> None:
    season, model = switched(seed, later=later)
    least, freely = least_cost(season, model), least_cost(*switched(seed, without=rule, later=later))
    found = solve(build(season, model, season.weekends, EFFORT), EFFORT)
    if least is None:
        assert freely is not None
        assert found.status == "impossible"
        return
    assert freely is None or abs(least - freely) > 1e-3
    assert found.status == "proven"
    assert found.value_s == pytest.approx(least, rel=2e-5)
    assert found.bound_s is not None
    assert found.bound_s <= least * (1 + 2e-6) + 1e-6  # SCIP's own tolerance is about a millionth
