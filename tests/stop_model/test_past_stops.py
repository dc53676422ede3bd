"""Which timed stops can be compared with a forecast, and who made them."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date, timedelta

import pytest

from lineup.season import Position, Season, WorkedDuty
from lineup.skills import estimate_skills
from lineup.stop_model.past_stops import CREW_UNKNOWN, SPOILED, Forecaster, past_stops
from tests.builders import FIRST_SUNDAY, grade_row, grade_table, make_race, stop_row, stop_table, tiny_season
from tests.services import log_level, made_estimates, task

TASKS = [
    task("fetch", "p1", only_without="helper"),
    task("hand", "helper"),
    task("hang", "p1", "fetch hand"),
    task("go", "p2", "hang", release=True),
]


def season(grades: list[dict[str, object]], stops: list[dict[str, object]], **changes: object) -> Season:
    positions = {
        "p1": Position("p1", "P1"),
        "p2": Position("p2", "P2"),
        "helper": Position("helper", "Helper", "support", "if_possible"),
    }
    tiny = tiny_season(positions=["p1", "p2", "helper"], shape=TASKS)
    return tiny.replace(positions=positions, grades=grade_table(grades), stops=stop_table(stops), **changes)


def graded(stop: str, **crew: str) -> list[dict[str, object]]:
    names = {"p1": "hang", "p2": "go", "helper": "hand"}
    return [grade_row(athlete, p, names[p], 4.0, stop=stop) for p, athlete in crew.items()]


def test_a_stop_with_every_seat_graded_is_found() -> None:
    found = past_stops(season(graded("s1", p1="a1", p2="a2", helper="a3"), [stop_row("s1", 12.0, tire="lined")]))
    assert found.left_out == {}
    (stop,) = found.stops
    assert (stop.stop, stop.total_s, stop.tire, stop.setting) == ("s1", 12.0, "lined", "practice")
    assert stop.crew == {"p1": "a1", "p2": "a2", "helper": "a3"}
    assert stop.day == FIRST_SUNDAY


def test_an_empty_seat_is_known_by_the_task_done_without_it() -> None:
    rows = [*graded("s1", p1="a1", p2="a2"), grade_row("a1", "p1", "fetch", 1.0, stop="s1")]
    rows += graded("s2", p1="a1", p2="a2")
    found = past_stops(season(rows, [stop_row(s, 12.0) for s in ("s1", "s2", "s3")]))
    assert [stop.crew for stop in found.stops] == [{"p1": "a1", "p2": "a2"}]
    assert found.left_out == {CREW_UNKNOWN: 2}


def test_who_worked_the_race_fills_the_gaps_of_the_grades() -> None:
    race = make_race(0)
    duties = [
        WorkedDuty(a, "r1", race.site, race.report, race.released, "c1", p)
        for p, a in {"p1": "a4", "p2": "a2", "helper": "a3"}.items()
    ]
    facts = season(graded("s1", p1="a1"), [stop_row("s1", 12.0, race="r1", car="c1")], worked=tuple(duties))
    assert past_stops(facts).stops[0].crew == {"p1": "a1", "p2": "a2", "helper": "a3"}  # the film knows best
    elsewhere = season(graded("s1", p1="a1"), [stop_row("s1", 12.0, race="r1", car="c2")], worked=tuple(duties))
    assert past_stops(elsewhere).left_out == {CREW_UNKNOWN: 1}


def test_who_worked_the_race_made_no_stop_from_a_seat_that_the_film_shows_empty_or_the_service_has_not() -> None:
    race = make_race(0)
    at = {"p1": "a1", "p2": "a2", "helper": "a3", "fueler": "a4"}
    duties = tuple(WorkedDuty(a, "r1", race.site, race.report, race.released, "c1", p) for p, a in at.items())
    rows = [grade_row("a1", "p1", "fetch", 1.0, stop="s1")]
    found = past_stops(season(rows, [stop_row("s1", 12.0, race="r1", car="c1")], worked=duties))
    assert found.stops[0].crew == {"p1": "a1", "p2": "a2"}


def test_spoiled_stops_and_other_days_are_left_out() -> None:
    rows = [row for s in ("s1", "s2", "s3") for row in graded(s, p1="a1", p2="a2", helper="a3")]
    later = FIRST_SUNDAY + timedelta(days=7)
    stops = [stop_row("s1", 12.0, spoilers=("box-blocked",)), stop_row("s2", 12.0), stop_row("s3", 13.0, on=later)]
    assert [s.stop for s in past_stops(season(rows, stops)).stops] == ["s2", "s3"]
    assert past_stops(season(rows, stops)).left_out == {SPOILED: 1}
    assert past_stops(season(rows, stops[:1] * 3)).left_out == {SPOILED: 3}
    assert [s.stop for s in past_stops(season(rows, stops), since=later).stops] == ["s3"]
    assert [s.stop for s in past_stops(season(rows, stops), before=later).stops] == ["s2"]
    assert past_stops(season(rows, stops), since=date(2030, 1, 1)).stops == ()


def test_a_stop_by_someone_without_a_clearance_is_not_forecast() -> None:
    rows = [row for s in ("s1", "s2") for row in graded(s, p1="a1", p2="a2", helper="a3")]
    rows[3] = {**rows[3], "athlete": "a4"}
    facts = season(rows, [stop_row("s1", 12.0), stop_row("s2", 12.5)])
    facts = facts.replace(clearances=tuple(c for c in facts.clearances if c.athlete != "a4"))
    kept, times, left_out = Forecaster(facts, estimate_skills(facts), scenarios=32).forecast(past_stops(facts).stops)
    assert [stop.stop for stop in kept] == ["s1"]
    assert times.shape == (1, 32)
    assert left_out == 1


def test_a_stop_in_practice_is_forecast_as_one() -> None:
    rows = [row for s in ("s1", "s2") for row in graded(s, p1="a1", p2="a2", helper="a3")]
    facts = season(rows, [stop_row("s1", 12.0, setting="race"), stop_row("s2", 12.0, setting="practice")])
    known = made_estimates(facts, log_level(1.0))
    known = replace(known, setting={(split, "practice"): math.log(2.0) for split in ("hand", "hang", "go")})
    _, times, _ = Forecaster(facts, known, scenarios=32).forecast(past_stops(facts).stops)
    assert times[1] == pytest.approx(2 * times[0])
