"""Why not: the consequence equals a second model and brute force; what would help, helps when tried."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lineup.eligibility import may_fill
from lineup.errors import InputError
from lineup.explain.quicker import Quicker
from lineup.explain.smallest import GRADES_TRIED, grades_needed, quicker_needed, surer
from lineup.explain.why_not import why_not, why_not_to_dict
from lineup.limits import Limit, Limits
from lineup.optimize.solve import solve
from lineup.plan import Assignment
from lineup.rules import ScheduleRules
from lineup.season import Absence, Pin, Seat, Weights, WorkedDuty
from lineup.settings import Settings
from lineup.skills import chance_faster
from lineup.stop_model.stops import StopModel
from lineup.study import Study
from tests.builders import FIRST_SUNDAY, tiny_season
from tests.explain.milp import least_cost
from tests.explain.plans import changed_seats, plan_of, solved_seasons, study_of
from tests.optimize.seasons import QUICK, random_season

EFFORT = QUICK.replace(time_s=20.0)
CASES = list(solved_seasons(8, first=100))


def plain_season(seed: int):
    """A random season without what the second model does not know of."""
    season = random_season(seed, limits=False)
    tasks = tuple(t for t in season.choreographies["four"].tasks if t.position != "p3" and t.only_without is None)
    positions = {p: facts for p, facts in season.positions.items() if p != "p3"}
    return season.replace(
        choreographies={"four": replace(season.choreographies["four"], tasks=tasks)},
        positions=positions,
        clearances=tuple(c for c in season.clearances if c.position in positions),
        pins=(),
        absences=(),
        weights=replace(season.weights, travel_hour_s=0.0, development_start_s=0.0),
        limits=Limits({"starts": Limit("starts", at_most=2)} if seed % 2 else {}),
    )


@pytest.mark.parametrize("seed", range(300, 312))
def test_agrees_with_a_second_model_that_has_the_athlete_forced_in(seed):
    rng = np.random.default_rng(seed)
    study = study_of(plain_season(seed), seed)
    free = least_cost(study)
    outcome = _best(study)
    if free is None:
        assert outcome is None
        return
    assert study.pricer.value(outcome) == pytest.approx(free, abs=1e-3)
    plan = plan_of(study, outcome)
    pairs = [(s, a) for (s, a), v in study.problem.verdicts.items() if v.allowed and plan.athlete_in(s) != a]
    for index in rng.permutation(len(pairs))[:4]:
        seat, athlete = pairs[index]
        answer, forced = why_not(study, plan, seat, athlete, EFFORT), least_cost(study, {seat: athlete})
        if forced is None:
            assert not answer.possible
        else:
            assert answer.cost_s == pytest.approx(forced - free, abs=1e-3)
            assert answer.sure_to_s <= forced - free + 1e-6


def _best(study):
    found = solve(study.problem, EFFORT)
    return found.assignments if found.value_s is not None else None


def test_cost_bound_changes_and_items_equal_brute_force():
    checked = 0
    for seed, study, plan, lineups in CASES:
        rng = np.random.default_rng(seed)
        value = dict(lineups)[plan.assignments]
        pairs = [(s, a) for (s, a), v in study.problem.verdicts.items() if v.allowed and plan.athlete_in(s) != a]
        for index in rng.permutation(len(pairs))[:4]:
            seat, athlete = pairs[index]
            seated = [v for lineup, v in lineups if Assignment(seat.race, seat.car, seat.position, athlete) in lineup]
            answer = why_not(study, plan, seat, athlete, EFFORT)
            assert answer.possible == bool(seated)
            if not seated:
                assert answer.clash
                continue
            checked += 1
            assert answer.cost_s == pytest.approx(min(seated) - value, abs=1e-3)
            assert answer.cost_s == pytest.approx(study.pricer.value(answer.assignments) - value, abs=1e-8)
            assert len(answer.changes) == changed_seats(plan.assignments, answer.assignments)
            assert sum(answer.costs.values()) == pytest.approx(answer.cost_s, abs=0.01)
    assert checked >= 15


def test_as_many_seconds_less_as_told_do_pay_and_fewer_do_not():
    tried = 0
    for _, study, plan, lineups in CASES:
        for seat, athlete in [key for key, v in study.problem.verdicts.items() if v.allowed][:6]:
            seated = [item for item in lineups if Assignment(seat.race, seat.car, seat.position, athlete) in item[0]]
            if plan.athlete_in(seat) == athlete or not seated:
                continue
            forced = plan_of(study, min(seated, key=lambda item: item[1])[0])
            cost = study.pricer.value(forced.assignments) - study.pricer.value(plan.assignments)
            for split, need in quicker_needed(study, plan, forced, seat, athlete, cost).items():
                tried += 1
                assert _difference(study, plan, forced, athlete, seat.position, split, need) <= 1e-8
                assert _difference(study, plan, forced, athlete, seat.position, split, need - 0.002) > -1e-3
    assert tried > 5


def _difference(study, plan, forced, athlete, position, split, quicker):
    """Cost of the forced plan less that of the plan, on a model in which the athlete really is quicker."""
    banks = {}
    for key, bank in study.model.banks.items():
        durations = {p: d.copy() for p, d in bank.durations.items()}
        tasks = [t for t in bank.choreography.tasks if t.position == position]
        for rank, task in enumerate(tasks):
            if task.split == split:
                row = bank.athletes[position].index(athlete)
                durations[position][row, rank] = np.maximum(durations[position][row, rank] - quicker, 0.0)
        banks[key] = replace(bank, durations=durations)
    changed = replace(study, known_model=StopModel(banks, 1, study.model.scenarios))
    return changed.pricer.value(forced.assignments) - changed.pricer.value(plan.assignments)


def test_as_many_more_grades_as_told_do_make_the_gain_count():
    """A second season in which the athlete really has so many more grades at his pace: the seat is his."""
    own = {("a1", "p1"): 4.0, ("a2", "p1"): 3.85}
    weights = Weights(keep_chance=0.72, not_standing_s=0.01)
    told = 0
    for seed in range(12):
        season = tiny_season(athletes=2, positions=1, own=own, noise=0.08, grades=6, seed=seed, weights=weights)
        season = season.replace(standing={("c1", "p1"): "a1"})
        study = Study(season, season.weekends, Settings(scenarios=128))
        plan, forced = (plan_of(study, (Assignment("r1", "c1", "p1", a),)) for a in ("a1", "a2"))
        more = grades_needed(study, plan, forced, Seat("r1", "c1", "p1"), "a2")
        if more is None:
            continue
        for grades in (more, max((fewer for fewer in GRADES_TRIED if fewer < more), default=0)):
            told += 1
            known = surer(study.estimates, "a2", "p1", grades)
            chance = chance_faster(known, "a2", "a1", "p1", work=season.choreographies["four"], tire="plain")
            assert (chance >= 0.72) == (grades == more)
    assert told > 2


def test_limits_without_room_are_those_one_more_duty_would_break():
    season = tiny_season(athletes=3, positions=1, races=3, grades=0)
    season = season.replace(limits=Limits({"starts": Limit("starts", at_most=2)}))
    study = study_of(season)
    plan = plan_of(study, tuple(Assignment(r, "c1", "p1", a) for r, a in (("r1", "a1"), ("r2", "a1"), ("r3", "a2"))))
    answer = why_not(study, plan, Seat("r3", "c1", "p1"), "a3", EFFORT)
    rules = ScheduleRules(season, study.weekends)
    for athlete in season.athletes:
        races = [a.race for a in answer.assignments if a.athlete == athlete]
        moved = any(athlete in (c.before, c.after) for c in answer.changes)
        full = any(rules.assess(athlete, (*races, r)).breaches for r in season.races if r not in races)
        assert any(season.athletes[athlete].name in text for text in answer.limits) == (moved and full)


def test_what_forbids_it_is_told_with_what_would_allow_it():
    season = tiny_season(athletes=3, positions=1, grades=0).with_absence(Absence("a2", FIRST_SUNDAY, None, "out"))
    season = season.with_pin(Pin("never", "a3", "not with this car"))
    study, seat = study_of(season), Seat("r1", "c1", "p1")
    plan = plan_of(study, (Assignment("r1", "c1", "p1", "a1"),))
    away = why_not(study, plan, seat, "a2")
    assert away.text == "Athlete 2 is out, with no day of return."
    assert away.smallest == ("Would be allowed with Athlete 2 available again, which is not for this tool to say.",)
    pinned = why_not(study, plan, seat, "a3")
    assert pinned.smallest == ("Would be allowed with the pins on Athlete 3 taken back.",)
    assert may_fill(season.replace(pins=()), "a3", seat).allowed


def test_a_seat_pinned_to_another_names_the_clash():
    season = tiny_season(athletes=2, positions=1, grades=0).with_pin(Pin("must", "a1", "a promise", position="p1"))
    study = study_of(season)
    plan = plan_of(study, (Assignment("r1", "c1", "p1", "a1"),))
    answer = why_not(study, plan, Seat("r1", "c1", "p1"), "a2", EFFORT)
    assert not answer.possible
    assert any("a promise" in fact.text for fact in answer.clash[0].facts)
    assert any("a promise" in repair.text for clash in answer.clash for repair in clash.repairs)


def test_a_weekend_off_earlier_is_told_where_it_would_do():
    season = tiny_season(athletes=2, positions=1, races=2, grades=0)
    first, second = season.races.values()
    worked = WorkedDuty("a2", "r1", first.site, first.report, first.released)
    limit = Limits({"weekends_in_a_row": Limit("weekends_in_a_row", at_most=1)})
    season = season.replace(worked=(worked,), limits=limit, races={"r2": second}, entries=season.entries[1:])
    study = study_of(season)
    plan = plan_of(study, (Assignment("r2", "c1", "p1", "a1"),))
    answer = why_not(study, plan, Seat("r2", "c1", "p1"), "a2", EFFORT)
    assert answer.smallest == ("It could be done if Athlete 2 had had the weekend of 5 Apr off.",)


def test_bad_questions_get_one_clear_line():
    season = tiny_season(athletes=2, positions=2, grades=0)
    season = season.replace(clearances=tuple(c for c in season.clearances if (c.athlete, c.position) != ("a2", "p1")))
    study, seat = study_of(season), Seat("r1", "c1", "p1")
    plan = plan_of(study, (Assignment("r1", "c1", "p1", "a1"), Assignment("r1", "c1", "p2", "a2")))
    with pytest.raises(InputError, match="Athlete 1 has this seat already"):
        why_not(study, plan, seat, "a1")
    with pytest.raises(InputError, match="Athlete 2 has no clearance for p1"):
        why_not(study, plan, seat, "a2")
    with pytest.raises(InputError, match="is not a seat of this block"):
        why_not(replace(study, weekends=()), plan, seat, "a2")


def test_the_json_form_names_the_seat_and_its_changes():
    _, study, plan, _ = CASES[0]
    seat, athlete = next(k for k, v in study.problem.verdicts.items() if v.allowed and plan.athlete_in(k[0]) != k[1])
    answer = why_not(study, plan, seat, athlete, EFFORT)
    data = why_not_to_dict(answer)
    assert data["seat"] == {"race": seat.race, "car": seat.car, "position": seat.position}
    assert len(data["changes"]) == len(answer.changes)
    assert "assignments" not in data


def test_a_quicker_split_saves_nothing_where_the_athlete_does_not_work():
    _, study, plan, _ = CASES[0]
    crews = study.pricer.crews(plan.assignments)
    assert Quicker(study.pricer, "nobody", "p1", "do-p1").saved_s(crews, 1.0) == 0.0
