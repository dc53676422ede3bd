"""Grades as arrays: what a season of a few rows turns into, worked out by hand."""

from dataclasses import replace
from datetime import date, datetime, timedelta

import numpy as np
import pytest

from lineup.season import Choreography, Clearance, Miss, Task
from lineup.skills.grades import default_day, make_cells, make_rows
from tests.builders import FIRST_SUNDAY, grade_row, grade_table, make_race, tiny_season, utc

FOUR = (
    Task("reach-1", "To the wheel", "p1", (), "reach", 0.2, early=True),
    Task("do-1", "Work", "p1", ("reach-1",), "do", 4.0, ("slip", "drop")),
    Task("do-2", "Work", "p1", ("do-1",), "do", 6.0, ("slip",), release=True),
    Task("reach-2", "To the wheel", "p2", (), "reach", 1.8, early=True),
    Task("lift", "Lift", "p2", ("reach-2",), "lift", 0.0),
    Task("wait", "Wait", "p2", ("lift",), "wait", -0.8, early=True),
    Task("hop", "Hop", "p2", ("wait",), "hop", 0.1, early=True),
    Task("brake", "Stop on the marks", None, (), "brake", 1.5, ("slip",)),
    Task("go", "Leave", None, ("brake",), "go", 1.0),
)
TWO = (
    Task("do-1", "Work", "p1", (), "do", 2.0, ("slip",), load=True, release=True),
    Task("reach-2", "To the wheel", "p2", (), "reach", 1.8),
)
MISSES = {"slip": Miss("slip", "A slip", 0.5), "drop": Miss("drop", "A drop", 1.0, 5.0)}


def season(rows=(), **changes):
    """Five athletes: a1 cleared, a2 in training, a3 a candidate, a4 a lead; a5 developing and only graded."""
    base = tiny_season(athletes=5, positions=2, shape=FOUR, grades=0, misses=MISSES)
    groups = {"a3": "candidate", "a4": "lead", "a5": "developing"}
    crew = {a: replace(who, group=groups.get(a, "regular")) for a, who in base.athletes.items()}
    clearances = (
        Clearance("a1", "p1", "training"),
        Clearance("a1", "p1", "cleared", series="cup"),
        Clearance("a2", "p1", "training"),
        Clearance("a3", "p1", "cleared"),
        Clearance("a4", "p2", "cleared"),
    )
    services = {**base.choreographies, "two": Choreography("two", "Two tires", TWO)}
    facts = {"athletes": crew, "clearances": clearances, "choreographies": services, "grades": grade_table(rows)}
    return base.replace(**facts | changes)


def test_cells_are_those_of_clearances_and_grades_and_the_car():
    rows = [
        grade_row("a5", "p1", "do-1", 4.0),
        grade_row("a1", "p2", "lift", 1.0),
        grade_row("gone", "p1", "do-1", 4.0),
        grade_row("", "", "brake", 1.5),
    ]
    cells = make_cells(season(rows), 0.5)
    who = [("a1", "p1"), ("a2", "p1"), ("a3", "p1"), ("a4", "p2"), ("a5", "p1"), ("a1", "p2")]
    splits = {"p1": ["reach", "do"], "p2": ["reach", "lift", "wait", "hop"]}
    assert cells.keys == (*((a, p, s) for a, p in who for s in splits[p]), ("", "", "brake"), ("", "", "go"))
    assert cells.athletes == ("a1", "a2", "a3", "a4", "a5", "")
    assert [cells.athletes[i] for i in cells.athlete] == [a for a, _, _ in cells.keys]
    assert [cells.pools[i] for i in cells.pool] == [(p, s) for _, p, s in cells.keys]
    assert [cells.index[key] for key in cells.keys] == list(range(len(cells.keys)))
    assert cells.splits == ("reach", "do", "lift", "wait", "hop", "brake", "go")


def test_traits_are_new_to_the_position_lead_and_still_rising():
    rows = [grade_row("a5", "p1", "do-1", 4.0), grade_row("a1", "p2", "lift", 1.0)]
    cells = make_cells(season(rows), 0.5)
    traits = {(a, p): tuple(t) for (a, p, _), t in zip(cells.keys, cells.traits.tolist(), strict=True)}
    assert traits == {
        ("a1", "p1"): (0, 0, 0),  # the better of two clearances counts
        ("a2", "p1"): (1, 0, 0),
        ("a3", "p1"): (1, 0, 1),  # a candidate is new, cleared or not
        ("a4", "p2"): (0, 1, 0),
        ("a5", "p1"): (1, 0, 1),  # graded without a clearance
        ("a1", "p2"): (1, 0, 0),
        ("", ""): (0, 0, 0),
    }
    assert cells.newcomer.tolist() == [traits[a, p][0] == 1 for a, p, _ in cells.keys]


def test_a_split_early_anywhere_is_on_the_plain_scale_in_units_of_its_nominal_seconds():
    cells = make_cells(season(), 0.5)
    facts = {pool: (bool(cells.log[i]), cells.unit[i], cells.nominal[i]) for i, pool in enumerate(cells.pools)}
    assert facts == {
        ("p1", "reach"): (False, 1.0, 0.2),  # unit: the mean of 0.2 and 1.8 s
        ("p1", "do"): (True, 1.0, pytest.approx(np.log(4.0))),  # of 4, 6 and 2 s
        ("p2", "reach"): (False, 1.0, 1.8),
        ("p2", "lift"): (True, 1.0, pytest.approx(np.log(0.05))),  # 0 s has no logarithm
        ("p2", "wait"): (False, 0.8, -1.0),
        ("p2", "hop"): (False, 0.5, 0.2),  # no unit below half a second
        ("", "brake"): (True, 1.0, pytest.approx(np.log(1.5))),
        ("", "go"): (True, 1.0, 0.0),
    }
    assert [pool for pool, load in zip(cells.pools, cells.load, strict=True) if load] == [("p1", "do")]


def test_seconds_and_their_scale_are_each_other_turned_round():
    cells = make_cells(season(), 0.5)
    at = np.array([cells.index[key] for key in [("a1", "p1", "do"), ("a1", "p1", "do"), ("a4", "p2", "wait")]])
    x = cells.scaled(np.array([np.e, 0.0, -0.4]), at)
    np.testing.assert_allclose(x, [1.0, np.nan, -0.5])
    np.testing.assert_allclose(cells.seconds(np.array([1.0, 0.0, -0.5]), at), [np.e, 1.0, -0.4])
    np.testing.assert_array_equal(cells.scaled(np.array([-1.0, 0.5, 0.0]), at), [np.nan, np.log(0.5), 0.0])


def test_rows_carry_day_setting_tire_task_and_number():
    day = date(2026, 4, 1)
    rows = [
        grade_row("a1", "p1", "do-2", 5.0, on=day, setting="race", tire="slick"),
        grade_row("a1", "p1", "do-1", 9.0, on=day, spoilers=("off-marks", "late")),
        grade_row("a1", "p1", "do-1", 2.1, on=day - timedelta(days=30), service="two", setting="tryout"),
        grade_row("a1", "p1", "jump", 2.1, on=day),  # no such task
        grade_row("a1", "p1", "do-1", 2.1, on=day, service="three"),  # no such service
        grade_row("gone", "p1", "do-1", 2.1, on=day),
        grade_row("", "", "brake", float("nan"), on=day + timedelta(days=9)),
        grade_row("a1", "p1", "reach-1", 0.3, on=day),  # the first task of all
    ]
    cells = make_cells(season(rows), 0.5)
    found, left_out = make_rows(season(rows), cells, day, 30.0)
    assert [cells.keys[i] for i in found.cell] == [
        ("a1", "p1", "do"),
        ("a1", "p1", "do"),
        ("", "", "brake"),
        ("a1", "p1", "reach"),
    ]
    np.testing.assert_array_equal(found.seconds, [5.0, 2.1, np.nan, 0.3])
    np.testing.assert_allclose(found.weight, [1.0, 0.5, 1.0, 1.0])  # one half-life; a later grade counts as fresh
    assert found.day.tolist() == [day, day - timedelta(days=30), day + timedelta(days=9), day]
    assert found.setting.tolist() == [0, 2, 1, 1]
    assert found.tires == ("plain", "slick")  # whichever the file names first
    assert [found.tires[i] for i in found.tire] == ["slick", "plain", "plain", "plain"]
    assert found.number.tolist() == [2, 4, 8, 9]
    assert [found.tasks[i] for i in found.task] == [FOUR[2], TWO[0], FOUR[7], FOUR[0]]
    assert found.misses == ("slip", "drop")
    assert (left_out.spoiled, left_out.no_time) == (1, 1)


def test_an_ancient_grade_is_not_nothing():
    rows = [grade_row("a1", "p1", "do-1", 4.0, on=date(1990, 1, 1))]
    found, _ = make_rows(season(rows), make_cells(season(rows), 0.5), date(2026, 4, 1), 30.0)
    assert found.weight.tolist() == [1e-6]


def test_every_slip_counts_and_its_loss_adds_up():
    rows = [
        grade_row("a1", "p1", "do-1", 4.0),
        grade_row("a1", "p1", "do-1", 9.0, misses=("slip",), spoilers=("off-marks",)),
        grade_row("a1", "p1", "do-1", 6.0, misses=("drop", "slip", "unheard-of", "slip")),
        grade_row("a1", "p1", "do-2", 6.0, misses=("slip",)),
    ]
    found, _ = make_rows(season(rows), make_cells(season(rows), 0.5), FIRST_SUNDAY, 90.0)
    assert sorted(zip(found.slip_row.tolist(), found.slip_miss.tolist(), strict=True)) == [
        (1, 0),
        (1, 0),
        (1, 1),
        (2, 0),
    ]
    np.testing.assert_allclose(found.loss(np.array([0.5, 1.0])), [0.0, 2.0, 0.5])


def test_after_a_slip_is_later_in_the_same_stop_by_the_same_athlete():
    def row(task, stop, *misses, who="a1", position="p1"):
        return grade_row(who, position, task, 4.0, stop=stop, misses=misses)

    rows = [
        row("do-2", "s1"),  # later in the choreography, though earlier in the file
        row("do-1", "s1", "slip"),
        row("reach-1", "s1"),
        row("do-1", "s2"),
        row("do-2", "s2", "slip"),
        row("do-2", "s1", who="a2"),
        row("do-1", "", "slip"),
        row("do-2", ""),  # no stop named: nobody knows
        row("brake", "s3", "slip", who="", position=""),
        row("go", "s3", who="", position=""),  # car and driver have no pace
    ]
    found, _ = make_rows(season(rows), make_cells(season(rows), 0.5), FIRST_SUNDAY, 90.0)
    assert found.number[found.after].tolist() == [2]


def test_the_day_is_that_of_the_first_report_on_its_own_clock_else_of_the_last_grade():
    late = make_race(0, report=datetime.min.time(), start=datetime.min.time())
    midnight = replace(late, report=utc(datetime(2026, 4, 4, 23, 30)))  # 03:30 of the next day in UTC
    second = make_race(1, site="track-1")
    grades = [grade_row("a1", "p1", "do-1", 4.0, on=day) for day in (date(2026, 2, 3), date(2026, 2, 1))]
    assert default_day(season(grades, races={"r1": midnight, "r2": second})) == date(2026, 4, 4)
    assert default_day(season(grades, races={})) == date(2026, 2, 3)
    assert default_day(season((), races={})) == date(1970, 1, 1)
