"""The depth chart: order and seconds against priced crews, holes in words, losses against every lawful change."""

from __future__ import annotations

from datetime import timedelta

import pytest

from lineup.errors import InputError
from lineup.explain.change import Lineup
from lineup.explain.depth import depth_chart, depth_to_dict
from lineup.limits import Limit, Limits
from lineup.plan import Assignment, Cover, Move, Plan, Reserve
from lineup.season import Absence, Clearance, Entry, Seat, Weights
from lineup.settings import Settings
from lineup.study import Study
from tests.builders import FIRST_SUNDAY, tiny_season

OWN = {(f"a{n}", p): 4.0 + 0.1 * n + (0.5 if p == "p2" else 0.0) for n in range(1, 6) for p in ("p1", "p2")}
SEAT, OTHER = Seat("r1", "c1", "p1"), Seat("r1", "c1", "p2")
PLAN = Plan(
    "best_so_far",
    (Assignment("r1", "c1", "p1", "a1"), Assignment("r1", "c1", "p2", "a2")),
    (Reserve("r1", "a3"),),
    (Cover(SEAT, (Move("a3", None, SEAT),)),),
    weekends=("w1",),
)


def study_of(**changes) -> Study:
    facts = {"athletes": 5, "positions": 2, "own": OWN, "limits": Limits(), "shape": "chained"}
    season = tiny_season(**(facts | changes))
    return Study(season, season.weekends, Settings(scenarios=64))


def test_everyone_is_ranked_by_the_stop_of_the_crew_with_them_in_it():
    study = study_of()
    seat = depth_chart(study, PLAN).seats[0]
    crew = {"p1": "a1", "p2": "a2"}
    count = sum(n for _, n in study.pricer.services("r1"))
    assert seat.seat == SEAT
    assert [row.place for row in seat.rows] == [1, 2, 3, 4, 5]
    assert seat.rows[0].athlete == "a1"
    for row in seat.rows[1:]:
        slower = study.pricer.entry_value(Entry("r1", "c1"), {**crew, "p1": row.athlete})
        slower -= study.pricer.entry_value(Entry("r1", "c1"), crew)
        assert row.per_stop_s == pytest.approx(slower / count)
    assert [row.per_stop_s for row in seat.rows[1:]] == sorted(row.per_stop_s for row in seat.rows[1:])
    assert all(row.chance_slower > 0.6 for row in seat.rows if row.per_stop_s > 0.2)


def test_seconds_are_means_however_much_the_tail_weighs():
    plain = depth_chart(study_of(), PLAN).seats[0]
    tail = depth_chart(study_of(weights=Weights(tail=1.0)), PLAN).seats[0]
    assert [(r.athlete, r.per_stop_s) for r in tail.rows] == [(r.athlete, r.per_stop_s) for r in plain.rows]


def test_the_last_graded_day_is_told():
    rows = depth_chart(study_of(), PLAN).seats[0].rows
    assert {row.last_graded for row in rows} == {FIRST_SUNDAY - timedelta(days=1)}
    assert {row.recent for row in rows} == {6}
    never = depth_chart(study_of(grades=0), PLAN)
    assert {row.last_graded for row in never.seats[0].rows} == {None}
    assert depth_to_dict(depth_chart(study_of(), PLAN))["seats"][0]["rows"][0]["last_graded"] == "2026-04-04"


def test_one_whose_other_races_leave_no_room_is_spoken_for():
    """a3 works the Sunday after and may not work two weekends in a row: of no use here, and told so."""
    row = Limits({"weekends_in_a_row": Limit("weekends_in_a_row", at_most=1)})
    study = study_of(races=2, athletes=5, limits=row)
    later = tuple(Assignment("r2", "c1", p, a) for p, a in (("p1", "a3"), ("p2", "a4")))
    plan = PLAN.replace(assignments=(*PLAN.assignments, *later), reserves=(), weekends=("w1", "w2"))
    notes = {row.athlete: row.spoken_for for row in depth_chart(study, plan).seats[0].rows}
    assert notes["a3"] == "2 weekends in a row of 1 allowed with Race 2"
    assert notes["a5"] == ""


def test_who_is_spoken_for_and_who_steps_in_is_told():
    seat = depth_chart(study_of(), PLAN).seats[0]
    notes = {row.athlete: row.spoken_for for row in seat.rows}
    assert notes["a2"] == "p2 on Car 1"
    assert notes["a3"] == "reserve"
    assert notes["a1"] == notes["a4"] == ""
    assert seat.on_site == "Athlete 3 comes in as p1 on Car 1"


def test_a_loss_costs_what_the_cheapest_lawful_change_costs():
    study = study_of()
    seat = depth_chart(study, PLAN).seats[0]
    lineup = Lineup(study.pricer, PLAN)
    each = []
    for athlete in ("a3", "a4", "a5"):
        each.append(-lineup.change((Move(athlete, None, SEAT), Move("a1", SEAT, None))).gain_s)
        shifted = (Move("a2", OTHER, SEAT), Move(athlete, None, OTHER), Move("a1", SEAT, None))
        each.append(-lineup.change(shifted).gain_s)
    assert seat.loss_s == pytest.approx(min(each))


def test_a_hole_is_told_in_words():
    only = tuple(Clearance(a, "p1", "cleared") for a in ("a1",))
    only += tuple(Clearance(f"a{n}", "p2", "cleared") for n in range(1, 6))
    chart = depth_chart(study_of(clearances=only), PLAN)
    assert chart.holes == ("Behind the starter nobody may work p1 on Car 1 at Race 1.",)
    assert chart.seats[0].loss_s is None
    assert all("Athlete 1" not in line for line in chart.hurts)


def test_who_is_out_comes_last_with_the_reason():
    study = study_of(absences=(Absence("a4", FIRST_SUNDAY, None, "out"),))
    last = depth_chart(study, PLAN).seats[0].rows[-1]
    assert (last.athlete, last.place) == ("a4", 0)
    assert "Athlete 4 (a4) is out" in last.refused


def test_an_unknown_weekend_gets_one_line_and_the_json_form_is_flat():
    study = study_of()
    with pytest.raises(InputError, match="weekend 'w7' is not in the plan"):
        depth_chart(study, PLAN, "w7")
    data = depth_to_dict(depth_chart(study, PLAN, "w1"))
    assert data["seats"][0]["car"] == "c1"
    assert data["seats"][0]["rows"][0]["athlete"] == "a1"
