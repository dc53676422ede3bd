"""Swaps: every gain is the difference of two priced plans, every refusal is a rule that the whole lineup breaks."""

from __future__ import annotations

import numpy as np
import pytest

from lineup.crew_chance import CrewChances
from lineup.explain.change import Lineup
from lineup.explain.mends import reasons
from lineup.explain.swaps import chance_real, find_swaps, new_chances, swap_to_dict
from lineup.lawful import broken_rules
from lineup.limits import Limit, Limits
from lineup.plan import Assignment, Move, Plan
from lineup.season import Absence, Pin, Position, Seat, Weights
from lineup.settings import Settings
from lineup.study import Study
from tests.builders import FIRST_SUNDAY, tiny_season

LIMITS = Limits({"weekends_in_a_row": Limit("weekends_in_a_row", at_most=2), "starts": Limit("starts", at_most=3)})
FIRST_TWO = Plan(
    "best_so_far", (Assignment("r1", "c1", "p1", "a1"), Assignment("r1", "c1", "p2", "a2")), weekends=("w1",)
)
WEIGHTS = Weights(crew_change_s=0.7, not_standing_s=0.3, uneven_s=0.2, travel_hour_s=0.01, tail=0.2)


def study_of(**changes) -> Study:
    facts = {"athletes": 7, "positions": 2, "cars": 2, "races": 3, "weights": WEIGHTS, "limits": LIMITS}
    season = tiny_season(**(facts | changes))
    return Study(season, season.weekends, Settings(scenarios=64))


def random_plan(study: Study, seed: int) -> Plan:
    """Fill every seat with someone different in each race."""
    rng = np.random.default_rng(seed)
    assignments = []
    for race in study.season.races:
        seats = [seat for car in study.season.cars_in[race] for seat in study.season.seats(race, car)]
        people = rng.permutation(list(study.season.athletes))[: len(seats)]
        assignments += [Assignment(s.race, s.car, s.position, str(a)) for s, a in zip(seats, people, strict=True)]
    return Plan("best_so_far", tuple(assignments), weekends=study.weekends)


@pytest.mark.parametrize("seed", range(12))
def test_a_gain_is_the_difference_of_two_priced_plans(seed):
    study = study_of(seed=seed)
    plan = random_plan(study, seed)
    lineup = Lineup(study.pricer, plan)
    before = study.pricer.value(plan.assignments)
    old = {(b.rule, b.text) for b in broken_rules(study.pricer, lineup.crews)}
    swaps = find_swaps(study, plan, plan.assignments[seed % len(plan.assignments)].seat, most=200)
    assert len(swaps) > 10
    for swap in swaps:
        after = lineup.apply(swap.moves)
        assert swap.gain_s == pytest.approx(before - study.pricer.value(lineup.assignments(after)), abs=1e-9)
        new = [b for b in broken_rules(study.pricer, {**lineup.crews, **after}) if (b.rule, b.text) not in old]
        assert swap.allowed == (not new)
        assert set(swap.reasons) == set(reasons(study.season, new))


def test_best_comes_first_and_forbidden_last():
    study = study_of(absences=(Absence("a7", FIRST_SUNDAY, None, "out"),))
    plan = next(
        p for p in (random_plan(study, n) for n in range(9)) if "a7" not in {a.athlete for a in p.assignments[:4]}
    )
    swaps = find_swaps(study, plan, Seat("r1", "c1", "p1"), most=200)
    allowed = [s.allowed for s in swaps]
    assert allowed == sorted(allowed, reverse=True)
    gains = [s.gain_s for s in swaps if s.allowed]
    assert gains == sorted(gains, reverse=True)
    refused = [s for s in swaps if any(m.athlete == "a7" and m.end for m in s.moves)]
    told = "Athlete 7 is out, with no day of return; allowed once back"
    assert all(told in " ".join(s.reasons) for s in refused if not s.allowed)
    assert any(not s.allowed for s in refused)


def test_every_single_exchange_and_replacement_is_listed():
    study = study_of(athletes=5, limits=Limits())
    plan = random_plan(study, 1)
    seat = plan.assignments[0].seat
    found = {frozenset(s.moves) for s in find_swaps(study, plan, seat, most=500)}
    starter = plan.athlete_in(seat)
    others = {a.athlete: a.seat for a in plan.assignments if a.race == seat.race and a.seat != seat}
    for athlete in study.season.athletes:
        if athlete == starter:
            continue
        if athlete in others:
            there = others[athlete]
            assert frozenset((Move(athlete, there, seat), Move(starter, seat, there))) in found
        else:
            assert frozenset((Move(athlete, None, seat), Move(starter, seat, None))) in found


def test_a_pair_pin_forbids_parting_and_says_why():
    pin = Pin("pair", "a1", "learn the exchange together", other="a2", car="c1")
    study = study_of(athletes=4, positions=2, cars=1, races=1, pins=(pin,), limits=Limits())
    plan = Plan(
        "best_so_far", (Assignment("r1", "c1", "p1", "a1"), Assignment("r1", "c1", "p2", "a2")), weekends=("w1",)
    )
    swaps = find_swaps(study, plan, Seat("r1", "c1", "p1"))
    assert [s.moves for s in swaps if s.allowed] == [
        (
            Move("a2", Seat("r1", "c1", "p2"), Seat("r1", "c1", "p1")),
            Move("a1", Seat("r1", "c1", "p1"), Seat("r1", "c1", "p2")),
        )
    ]
    assert "pinned (pair)" in swaps[-1].reasons[0]
    assert "learn the exchange together" in swaps[-1].reasons[0]


def test_an_empty_support_seat_may_be_filled_and_emptied():
    positions = {"p1": Position("p1", "Jack"), "p2": Position("p2", "Stager", "support", "if_possible")}
    study = study_of(athletes=3, cars=1, races=1, positions=["p1", "p2"], limits=Limits())
    study = study.with_season(study.season.replace(positions=positions))
    full = Plan(
        "best_so_far", (Assignment("r1", "c1", "p1", "a1"), Assignment("r1", "c1", "p2", "a2")), weekends=("w1",)
    )
    seat = Seat("r1", "c1", "p2")
    assert (Move("a2", seat, None),) in [s.moves for s in find_swaps(study, full, seat)]
    empty = full.replace(assignments=full.assignments[:1])
    assert (Move("a3", None, seat),) in [s.moves for s in find_swaps(study, empty, seat)]


def test_the_chance_agrees_with_many_more_guesses_and_with_fresh_luck():
    study = study_of(grades=3, noise=0.2, limits=Limits(), weights=Weights())
    plan = random_plan(study, 5)
    lineup = Lineup(study.pricer, plan)
    slow = CrewChances(study.season, study.estimates, 99, guesses=2048, stops=64)
    for swap in find_swaps(study, plan, plan.assignments[0].seat)[:8]:
        change = lineup.change(swap.moves)
        assert swap.chance == pytest.approx(chance_real(lineup, slow, change), abs=0.12)
        assert swap.chance == chance_real(lineup, new_chances(study), change)


def test_the_whole_plans_best_swap_is_the_best_of_all_seats():
    study = study_of()
    plan = random_plan(study, 2)
    best = find_swaps(study, plan, most=1)[0]
    each = [find_swaps(study, plan, a.seat, most=1) for a in plan.assignments]
    singles = [s for swaps in each for s in swaps if s.allowed and len(s.moves) <= 2]
    assert best.gain_s >= max(s.gain_s for s in singles) - 1e-9


def test_the_json_form_has_the_keys_of_the_contract():
    study = study_of()
    row = swap_to_dict(find_swaps(study, random_plan(study, 0), Seat("r1", "c1", "p1"))[0])
    assert {"race", "car", "position", "moves", "gain_s", "chance", "allowed", "reasons"} <= row.keys()
    assert row["moves"][0].keys() == {"athlete", "from", "to"}
