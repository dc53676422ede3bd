"""What the pages show of a plan: the roster, cars, limits, marks beside names, cover and an athlete's duties."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from lineup.audit import Audit, Check
from lineup.plan import Assignment, Cover, EntryForecast, Move, Plan, Reserve
from lineup.report.car_rows import car_rows, main_service, main_stops
from lineup.report.cover_words import cover_words, uncovered
from lineup.report.duties import duties_of
from lineup.report.limit_rows import limit_rows, state_of
from lineup.report.race_words import duty_times, race_title
from lineup.report.roster import roster
from lineup.report.seat_marks import held_before, seat_marks
from lineup.season import Absence, Clearance, Pin, Season, Seat
from tests.builders import tiny_season


@pytest.fixture
def season() -> Season:
    """Two cars, three weekends, eight athletes; a8 is out for the second race."""
    return tiny_season(
        athletes=8, cars=2, races=3, grades=0, absences=(Absence("a8", date(2026, 4, 12), date(2026, 4, 12), "out"),)
    )


@pytest.fixture
def plan(season: Season) -> Plan:
    """c1 is worked by a1-a3 and c2 by a4-a6, but a7 works p1 of c1 in the third race; a7 travels to the first."""
    seats = []
    for entry in season.entries:
        for place, position in enumerate(season.positions_of(entry.race)):
            usual = f"a{(1 if entry.car == 'c1' else 4) + place}"
            moved = (entry.race, entry.car, position) == ("r3", "c1", "p1")
            seats.append(Assignment(entry.race, entry.car, position, "a7" if moved else usual))
    return Plan("proven", tuple(seats), (Reserve("r1", "a7"),), weekends=season.weekends)


def test_the_roster_tells_who_works_travels_rests_and_is_out(season: Season, plan: Plan) -> None:
    rows = {row.athlete.id: row for row in roster(season, plan)}
    assert [cell.kind for cell in rows["a7"].cells] == ["travels", "rests", "works"]
    assert [cell.kind for cell in rows["a8"].cells] == ["rests", "out", "rests"]
    assert [cell.kind for cell in rows["a1"].cells] == ["works", "works", "rests"]
    assert rows["a1"].cells[0].seats == (Seat("r1", "c1", "p1"),)
    assert (rows["a7"].starts, rows["a7"].trips, rows["a7"].longest_run) == (1, 1, 1)
    assert (rows["a2"].starts, rows["a2"].longest_run) == (3, 3)


def test_rows_of_one_position_stand_together(season: Season, plan: Plan) -> None:
    positions = [row.position for row in roster(season, plan)]
    assert positions == sorted(positions)
    assert {row.position for row in roster(season, plan) if row.athlete.id in ("a1", "a4", "a7")} == {"p1"}


def test_nights_and_hours_are_those_of_the_journeys(season: Season, plan: Plan) -> None:
    # a race on Sunday 8:00 to 17:00 at track-3, some 900 km away: by air there and back, no night counted by hand
    row = {row.athlete.id: row for row in roster(season, plan)}["a7"]
    alone = {r.athlete.id: r for r in roster(season, plan.replace(reserves=()))}["a7"]
    assert row.travel_h > alone.travel_h > 0
    assert row.nights_away >= alone.nights_away


def forecast(race: str, car: str, median: float, mean: float, share: float) -> EntryForecast:
    return EntryForecast(race, car, "four", mean, median, median + 1, median + 2, 0.5, {"p1": share, "p2": 0.4})


def test_a_car_is_summed_up_over_its_expected_stops(season: Season, plan: Plan) -> None:
    season = season.replace(service_counts={"r1": {"four": 6}, "r2": {"four": 2}, "r3": {"four": 2}})
    told = plan.replace(entries=(forecast("r1", "c1", 11.0, 12.0, 0.9), forecast("r2", "c1", 13.0, 14.0, 0.1)))
    (row,) = car_rows(season, told)
    assert (row.car, row.races, row.stops) == ("c1", 2, 8)
    assert row.mean_s == pytest.approx((6 * 12 + 2 * 14) / 8)
    assert (row.best.race, row.worst.race) == ("r1", "r2")
    position, share = row.held_up_by[0]
    assert position == "p1"
    assert share == pytest.approx((6 * 0.9 + 2 * 0.1) / 8)
    assert [e.race for e in main_stops(season, told)] == ["r1", "r2"]


def test_the_main_service_is_the_one_expected_most() -> None:
    season = tiny_season().replace(service_counts={"r1": {"fuel": 1, "four": 4}})
    assert main_service(season, "r1") == "four"


@pytest.mark.parametrize(
    ("check", "state"),
    [
        (Check("rest_hours", True, False, "", 20.0, 11.0), "kept"),
        (Check("rest_hours", True, False, "", 11.5, 11.0), "at the edge"),
        (Check("starts", True, False, "", 10, 10), "at the edge"),
        (Check("starts", False, True, "", 12, 10, cost_s=4.0), "broken at a price"),
        (Check("rest_hours", False, False, "", 9.0, 11.0), "broken"),
        (Check("pin", True, False, "all pins are kept"), "kept"),
    ],
)
def test_a_limit_is_kept_at_the_edge_priced_or_broken(check: Check, state: str) -> None:
    assert state_of(check) == state


def test_what_is_broken_is_told_first() -> None:
    checks = (Check("pin", True, False, "fine"), Check("starts", False, True, "x"), Check("cover", False, False, "y"))
    rows = limit_rows(Audit(checks))
    assert [row.state for row in rows] == ["broken", "broken at a price", "kept"]
    assert rows[1].name == "starts in the block"


def test_marks_tell_what_is_worth_a_second_look(season: Season, plan: Plan) -> None:
    season = season.replace(
        standing={("c1", "p1"): "a1"},
        pins=(Pin("must", "a7", "promised", race="r3", car="c1"), Pin("pair", "a2", "learning", other="a3")),
        clearances=(*season.clearances[:-1], Clearance("a8", "p3", "training")),
    )
    assert seat_marks(season, plan, Seat("r3", "c1", "p1")) == ("pinned", "new in the seat", "not the standing crew")
    assert seat_marks(season, plan, Seat("r1", "c1", "p2")) == ("tied by a pin",)
    assert seat_marks(season, plan, Seat("r1", "c1", "p1")) == ()
    trained = plan.replace(assignments=(Assignment("r1", "c1", "p3", "a8"),))
    assert seat_marks(season, trained, Seat("r1", "c1", "p3")) == ("in training",)
    assert held_before(season, plan, Seat("r3", "c1", "p1")) == "a1"
    assert held_before(season, plan, Seat("r1", "c1", "p1")) is None


def test_cover_is_told_as_a_chain_with_the_seat_it_leaves_open(season: Season, plan: Plan) -> None:
    lost, other = Seat("r1", "c1", "p1"), Seat("r1", "c2", "p1")
    chain = Cover(lost, (Move("a4", other, lost), Move("a7", None, other)))
    assert cover_words(season, chain) == "Athlete 4 (p1 on Car 2), then Athlete 7 (reserve)"
    assert cover_words(season, Cover(lost, (Move("a4", other, lost),), other)).endswith("; leaves open: p1 on Car 2")
    assert cover_words(season, Cover(lost, (), lost)) == "nobody"
    bare = Cover(Seat("r1", "c1", "p2"), (), Seat("r1", "c1", "p2"))
    assert len(uncovered(season, plan.replace(cover=(chain, bare)))) == len(plan.assignments) - 1
    willing = replace(season.positions["p2"], filled="if_possible")
    season = season.replace(positions={**season.positions, "p2": willing})
    assert all(seat.position != "p2" for seat in uncovered(season, plan)), "a seat that may stay empty needs no cover"


def test_a_day_is_named_where_it_is_another(season: Season) -> None:
    # 12:00, 17:00 and 21:00 UTC are 08:00, 13:00 and 17:00 in New York in summer
    race = season.races["r1"]
    assert race_title(season, race) == (
        "Race 1 · Track 1 · Sunday 5 April 2026 · report 08:00, race 13:00 · plain tire"
    )
    assert [when for _, when in duty_times(season, race)] == ["Sunday 5 April, 08:00", "13:00", "about 17:00"]
    early = replace(race, report=race.report - timedelta(days=1), released=race.released + timedelta(hours=9))
    assert "report Saturday 4 April, 08:00, race 13:00" in race_title(season, early)
    assert [when for _, when in duty_times(season, early)] == [
        "Saturday 4 April, 08:00", "Sunday 5 April, 13:00", "about Monday 6 April, 02:00"
    ]  # fmt: skip


def test_an_athlete_sees_his_own_duties_and_who_with(season: Season, plan: Plan) -> None:
    (duty,) = duties_of(season, plan, "w3", "a7")
    assert (duty.race, duty.car, duty.position) == ("r3", "Car 1", "P1")
    assert duty.crew == ("Athlete 2 (p2)", "Athlete 3 (p3)")
    (trip,) = duties_of(season, plan, "w1", "a7")
    assert (trip.car, trip.position, trip.crew) == ("", "", ())
    assert list(duties_of(season, plan, "w2", "a7")) == []
