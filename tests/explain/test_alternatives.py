"""Other good plans: each lawful, priced, as near to the best as brute force allows, and unlike the others."""

from __future__ import annotations

from itertools import combinations

import pytest

from lineup.explain.alternatives import alternative_to_dict, alternatives
from lineup.lawful import broken_rules
from tests.explain.plans import changed_seats, solved_seasons
from tests.optimize.seasons import QUICK

CASES = list(solved_seasons(8, first=500))


def without(lineups, left_out):
    """Values of the lineups that do without some choices."""
    return [v for x, v in lineups if not any((a.car, a.position, a.athlete) in left_out for a in x)]


def test_each_is_lawful_priced_and_the_best_without_its_choices():
    found_any = 0
    for _, study, plan, lineups in CASES:
        values = dict(lineups)
        for one in alternatives(study, plan, settings=QUICK):
            found_any += 1
            assert tuple(sorted(one.assignments)) in values
            assert broken_rules(study.pricer, study.pricer.crews(one.assignments)) == ()
            assert one.cost_s == pytest.approx(values[one.assignments] - values[plan.assignments], abs=1e-8)
            least = min(without(lineups, one.left_out)) - values[plan.assignments]
            assert one.cost_s == pytest.approx(least, abs=2e-3)
            assert one.at_least_s <= least + 1e-6
            assert len(one.changes) == changed_seats(one.assignments, plan.assignments)
            assert f"{len(one.changes)} seat" in one.text
    assert found_any >= 10


def test_they_differ_from_the_plan_and_from_each_other_by_at_least_what_is_asked():
    for _, study, plan, _ in CASES:
        for least in (2, 3):
            found = alternatives(study, plan, min_seats=least, settings=QUICK)
            for one, other in combinations([plan.assignments, *(x.assignments for x in found)], 2):
                assert changed_seats(one, other) >= least
            assert [x.cost_s for x in found] == sorted(x.cost_s for x in found)
            assert len(found) <= 3


def test_none_where_nothing_else_is_possible_and_stopping_keeps_what_there_is():
    _, study, plan, _ = CASES[0]
    assert alternatives(study, plan, min_seats=10_000, settings=QUICK) == ()
    assert alternatives(study, plan, settings=QUICK, stop=lambda: True) == ()


def test_the_json_form_lists_the_changes():
    found = next(f for _, study, plan, _ in CASES if (f := alternatives(study, plan, count=1, settings=QUICK)))
    data = alternative_to_dict(found[0])
    assert len(data["changes"]) == len(found[0].changes)
    assert data["changes"][0].keys() >= {"race", "car", "position", "before", "after"}
