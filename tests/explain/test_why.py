"""Why: every number and every reason is confirmed by evaluating whole plans and looking at whole rules."""

from __future__ import annotations

from dataclasses import replace

import pytest

from lineup.eligibility import may_fill
from lineup.errors import InputError
from lineup.explain.change import Lineup
from lineup.explain.mends import reasons as told
from lineup.explain.why import TIE_S, Reason, SeatAnswer, answer_to_dict, why
from lineup.lawful import broken_rules
from lineup.plan import Assignment, Plan
from lineup.season import Pin, Seat, Weights
from lineup.settings import Settings
from lineup.study import Study
from tests.builders import tiny_season
from tests.explain.plans import plan_of, solved_seasons

CASES = list(solved_seasons(14))


def wrong(study: Study, plan: Plan, seat: Seat, reason: Reason) -> str | None:
    """What is wrong with a reason, found by pricing and judging whole plans; None where nothing is."""
    pricer, lineup = study.pricer, Lineup(study.pricer, plan)
    if reason.cost_s is None:
        return _wrong_refusal(study, plan, seat, reason)
    after = {**lineup.crews, **lineup.apply(reason.moves)}
    if after[seat.entry].get(seat.position) != reason.athlete:
        return "the moves do not bring the athlete into the seat"
    if set(broken_rules(pricer, after)) - set(broken_rules(pricer, lineup.crews)):
        return "the cheapest way breaks a rule"
    cost = pricer.value(lineup.assignments(after)) - pricer.value(plan.assignments)
    if reason.cost_s != pytest.approx(cost, abs=1e-8):
        return "the cost is not what the plan becomes dearer by"
    lost = {
        e: pricer.entry_value(e, crew) - pricer.entry_value(e, lineup.crews.get(e, {})) for e, crew in after.items()
    }
    here = lost.pop(seat.entry)
    if reason.here_s != pytest.approx(here, abs=1e-8) or reason.elsewhere_s != pytest.approx(
        sum(lost.values()), abs=1e-8
    ):
        return "the stops here and elsewhere are not what the crews' own stops say"
    if reason.kind != _true_kind(cost, here, sum(lost.values())):
        return "another reason is larger"
    count = sum(count for _, count in pricer.services(seat.race)) * pricer.priority[seat.car]
    if reason.per_stop_s != pytest.approx(here / count, abs=1e-8):
        return "the seconds a stop are not the crew's own"
    return None


def _true_kind(cost: float, here: float, elsewhere: float) -> str:
    if cost < -TIE_S:
        return "better"
    if cost <= TIE_S:
        return "tie"
    rest = cost - here - elsewhere
    if here >= max(elsewhere, rest):
        return "slower"
    return "needed_elsewhere" if elsewhere >= rest else "not_worth_it"


def _wrong_refusal(study: Study, plan: Plan, seat: Seat, reason: Reason) -> str | None:
    if reason.kind != "not_allowed":
        return "a refusal must say so"
    verdict = may_fill(study.season, reason.athlete, seat)
    if not reason.moves:
        if not reason.rules and verdict.allowed:
            return None  # no way in was found: nothing to confirm but that he sits where he cannot leave
        return None if verdict.rule in reason.rules and not verdict.allowed else "the rule does not forbid it"
    if not verdict.allowed:
        return "a fact forbids it, whatever the others do"
    lineup = Lineup(study.pricer, plan)
    after = {**lineup.crews, **lineup.apply(reason.moves)}
    broken = set(broken_rules(study.pricer, after)) - set(broken_rules(study.pricer, lineup.crews))
    if {b.rule for b in broken} != set(reason.rules):
        return "these are not the rules that the moves break"
    return None if all(text in reason.text for text in told(study.season, broken)) else "the text tells another rule"


def answers() -> list[tuple[Study, Plan, SeatAnswer]]:
    """Every seat of the best plan, and of one other plan, of each random season."""
    found = []
    for _, study, best, lineups in CASES:
        for plan in (best, plan_of(study, lineups[len(lineups) // 2][0])):
            found += [(study, plan, why(study, plan, a.seat)) for a in plan.assignments]
    return found


ANSWERS = answers()


def test_hundreds_of_answers_are_confirmed_by_separate_evaluation():
    checked = [(study, plan, answer.seat, reason) for study, plan, answer in ANSWERS for reason in answer.reasons]
    assert len({(id(s), id(p), seat) for s, p, seat, _ in checked}) > 100
    assert len(checked) > 300
    kinds = {reason.kind for *_, reason in checked}
    assert kinds >= {"better", "slower", "needed_elsewhere", "not_worth_it", "not_allowed"}
    assert [(seat, reason, fault) for s, p, seat, reason in checked if (fault := wrong(s, p, seat, reason))] == []


def test_a_deliberately_wrong_reason_does_not_pass():
    caught = {"cost": 0, "here": 0, "kind": 0, "rules": 0, "moves": 0}
    for study, plan, answer in ANSWERS:
        for reason in answer.reasons:
            if reason.cost_s is None:
                lies = {"rules": replace(reason, rules=("duty_hours",))} if reason.rules else {}
            else:
                other = "slower" if reason.kind != "slower" else "needed_elsewhere"
                lies = {
                    "cost": replace(reason, cost_s=reason.cost_s + 0.01),
                    "here": replace(reason, here_s=(reason.here_s or 0.0) - 0.01),
                    "kind": replace(reason, kind=other),
                    "moves": replace(reason, moves=reason.moves[1:]),
                }
            for name, lie in lies.items():
                assert wrong(study, plan, answer.seat, lie), (name, lie)
                caught[name] += 1
    assert min(caught.values()) > 10


def test_everyone_else_with_a_clearance_has_one_reason():
    for study, plan, answer in ANSWERS:
        able = {c.athlete for c in study.season.clearances if c.position == answer.seat.position}
        assert sorted(r.athlete for r in answer.reasons) == sorted(able - {plan.athlete_in(answer.seat)})


def test_no_shorter_way_is_cheaper():
    """The cost is the least over all lineups that differ in this race by an exchange or a replacement."""
    for _, study, plan, lineups in CASES[:8]:
        values = dict(lineups)
        for assignment in plan.assignments:
            for reason in why(study, plan, assignment.seat).reasons:
                ways = [
                    value - values[plan.assignments]
                    for other, value in values.items()
                    if assignment.seat in {a.seat for a in other if a.athlete == reason.athlete}
                    and len(set(other) ^ set(plan.assignments)) <= 4
                    and len({a.race for a in set(other) ^ set(plan.assignments)}) == 1
                ]
                if ways and reason.cost_s is not None and len(reason.moves) <= 2:
                    assert reason.cost_s <= min(ways) + 1e-8


def test_a_seat_outside_the_block_gets_one_clear_line():
    _, study, plan, _ = CASES[0]
    with pytest.raises(InputError, match="is not a seat of this block"):
        why(replace(study, weekends=study.weekends[:1]), plan, Seat("r2", "c1", "p1"))


def test_somebody_with_a_pair_can_be_replaced_when_the_partner_leaves_too():
    pin = Pin("pair", "a1", "learn the exchange together", other="a2")
    season = tiny_season(athletes=4, positions=2, pins=(pin,), weights=Weights())
    study = Study(season, season.weekends, Settings(scenarios=64))
    seats = season.seats("r1", "c1")
    plan = Plan("best_so_far", tuple(_seated(seats, ("a1", "a2"))), weekends=("w1",))
    reason = next(r for r in why(study, plan, seats[0]).reasons if r.athlete == "a3")
    assert {m.athlete for m in reason.moves} == {"a1", "a2", "a3", "a4"}
    assert "Athlete 2 sits out" in reason.text
    assert wrong(study, plan, seats[0], reason) is None


def _seated(seats, athletes):
    return (Assignment(s.race, s.car, s.position, a) for s, a in zip(seats, athletes, strict=True))


def test_the_json_form_has_every_reason():
    _, _, answer = ANSWERS[0]
    data = answer_to_dict(answer)
    assert data["text"] == answer.text
    assert [row["kind"] for row in data["reasons"]] == [r.kind for r in answer.reasons]
