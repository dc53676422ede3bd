"""Tryout: a candidate's gain is the difference of two priced plans, every race of it lawful."""

from __future__ import annotations

from dataclasses import replace

import pytest

from lineup.explain.change import Lineup
from lineup.explain.tryout import candidate_to_dict, tryout
from lineup.lawful import broken_rules
from lineup.limits import Limit, Limits
from lineup.plan import Assignment, Move, Plan
from lineup.season import Clearance, Seat, Weights
from lineup.settings import Settings
from lineup.study import Study
from tests.builders import tiny_season


def world(fast: float, **facts):
    """Three starters around 4 s and a candidate in training whose tryout grades say `fast`."""
    own = {("a5", "p1"): fast, ("a5", "p2"): 4.0} | {
        (a, p): 4.0 for a in ("a1", "a2", "a3", "a4") for p in ("p1", "p2")
    }
    season = tiny_season(athletes=5, positions=2, cars=2, races=3, own=own, noise=0.03, grades=20, weights=Weights())
    athletes = {**season.athletes, "a5": replace(season.athletes["a5"], group="candidate")}
    clearances = tuple(
        Clearance(c.athlete, c.position, "training" if c.athlete == "a5" else "cleared") for c in season.clearances
    )
    season = season.replace(athletes=athletes, clearances=clearances, **facts)
    study = Study(season, season.weekends, Settings(scenarios=256))
    seats = [("c1", "p1", "a1"), ("c1", "p2", "a2"), ("c2", "p1", "a3"), ("c2", "p2", "a4")]
    plan = Plan("best_so_far", tuple(Assignment(r, c, p, a) for r in season.races for c, p, a in seats))
    return study, plan.replace(weekends=study.weekends)


def test_a_quick_candidate_starts_in_the_position_he_is_quick_in():
    study, plan = world(3.0)
    best, other = tryout(study, plan)
    assert (best.athlete, best.position, best.starts) == ("a5", "p1", True)
    assert best.chance > 0.9
    assert best.races == ("r1", "r2", "r3")
    assert best.text.startswith("Athlete 5 would start as p1 on Car ")
    assert other.position == "p2"


def test_the_gain_is_the_difference_of_two_priced_plans():
    study, plan = world(3.7)
    for candidate in tryout(study, plan):
        season = study.season.with_clearance(Clearance(candidate.athlete, candidate.position, "cleared"))
        cleared = study.with_season(season)
        lineup = Lineup(cleared.pricer, plan)
        seats = [Seat(race, candidate.car, candidate.position) for race in candidate.races]
        moves = tuple(m for s in seats for m in (Move(candidate.athlete, None, s), Move(plan.by_seat[s], s, None)))
        after = {**lineup.crews, **lineup.apply(moves)}
        gain = cleared.pricer.value(plan.assignments) - cleared.pricer.value(lineup.assignments(after))
        assert candidate.gain_s == pytest.approx(gain, abs=1e-8)
        assert broken_rules(cleared.pricer, after) == ()


def test_races_that_a_limit_forbids_are_left_out():
    study, plan = world(3.0, limits=Limits({"starts": Limit("starts", at_most=3)}))
    tight = study.with_season(
        study.season.replace(limits=Limits({"weekends_in_a_row": Limit("weekends_in_a_row", at_most=1)}))
    )
    assert len(tryout(study, plan)[0].races) == 3
    assert tryout(tight, plan.replace(assignments=()))[0].races == ("r1", "r3")


def test_a_slow_candidate_would_not_start_and_it_is_said():
    study, plan = world(5.0)
    slow = next(c for c in tryout(study, plan) if c.position == "p1")
    assert not slow.starts
    assert slow.chance < 0.1
    assert "would not start; nearest is p1 on Car" in slow.text
    assert candidate_to_dict(slow)["starts"] is False
