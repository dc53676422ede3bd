"""Why nothing better: each thing that would have to give is tried, and gives the tenth; with less it does not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lineup.errors import InputError
from lineup.explain.better import better_to_dict, nothing_better
from lineup.explain.change import Lineup
from lineup.lawful import broken_rules
from lineup.plan import Assignment, Plan
from lineup.season import Absence, Clearance, Entry, Pin, Weights
from lineup.settings import Settings
from lineup.stop_model.stops import StopModel
from lineup.study import Study
from tests.builders import FIRST_SUNDAY, tiny_season

ENTRY = Entry("r1", "c1")


def world(seed=1, spread=1.0, **facts):
    rng = np.random.default_rng(seed)
    own = {(f"a{i}", f"p{j}"): 4.0 + spread * float(rng.random()) for i in range(1, 7) for j in (1, 2)}
    season = tiny_season(
        athletes=6, positions=2, cars=2, own=own, shape="chained", weights=Weights(tail=0.2, crew_change_s=0.5), **facts
    )
    study = Study(season, season.weekends, Settings(scenarios=128))
    seats = [("c1", "p1", "a1"), ("c1", "p2", "a2"), ("c2", "p1", "a3"), ("c2", "p2", "a4")]
    plan = Plan("best_so_far", tuple(Assignment("r1", c, p, a) for c, p, a in seats), weekends=study.weekends)
    return study, plan


def stop_s(study, crews):
    count = sum(n for _, n in study.pricer.services("r1"))
    return study.pricer.entry_value(ENTRY, crews[ENTRY]) / study.pricer.priority["c1"] / count


@pytest.mark.parametrize("seed", range(8))
def test_everything_told_is_confirmed(seed):
    facts = {
        "absences": (Absence("a5", FIRST_SUNDAY, None, "out"),),
        "pins": (Pin("apart", "a1", "they quarrel", other="a3"),),
    }
    study, plan = world(seed, **facts)
    lineup = Lineup(study.pricer, plan)
    answer = nothing_better(study, plan, ENTRY)
    for give in answer.gives:
        assert give.per_stop_s >= 0.1 - 1e-6
        if give.kind == "quicker":
            _confirm_quicker(study, lineup, give)
            continue
        after = {**lineup.crews, **lineup.apply(give.moves)}
        assert give.per_stop_s == pytest.approx(stop_s(study, lineup.crews) - stop_s(study, after))
        cost = study.pricer.value(lineup.assignments(after)) - study.pricer.value(plan.assignments)
        assert give.cost_s == pytest.approx(cost, abs=1e-8)
        broken = {b.rule for b in broken_rules(study.pricer, after)}
        assert broken == set(give.rules)
        assert (give.kind == "rule") == bool(broken)
        if give.kind == "other_car":
            assert after[Entry("r1", "c2")] != lineup.crews[Entry("r1", "c2")]


def _confirm_quicker(study, lineup, give):
    for quicker, enough in ((give.quicker_s, True), (give.quicker_s - 0.002, False)):
        banks = {}
        for key, bank in study.model.banks.items():
            durations = {p: d.copy() for p, d in bank.durations.items()}
            row = bank.athletes[give.position].index(give.athlete)
            durations[give.position][row] = np.maximum(durations[give.position][row] - quicker, 0.0)
            banks[key] = replace(bank, durations=durations)
        changed = replace(study, known_model=StopModel(banks, 1, 128))
        gained = stop_s(study, lineup.crews) - stop_s(changed, lineup.crews)
        assert (gained >= 0.1 - 1e-6) == enough


def test_an_absence_is_named_as_what_would_have_to_give():
    _, plan = world()
    own = {(f"a{i}", p): 3.0 if i == 5 else 4.5 for i in range(1, 7) for p in ("p1", "p2")}
    season = tiny_season(athletes=6, positions=2, cars=2, own=own, shape="chained", grades=20, noise=0.01)
    season = season.with_absence(Absence("a5", FIRST_SUNDAY, None, "out"))
    answer = nothing_better(Study(season, season.weekends, Settings(scenarios=128)), plan, ENTRY)
    rules = [give for give in answer.gives if give.kind == "rule"]
    assert rules
    assert {r for give in rules for r in give.rules} == {"availability"}
    assert "Athlete 5 is out, with no day of return; allowed once back" in rules[0].text
    assert answer.text.startswith("0.10 s a stop for Car 1 at Race 1 cannot be had within the rules.")
    assert any(give.kind == "quicker" for give in answer.gives)


def test_where_it_can_be_had_the_cheapest_way_is_told():
    study, plan = world(3, spread=3.0)
    answer = nothing_better(study, plan, ENTRY, tenth=0.01)
    lawful = [give.cost_s for give in answer.gives if give.kind in ("price", "other_car")]
    assert lawful
    assert "can be had: the cheapest way" in answer.text


def test_more_than_anybody_can_bring_is_said_so():
    season = tiny_season(athletes=1, positions=1, grades=6)
    season = season.replace(clearances=(Clearance("a1", "p1", "cleared"),))
    study = Study(season, season.weekends, Settings(scenarios=64))
    plan = Plan("best_so_far", (Assignment("r1", "c1", "p1", "a1"),), weekends=("w1",))
    answer = nothing_better(study, plan, ENTRY, tenth=3.0)
    assert answer.gives == ()
    assert answer.text.endswith("and no starter's single split could bring it either.")


def test_a_car_without_a_crew_gets_one_clear_line():
    study, plan = world()
    with pytest.raises(InputError, match="no crew for car 'c9' in race 'r1'"):
        nothing_better(study, plan, Entry("r1", "c9"))
    assert better_to_dict(nothing_better(study, plan, ENTRY))["asked_s"] == 0.1
