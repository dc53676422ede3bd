"""Practice priorities: the right things first, seconds that come true when the skill does, nothing made up."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lineup.explain.training import CAUTION, PracticePlan, Priority, practice_priorities
from lineup.plan import Assignment, Plan
from lineup.season import Season
from lineup.skills import SkillEstimates
from lineup.stop_model.crew_report import crew_report
from lineup.stop_model.stops import StopModel, sample_stops
from tests.services import FRONT, STAGER, log_level, made_estimates, stop_season

SEED, SCENARIOS = 1, 1024


def world(**more: object) -> tuple[Season, SkillEstimates, StopModel, Plan]:
    """One car, one race, five four-tire stops by a crew without a stager, everybody alike; misses 5 in 100."""
    season = stop_season()
    known = made_estimates(season, log_level(1.0, 0.02, 0.1), rate=0.05, **more)
    model = sample_stops(season, known, SEED, SCENARIOS)
    seats = [p for p in season.positions_of("r1") if p != STAGER]
    plan = Plan("best_so_far", tuple(Assignment("r1", "c1", p, f"a{i % 4 + 1}") for i, p in enumerate(seats)))
    return season, known, model, plan


def mean_stop(season: Season, known: SkillEstimates, plan: Plan) -> float:
    bank = sample_stops(season, known, SEED, SCENARIOS).banks["four", "plain"]
    return float(bank.stop_times(bank.crew_row(plan.crew("r1", "c1"))).mean())


def of(found: PracticePlan, athlete: str, position: str, kind: str, what: str) -> Priority:
    return next(p for p in found.athletes[athlete] if (p.position, p.kind, p.what) == (position, kind, what))


def test_seconds_come_true_when_the_skill_does() -> None:
    season, known, model, plan = world(pace={"a1": 1.06})
    found = practice_priorities(season, model, known, plan)
    base = mean_stop(season, known, plan)

    restrike = known.misses["a1", FRONT, "restrike"]
    rarer = replace(
        known, misses={**known.misses, ("a1", FRONT, "restrike"): replace(restrike, beta=2 * restrike.beta)}
    )
    assert of(found, "a1", FRONT, "miss", "restrike").per_stop_s == pytest.approx(base - mean_stop(season, rarer, plan))

    split = known.splits["a1", FRONT, "f-on"]
    quicker = replace(
        known, splits={**known.splits, ("a1", FRONT, "f-on"): replace(split, mean=split.mean + np.log(0.99))}
    )
    pace = of(found, "a1", FRONT, "pace", "f-on")
    assert pace.per_stop_s == pytest.approx(base - mean_stop(season, quicker, plan))
    assert pace.block_s == pytest.approx(5 * pace.per_stop_s)  # five stops expected

    calmer = replace(known, pace={"a1": 1.03})
    # a1 works two positions here, so practice of one alone brings at most what both bring.
    after = of(found, "a1", FRONT, "after_miss", "").per_stop_s
    assert 0 < after <= base - mean_stop(season, calmer, plan) + 1e-9


def test_extra_movement_is_the_slower_half_brought_halfway() -> None:
    season, known, model, plan = world()
    found = practice_priorities(season, model, known, plan)
    own = of(found, "a3", "jack", "extra_movement", "j-cross")
    # The mean of the positive part of a normal is sd / sqrt(2 pi): half of it, on a task that always decides.
    assert crew_report(model.banks["four", "plain"], plan.crew("r1", "c1"), 0.1).positions[3].critical_share == 1.0
    assert own.per_stop_s == pytest.approx(0.1 / np.sqrt(2 * np.pi) / 2, rel=0.25)


def test_one_percent_agrees_with_the_crew_report_to_first_order() -> None:
    season, known, model, plan = world()
    found = practice_priorities(season, model, known, plan)
    report = crew_report(model.banks["four", "plain"], plan.crew("r1", "c1"), 0.1)
    for worth in report.splits:
        if worth.percent_s > 0.002:
            own = of(found, worth.athlete, worth.position, "pace", worth.split)
            assert own.per_stop_s == pytest.approx(worth.percent_s, rel=0.05)


def test_misses_and_extra_movement_come_before_raw_pace() -> None:
    season, known, model, plan = world(pace={f"a{i}": 1.05 for i in range(1, 5)})
    found = practice_priorities(season, model, known, plan)
    for ranked in (*found.athletes.values(), *found.crews.values()):
        kinds = [p.kind == "pace" for p in ranked]
        assert kinds == sorted(kinds)
        for group in (False, True):
            worth = [p.block_s + p.penalty_s for p in ranked if (p.kind == "pace") == group]
            assert worth == sorted(worth, reverse=True)


def test_penalties_are_told_apart_from_time() -> None:
    season, known, model, plan = world()
    trigger = of(practice_priorities(season, model, known, plan), "a1", FRONT, "miss", "trigger")
    assert trigger.penalty_s == pytest.approx(5 * 2 * 0.05 / 2 * 20)  # five stops, two tries each, 20 s a miss, halved
    assert trigger.block_s < trigger.penalty_s
    assert f"and {trigger.penalty_s:.1f} s of penalties over the block" in trigger.text


def test_a_crew_holds_the_priorities_of_all_its_members() -> None:
    season, known, model, plan = world()
    found = practice_priorities(season, model, known, plan)
    assert set(found.crews) == {"c1"}
    assert {p.athlete for p in found.crews["c1"]} == set(found.athletes)
    total = sum(p.block_s for ranked in found.athletes.values() for p in ranked)
    assert sum(p.block_s for p in found.crews["c1"]) == pytest.approx(total)


def test_what_never_decides_a_stop_is_not_worth_a_practice() -> None:
    season, known, _, plan = world()
    slow = {k: replace(e, mean=e.mean + 2.0) if e.split == "j-cross" else e for k, e in known.splits.items()}
    known = replace(known, splits=slow)
    found = practice_priorities(season, sample_stops(season, known, SEED, SCENARIOS), known, plan)
    assert not [p for p in found.athletes["a1"] if p.position == FRONT and p.what == "f-cross"]


def test_texts_say_now_and_then_and_the_caution_is_there() -> None:
    season, known, model, plan = world(pace={"a1": 1.06})
    found = practice_priorities(season, model, known, plan)
    assert found.caution == CAUTION
    assert "clears nobody" in CAUTION
    assert of(found, "a1", FRONT, "miss", "restrike").text.startswith(
        "Half as many of “Second strike” (now 5 in 100 tries): saves 0.0"
    )
    assert "half of the 6.0% now lost" in of(found, "a1", FRONT, "after_miss", "").text
    pace = of(found, "a1", FRONT, "pace", "f-on")
    assert pace.text.startswith("“f-on-right” (typically 1.00 s) one percent quicker: saves ")


def test_an_empty_plan_has_nothing_to_practise() -> None:
    season, known, model, _ = world()
    found = practice_priorities(season, model, known, Plan("not_found"))
    assert (found.athletes, found.crews) == ({}, {})
