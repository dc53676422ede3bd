"""Who may step in at the track: people who are there, rules kept, counted by hand on a tiny season."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from lineup.audit import audit
from lineup.explain.on_site import step_ins, with_step_in
from lineup.plan import Cover, Move, Plan
from lineup.season import Absence, Pin, Season, Seat
from lineup.settings import Settings
from lineup.study import Study
from tests.builders import tiny_season
from tests.store.rosters import roster_plan

SEAT = Seat("r1", "c1", "p2")  # a2 works it; a7 is the reserve, a8 stays at home, a1-a6 work


def looked_at(season: Season, plan: Plan | None = None) -> tuple[Study, Plan]:
    return Study(season, season.weekends, Settings(scenarios=64)), plan or roster_plan(season)


@pytest.fixture
def season() -> Season:
    return tiny_season(athletes=8, cars=2, races=2)


def test_only_who_is_there_may_step_in(season: Season) -> None:
    study, plan = looked_at(season)
    ways = step_ins(study, plan, SEAT)
    # the reserve; the other starters by an exchange or with the reserve behind them; never a2 himself, never a8
    assert {way.athlete for way in ways} == {"a1", "a3", "a4", "a5", "a6", "a7"}
    efforts = [(len(way.moves), way.cost_s) for way in ways]
    assert efforts == sorted(efforts)
    reserve = ways[0]  # one person moves; everybody else takes two
    assert reserve.moves == (Move("a7", None, SEAT),)
    assert "Athlete 7" in reserve.text


def test_every_way_is_priced_as_the_whole_plan_is(season: Season) -> None:
    study, plan = looked_at(season)
    before = study.pricer.price(plan.assignments).value_s
    for way in step_ins(study, plan, SEAT):
        after = with_step_in(study, plan, way)
        assert after.athlete_in(SEAT) == way.athlete
        assert after.value_s is not None
        assert after.value_s - before == pytest.approx(way.cost_s)
        assert len({a.athlete for a in after.assignments if a.race == "r1"}) == 6, "nobody works two seats"
        assert audit(season, after).passed
        assert (after.status, after.bound_s, after.gap) == ("best_so_far", None, None)


def test_who_may_not_is_left_out(season: Season) -> None:
    away = season.with_absence(Absence("a7", date(2026, 4, 5), None, "out"))
    ways = step_ins(*looked_at(away), SEAT)
    assert "a7" not in {move.athlete for way in ways for move in way.moves}
    uncleared = season.replace(
        clearances=tuple(c for c in season.clearances if (c.athlete, c.position) != ("a7", "p2"))
    )
    ways = step_ins(*looked_at(uncleared), SEAT)
    assert "a7" not in {way.athlete for way in ways}
    assert any(move == Move("a7", None, Seat("r1", "c1", "p1")) for way in ways for move in way.moves), "behind a1"
    kept_out = season.with_pin(Pin("never", "a7", "r", race="r1", car="c1", position="p2"))
    assert "a7" not in {way.athlete for way in step_ins(*looked_at(kept_out), SEAT)}


def test_a_pin_of_who_is_lost_does_not_stand_in_the_way(season: Season) -> None:
    pinned = season.with_pin(Pin("must", "a2", "r", race="r1", car="c1", position="p2"))
    assert "a7" in {way.athlete for way in step_ins(*looked_at(pinned), SEAT)}
    other = season.with_pin(Pin("must", "a3", "r", race="r1", car="c1", position="p3"))
    assert "a3" not in {way.athlete for way in step_ins(*looked_at(other), SEAT)}


def test_nobody_is_there_nobody_is_offered() -> None:
    season = tiny_season(athletes=3, cars=1, races=1)
    seats = tuple(a for a in roster_plan(season).assignments if a.car == "c1")
    alone = season.replace(clearances=tuple(c for c in season.clearances if c.position == f"p{c.athlete[1:]}"))
    study, plan = looked_at(alone, replace(roster_plan(season), assignments=seats, reserves=()))
    assert step_ins(study, plan, SEAT) == ()


def test_reserves_and_cover_follow(season: Season) -> None:
    seats = [Seat("r1", "c1", "p1"), SEAT, Seat("r2", "c1", "p1")]
    covers = tuple(Cover(seat, (Move("a7", None, seat),)) for seat in seats)
    study, plan = looked_at(season, roster_plan(season).replace(cover=covers))
    way = next(way for way in step_ins(study, plan, SEAT) if way.athlete == "a7")
    after = with_step_in(study, plan, way)
    assert [r.race for r in after.reserves if r.athlete == "a7"] == ["r2"]
    assert [c.seat.race for c in after.cover] == ["r2"], "a7 covers nobody at r1 any more"
    assert {a.race for a in set(plan.assignments) ^ set(after.assignments)} == {"r1"}
    assert after.notes[-1].startswith("changed at the track: ")
