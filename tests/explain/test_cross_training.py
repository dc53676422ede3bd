"""Cross-training: what a clearance saves is what whole races cost with and without it, worked out by hand."""

from __future__ import annotations

import itertools

import pytest

from lineup.explain.cross_training import advice_to_dict, cross_training
from lineup.plan import Assignment, Plan, Reserve
from lineup.season import Car, Clearance, Position, Weights
from lineup.settings import Settings
from lineup.study import Study
from tests.builders import tiny_season

CHANCE = 0.1


def world():
    """Two cars of unlike priority and a reserve; everyone cleared for his own position alone."""
    season = tiny_season(
        athletes=5, positions=2, cars=2, races=2, weights=Weights(absence_chance=CHANCE), grades=8, noise=0.02
    )
    own = {"a1": "p1", "a2": "p2", "a3": "p1", "a4": "p2", "a5": "p1"}
    season = season.replace(
        cars={"c1": Car("c1", "cup", 3.0, "shop", "Car 1"), "c2": Car("c2", "cup", 1.0, "shop", "Car 2")},
        clearances=tuple(Clearance(a, p, "cleared") for a, p in own.items()),
    )
    study = Study(season, season.weekends, Settings(scenarios=256))
    seats = [("c1", "p1", "a1"), ("c1", "p2", "a2"), ("c2", "p1", "a3"), ("c2", "p2", "a4")]
    assignments = tuple(Assignment(r, c, p, a) for r in season.races for c, p, a in seats)
    reserves = tuple(Reserve(r, "a5") for r in season.races)
    return study, Plan("best_so_far", assignments, reserves, weekends=study.weekends)


def test_a_clearance_for_the_reserve_saves_what_an_open_seat_of_the_least_car_costs():
    study, plan = world()
    advice = {(a.athlete, a.position): a for a in cross_training(study, plan, most=99)}
    # Until then a4 steps in on car 1 and his own seat stays open, as does his own when he is lost himself; then a5
    # takes either seat. An open seat of car 2 is charged 300 s times its priority, 1 / ((3 + 1) / 2).
    open_s = 300.0 * 0.5
    saved = advice["a5", "p2"].saves_s
    expected = len(study.season.races) * CHANCE * 2 * open_s
    assert saved == pytest.approx(expected, rel=0.1)
    assert next(iter(advice)) == ("a5", "p2")
    assert advice["a5", "p2"].per_hour_s == pytest.approx(saved / 40)


def test_nobody_saves_by_learning_what_is_covered():
    study, plan = world()
    advice = {(a.athlete, a.position) for a in cross_training(study, plan, most=99)}
    assert ("a5", "p1") not in advice  # cleared already
    assert all(athlete in {f"a{i}" for i in range(1, 6)} for athlete, _ in advice)


def test_somebody_who_is_not_on_site_saves_nothing():
    study, plan = world()
    away = plan.replace(reserves=())
    assert "a5" not in {a.athlete for a in cross_training(study, away, most=99)}


def test_hours_are_the_coachs_and_order_the_list():
    study, plan = world()
    season = study.season.with_clearance(Clearance("a5", "p2", "training"))
    learning = Study(season, study.weekends, study.settings)
    usual = {(a.athlete, a.position): a for a in cross_training(learning, plan, most=99)}
    assert usual["a5", "p2"].hours == 20
    given = cross_training(learning, plan, hours={"p2": 1.0}, hours_in_training=1000.0, most=99)
    assert next(a for a in given if (a.athlete, a.position) == ("a5", "p2")).hours == 1000
    assert {a.hours for a in given if a.position == "p2" and a.athlete != "a5"} <= {1.0}
    for one, other in itertools.pairwise(given):
        assert one.per_hour_s >= other.per_hour_s


def test_who_was_never_graded_there_is_taken_as_the_pool_suggests_and_it_is_said():
    study, plan = world()
    grades = study.season.grades
    kept = grades[~((grades["athlete"] == "a5") & (grades["position"] == "p2"))]
    fresh = Study(study.season.replace(grades=kept), study.weekends, study.settings)
    advice = next(a for a in cross_training(fresh, plan, most=99) if (a.athlete, a.position) == ("a5", "p2"))
    assert not advice.graded
    assert "never graded there" in advice.text
    assert "40 hours of practice assumed" in advice.text


def test_an_optional_seat_may_stay_open_at_no_charge():
    study, plan = world()
    positions = {**study.season.positions, "p2": Position("p2", "P2", "support", "if_possible")}
    easy = Study(study.season.replace(positions=positions), study.weekends, study.settings)
    assert all(a.saves_s < 5 for a in cross_training(easy, plan, most=99) if a.position == "p2")


def test_the_json_form_has_the_gain_per_hour():
    study, plan = world()
    first = cross_training(study, plan)[0]
    assert advice_to_dict(first)["per_hour_s"] == first.per_hour_s
    assert cross_training(study, plan, stop=lambda: True) == ()
