"""The audit alone: every check kept and broken, with its figure, on cases worked by hand."""

from __future__ import annotations

import ast
import random
import re
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import lineup.audit
from lineup.audit import Audit, Check, audit
from lineup.audit.money import blended_s, stop_seconds
from lineup.audit.sitting import may_sit
from lineup.errors import PlanFileError
from lineup.lawful import broken_rules
from lineup.plan import Assignment, Cover, Move, Plan, Reserve
from lineup.price import Pricer
from lineup.season import Absence, Choreography, Clearance, Pin, Position, Season, Seat, Task, Weights, WorkedDuty
from lineup.settings import Settings
from lineup.skills import estimate_skills
from lineup.stop_model.stops import StopModel, blend, sample_stops
from tests.builders import grade_row, grade_table, make_grades, tiny_season
from tests.fixed_stops import SECONDS, fixed_model, fixed_season
from tests.test_audit_agrees import random_season
from tests.timetables import ANN, limits_of, timetable


def lineup_of(text: str, reserves: str = "", **more: Any) -> Plan:
    """A plan from lines "race car: athlete of p1, athlete of p2"; reserves as "race athlete" pairs."""
    found = []
    for line in filter(None, (line.strip() for line in text.splitlines())):
        entry, crew = line.split(":")
        for i, name in enumerate(crew.split(",")):
            if name.strip() != "-":
                found.append(Assignment(*entry.split(), f"p{i + 1}", name.strip()))
    words = reserves.split()
    pairs = tuple(Reserve(race, athlete) for race, athlete in zip(words[::2], words[1::2], strict=True))
    return Plan("best_so_far", tuple(found), pairs, **more)


def works(season: Season, *races: str, reserve: tuple[str, ...] = ()) -> Audit:
    """Audit of a plan in which a1 works these races of a timetable (all unless given) and a2 the others."""
    mine = races or tuple(race for race in season.races if race not in reserve)
    seats = tuple(Assignment(race, "c1", "p1", ANN if race in mine else "a2") for race in season.races)
    return audit(season, Plan("best_so_far", seats, tuple(Reserve(race, ANN) for race in reserve)), season.weekends)


def said(check: Check) -> tuple[bool, float | None, float | None]:
    return check.kept, None if check.figure is None else round(check.figure, 6), check.limit


def told(check: Check) -> list[tuple[str | None, str]]:
    """Race and words of everything beyond a limit."""
    assert all(measure.kept is False for measure in check.broken)
    return [(measure.race, measure.text) for measure in check.broken]


WHOLE = "r1 c1: a1, a2\nr1 c2: a3, a4\nr2 c1: a1, a2\nr2 c2: a3, a4"


# ------------------------------------------------------------------------------------------------- independence


def test_the_audit_imports_no_rule_no_price_and_no_optimiser() -> None:
    allowed = ("audit", "errors", "limits", "plan", "season", "skills", "stop_model.stops", "travel")
    prefixes = tuple(f"lineup.{name}." for name in allowed)
    for file in Path(lineup.audit.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            names = [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            names += [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            assert all(f"{name}.".startswith(prefixes) for name in names if name.startswith("lineup")), file


# --------------------------------------------------------------------------------------------------------- time


def test_rest_shows_the_shortest_next_to_the_limit() -> None:
    # Directive 2003/88/EC art. 3: 11 h. Nights of 14 h and 11.5 h.
    spells = [
        ("north", "2026-05-01 08:00", "2026-05-01 18:00"),
        ("north", "2026-05-02 08:00", "2026-05-02 20:30"),
        ("north", "2026-05-03 08:00", "2026-05-03 18:00"),
    ]
    season = timetable(spells, preset="2003/88/EC")
    check = works(season).check("rest_hours")
    assert said(check) == (True, 11.5, 11.0)
    assert check.text == "11.5 h of 11 h needed: Athlete 1 (a1), between Race 2 (r2) and Race 3 (r3)"
    assert (check.source, check.unit) == ("Directive 2003/88/EC art. 3", "h")
    assert works(season).passed
    tight = timetable([*spells[:2], ("north", "2026-05-03 07:00", "2026-05-03 18:00")], preset="2003/88/EC")
    found = works(tight)
    assert said(found.check("rest_hours")) == (False, 10.5, 11.0)
    assert not found.passed
    assert [(m.athlete, m.race) for m in found.check("rest_hours").broken] == [(ANN, "r3")]
    assert works(tight, "r2").check("rest_hours").kept  # nothing before or after


@pytest.mark.parametrize(
    ("day", "next_day", "rest"), [("2026-03-07", "2026-03-08", 9.0), ("2026-06-06", "2026-06-07", 10.0)]
)
def test_elapsed_hours_across_the_clock_change(day: str, next_day: str, rest: float) -> None:
    # IANA time zone database: in New York 2026-03-08 has no hour from 02:00 to 03:00
    spells = [("north", f"{day} 12:00", f"{day} 22:00"), ("north", f"{next_day} 08:00", f"{next_day} 18:00")]
    assert said(works(timetable(spells, rest_hours=11)).check("rest_hours")) == (False, rest, 11.0)


NIGHT = ("2026-05-01 10:00", "2026-05-01 23:00")


def test_rest_around_the_block_and_none_at_all() -> None:
    short = ("north", "2026-05-02 01:00", "2026-05-02 02:00")
    night, noon = ("north", *NIGHT), ("north", "2026-05-02 11:00", "2026-05-02 18:00")
    later = ("north", "2026-05-09 09:00", "2026-05-09 18:00")
    assert works(timetable([later], past=[night, short], rest_hours=11)).check("rest_hours").kept  # over before it
    soon = works(timetable([noon], past=[short, night], rest_hours={"at_least": 11, "price_s": 0.5}))
    check = soon.check("rest_hours")
    assert told(check) == [("r1", "2.0 h of 11 h needed: Athlete 1 (a1), between h2 and h1")]  # h1 and r1 are one day
    assert (check.cost_s, check.priced, soon.passed) == (4.5, True, True)
    before = timetable([("north", "2026-04-30 20:00", "2026-05-01 01:00")], past=[night], rest_hours=11)
    assert told(works(before).check("rest_hours")) == [
        ("r1", "9.0 h of 11 h needed: Athlete 1 (a1), between Race 1 (r1) and h1")
    ]
    apart = [("north", "2026-05-02 08:00", "2026-05-02 18:00"), ("south", "2026-05-03 08:00", "2026-05-03 18:00")]
    way = timetable(apart, hours={("north", "south"): 3.5}, rest_hours=11)  # no rest on the way, 14 h lie between
    assert said(works(way).check("rest_hours")) == (False, 10.5, 11.0)
    overlap = [("north", "2026-05-02 08:00", "2026-05-02 18:00"), ("south", "2026-05-02 17:00", "2026-05-02 22:00")]
    assert said(works(timetable(overlap, rest_hours=0.5)).check("rest_hours")) == (False, 0.0, 0.5)


def test_the_past_is_that_of_the_athlete_and_of_races_not_planned_now() -> None:
    season = timetable([("north", "2026-05-02 08:00", "2026-05-02 18:00")], past=[("north", *NIGHT)], rest_hours=11)
    (own,) = season.worked
    assert said(works(season).check("rest_hours")) == (False, 9.0, 11.0)
    assert works(season.replace(worked=(replace(own, athlete="a2"),))).check("rest_hours").kept
    again = timetable([("north", *NIGHT), ("north", "2026-05-02 08:00", "2026-05-02 18:00")], rest_hours=11)
    assert works(again.replace(worked=(replace(own, race="r1"),)), "r2").check("rest_hours").kept


def test_a_day_that_began_before_the_block_is_judged_with_it() -> None:
    first, last = (("north", *NIGHT), ("north", "2026-05-01 13:00", "2026-05-02 00:00"))
    words = "14.0 h of 12 h allowed: Athlete 1 (a1), Race 1 (r1)"
    for block, past in ((first, last), (last, first)):
        check = works(timetable([block], past=[past], duty_hours={"at_most": 12, "price_s": 2.0})).check("duty_hours")
        assert told(check) == [("r1", words)]
        assert (check.cost_s, check.unit, check.source) == (4.0, "h", "limits.toml")
    over = timetable([("north", "2026-05-09 09:00", "2026-05-09 18:00")], past=[first], duty_hours=12)
    assert said(works(over).check("duty_hours")) == (True, 9.0, 12.0)


def test_a_journey_alone_touches_a_week() -> None:
    # ISO 8601: weeks 18 and 19 of 2026 meet on Monday 4 May; home half an hour into it, or on the way before it
    spells = [("north", "2026-05-03 12:00", "2026-05-03 23:30"), ("north", "2026-05-04 00:30", "2026-05-04 10:00")]
    season = timetable(spells, weekly_rest_hours={"at_least": 168, "price_s": 2.0})
    words = "{} h of 168 h needed: Athlete 1 (a1), week {} of 2026"
    for race, hours in (("r1", ("155.0", "167.5")), ("r2", ("167.5", "157.0"))):
        check = audit(season, Plan("best_so_far", (Assignment(race, "c1", "p1", ANN),)), season.weekends)
        assert told(check.check("weekly_rest_hours")) == [
            (race, words.format(rest, week)) for rest, week in zip(hours, (18, 19), strict=True)
        ]
        assert check.check("weekly_rest_hours").cost_s == 2.0 * (2 * 168 - sum(map(float, hours)))


def test_a_duty_touches_the_week_it_is_in_and_not_the_one_before() -> None:
    spells = [("shop", "2026-04-29 08:00", "2026-04-29 18:00"), ("shop", "2026-05-04 00:00", "2026-05-04 10:00")]
    check = works(timetable(spells, weekly_rest_hours=169), "r2").check("weekly_rest_hours")  # no week has 169 h
    assert [m.text for m in check.measures if m.athlete == ANN] == [
        "158.0 h of 169 h needed: Athlete 1 (a1), week 19 of 2026"
    ]


def test_a_rest_of_one_week_ends_with_it() -> None:
    # Wednesdays from 08:00 to 18:00, at home: from 18:00 to Sunday midnight are 102 h of either week
    spells = [("shop", f"2026-05-{day:02} 08:00", f"2026-05-{day:02} 18:00") for day in (6, 13)]
    check = works(timetable(spells, weekly_rest_hours=168)).check("weekly_rest_hours")
    assert [(m.race, m.figure) for m in check.measures] == [("r1", 102.0), ("r2", 102.0)]


def test_a_window_of_days_is_touched_by_the_duty_alone() -> None:
    spells = [("north", "2026-05-02 12:00", "2026-05-02 23:30")]  # home half an hour into the 3rd
    check = works(timetable(spells, rolling_rest_hours={"at_least": 24, "days": 1})).check("rolling_rest_hours")
    assert told(check) == [("r1", "11.0 h of 24 h needed: Athlete 1 (a1), 1 days from 2026-05-02")]


def test_what_is_measured_of_an_athlete_names_him() -> None:
    hours: dict[str, Any] = {"rest_hours": 11, "duty_hours": 12, "weekly_rest_hours": 35}
    counts: dict[str, Any] = {"races_per_weekend": 1, "weekends_in_a_row": 3}
    windows = ("races_in_days", "nights_away_in_days", "travel_hours_in_days")
    days: dict[str, Any] = {name: {"at_most": 9, "days": 7} for name in windows}
    days["rolling_rest_hours"] = {"at_least": 35, "days": 7}
    found = works(timetable(sundays(20, 21), drives=True, preset="49 CFR 395.3", **hours, **counts, **days))
    for rule in (*hours, *counts, *days, "driving_hours"):
        assert {(m.athlete, m.race) for m in found.check(rule).measures} <= {(ANN, "r1"), (ANN, "r2")}
        assert found.check(rule).measures


def test_each_weekend_beyond_costs() -> None:
    season = timetable(sundays(20, 21, 22), weekends_in_a_row={"at_most": 1, "price_s": 4.0})
    check = works(season).check("weekends_in_a_row")
    assert [(m.race, m.figure, m.cost_s) for m in check.measures] == [("r1", 1, None), ("r2", 2, 4.0), ("r3", 3, 4.0)]
    assert check.cost_s == 8.0


def test_rest_begins_when_the_last_of_duties_that_overlap_ends() -> None:
    # Monday 08:00 to 22:00, and 09:00 to 10:00 at a site from which home is reached at 11:00: free from 22:00 on
    spells = [("north", "2026-05-04 08:00", "2026-05-04 22:00"), ("south", "2026-05-04 09:00", "2026-05-04 10:00")]
    found = works(timetable(spells, weekly_rest_hours=168))
    assert said(found.check("weekly_rest_hours")) == (False, 146.0, 168.0)


def test_days_of_rolling_rest_are_those_of_home() -> None:
    # IANA time zone database: in May 2026 Auckland is 19 h ahead of Los Angeles. Saturday 12:00 to Sunday 06:00 there
    # is Sunday 07:00 to Monday 01:00 at home; Saturday 06:00 to 12:00 in Auckland is Friday 11:00 to 17:00 at home.
    zones = {"shop": "Pacific/Auckland", "west": "America/Los_Angeles"}
    limits: dict[str, Any] = {"hours": {("shop", "west"): 0.0}, "rolling_rest_hours": {"at_least": 24, "days": 1}}
    east = timetable([("west", "2026-05-02 12:00", "2026-05-03 06:00")], zones=zones, **limits)
    words = "{1} h of 24 h needed: Athlete 1 (a1), 1 days from 2026-05-{0}"
    assert told(works(east).check("rolling_rest_hours")) == [
        ("r1", words.format("03", "7.0")),
        ("r1", words.format("04", "23.0")),
    ]
    zones = {"shop": "America/Los_Angeles", "west": "Pacific/Auckland"}
    back = timetable([("west", "2026-05-02 06:00", "2026-05-02 12:00")], zones=zones, **limits)
    assert told(works(back).check("rolling_rest_hours")) == [("r1", words.format("01", "11.0"))]


def test_a_duty_touches_the_days_it_is_on_and_no_other() -> None:
    whole = [("shop", "2026-05-02 00:00", "2026-05-03 00:00")]
    words = "{} h of 25 h needed: Athlete 1 (a1), {} days from 2026-05-0{}"
    one = works(timetable(whole, rolling_rest_hours={"at_least": 25, "days": 1})).check("rolling_rest_hours")
    assert told(one) == [("r1", words.format("0.0", 1, 2))]  # even a free day would be told
    limit = {"at_least": 25, "days": 2, "price_s": 0.5}
    two = works(timetable(whole, rolling_rest_hours=limit)).check("rolling_rest_hours")
    assert told(two) == [("r1", words.format("24.0", 2, 1)), ("r1", words.format("24.0", 2, 2))]
    assert two.cost_s == 1.0
    past = timetable([("shop", "2026-05-12 08:00", "2026-05-12 18:00")], past=whole, rolling_rest_hours=limit)
    assert {m.text[-5:] for m in works(past).check("rolling_rest_hours").measures} == {"05-11", "05-12"}


def test_weekly_rest_by_hand() -> None:
    # Art. 5, 24 h + 11 h: five days released at 19:00, then Friday 20:00 (home) to Monday 00:00 is 52 h; with a sixth
    # day it is Saturday 20:00 to Monday 00:00, 28 h.
    days = [("north", f"2026-05-0{d} 09:00", f"2026-05-0{d} 19:00") for d in range(4, 10)]
    far = {"preset": "2003/88/EC", "journeys": {"home_rest_h": 48}}
    assert said(works(timetable(days[:5], **far)).check("weekly_rest_hours")) == (True, 52.0, 35.0)
    check = works(timetable(days, **far)).check("weekly_rest_hours")
    assert said(check) == (False, 28.0, 35.0)
    assert check.text == "28.0 h of 35 h needed: Athlete 1 (a1), week 19 of 2026"


def test_rolling_rest_names_its_days() -> None:
    days = [("north", f"2026-05-0{d} 09:00", f"2026-05-0{d} 19:00") for d in range(4, 9)]
    check = works(timetable(days, rolling_rest_hours={"at_least": 35, "days": 5})).check("rolling_rest_hours")
    assert not check.kept
    assert "of 35 h needed: Athlete 1 (a1), 5 days from 2026-05-04" in {m.text[7:] for m in check.broken}


def test_two_races_of_a_day_are_one_duty() -> None:
    spells = [("north", "2026-05-02 08:00", "2026-05-02 13:00"), ("north", "2026-05-02 15:00", "2026-05-02 21:00")]
    found = works(timetable(spells, rest_hours=11, duty_hours={"at_most": 12, "price_s": 2.0}))
    check = found.check("duty_hours")
    assert said(check) == (False, 13.0, 12.0)
    assert (check.priced, check.cost_s) == (True, 2.0)
    assert works(timetable(spells, duty_hours=13)).check("duty_hours").kept
    assert found.check("rest_hours").text == "nothing to measure"
    assert found.passed  # priced limits cost, they are not broken


def test_nobody_is_in_two_places() -> None:
    spells = [("north", "2026-05-02 08:00", "2026-05-02 12:00"), ("south", "2026-05-02 15:00", "2026-05-02 20:00")]
    near, far = (timetable(spells, hours={("north", "south"): h}) for h in (3.0, 3.5))
    assert works(near).check("one_seat").kept
    assert works(far).check("one_seat").text == (
        "Athlete 1 (a1) cannot be at both Race 1 (r1) and Race 2 (r2): 3.0 h between them"
    )
    assert not works(far, "r1", reserve=("r2",)).check("one_seat").kept
    past = [spells[0], ("south", "2026-05-02 11:00", "2026-05-02 18:00")]
    for spell, words in (
        (("north", "2026-05-02 19:00", "2026-05-02 23:00"), []),
        (("north", "2026-05-02 17:00", "2026-05-02 23:00"), ["h2 and Race 1 (r1): -1.0 h between them"]),
        (("north", "2026-05-02 06:00", "2026-05-02 09:00"), ["Race 1 (r1) and h1: -1.0 h between them"]),
    ):
        check = works(timetable([spell], past=past)).check("one_seat")
        assert told(check) == [("r1", f"Athlete 1 (a1) cannot be at both {both}") for both in words]
    assert works(near).check("one_seat").text == "nobody is in two places at once"
    long = [("north", "2026-05-02 08:00", "2026-05-02 22:00"), ("north", "2026-05-02 09:00", "2026-05-02 10:00")]
    inside = works(timetable([*long, ("north", "2026-05-02 20:00", "2026-05-02 21:00")])).check("one_seat")
    assert [(m.athlete, m.race, m.figure) for m in inside.broken] == [(ANN, "r2", -13.0), (ANN, "r3", -2.0)]
    both = audit(fixed_season(), lineup_of("r1 c1: a1, a1"), ("w1",))
    assert told(both.check("one_seat")) == [("r1", "Athlete 1 (a1) fills 2 seats at Race 1 (r1)")]
    assert both.check("one_seat").broken[0].athlete == "a1"


def test_driving_by_hand() -> None:
    # 49 CFR 395.3(a): a 15 h day leaves nothing to drive; 3 h at the wheel and 10 h off are 13 h, 12 h lie between
    spells = [("north", "2026-05-02 06:00", "2026-05-02 21:00"), ("south", "2026-05-03 09:00", "2026-05-03 15:00")]
    hours = {("north", "south"): 3.0, ("north", "shop"): 8.0, ("shop", "south"): 8.0}
    found = works(timetable(spells, hours=hours, drives=True, preset="49 CFR 395.3"))
    check = found.check("driving_hours")
    assert not check.kept
    assert [(m.figure, m.limit) for m in check.broken] == [(13.0, 12.0)]
    assert "nobody drives tired" in check.broken[0].text
    assert (
        not works(timetable(spells, hours=hours, drives=True, preset="49 CFR 395.3"), "r1", reserve=("r2",))
        .check("driving_hours")
        .kept
    )
    by_air = works(timetable(spells, hours=hours, mode="air", drives=True, preset="49 CFR 395.3"))
    assert by_air.check("driving_hours").text == "nothing to measure"
    eight_off = works(timetable(spells, hours=hours, drives=True, preset="49 CFR 395.5"))
    assert eight_off.check("driving_hours").kept
    assert (
        works(timetable(spells, hours=hours, preset="49 CFR 395.3")).check("driving_hours").text == "nothing to measure"
    )


# ------------------------------------------------------------------------------------------------------- counts


def sundays(*weeks: int) -> list[tuple[str, str, str]]:
    days = [date.fromisocalendar(2026, week, 7) for week in weeks]
    return [("north", f"{day} 08:00", f"{day} 18:00") for day in days]


def test_counts_show_the_highest_next_to_the_limit() -> None:
    season = timetable(
        sundays(20, 21, 22, 24),
        past=sundays(19),
        hours={("north", "shop"): 3.0},
        weekends_in_a_row=3,
        races_per_weekend=1,
        races_in_days={"at_most": 4, "days": 28},
        nights_away_in_days={"at_most": 1, "days": 28},
        travel_hours_in_days={"at_most": 20, "days": 28, "price_s": 0.5},
        starts={"at_most": 4, "at_least": 1},
    )
    found = works(season)
    assert said(found.check("weekends_in_a_row")) == (False, 4, 3.0)
    assert said(found.check("races_per_weekend")) == (True, 1, 1.0)
    assert said(found.check("races_in_days")) == (True, 4, 4.0)
    assert said(found.check("nights_away_in_days")) == (True, 0, 1.0)
    assert said(found.check("travel_hours_in_days")) == (False, 24.0, 20.0)
    assert found.check("travel_hours_in_days").cost_s == 0.5 * 4  # 24 h only in the 28 days to r3, 18 + 6 - 6 after
    assert not found.check("starts").kept  # a2 has none
    assert found.check("starts").text == "0 starts of 1 needed: Athlete 2 (a2)"


def test_none_allowed_and_one_side_of_starts_alone() -> None:
    none = works(timetable(sundays(20), races_in_days={"at_most": 0, "days": 7}, starts=0)).checks
    assert {check.rule: said(check) for check in none if check.limit is not None} == {
        "races_in_days": (False, 1, 0.0),
        "starts": (False, 1, 0.0),
    }
    priced = works(timetable(sundays(20), races_in_days={"at_most": 0, "days": 7, "price_s": 2.0}, starts=1))
    assert [priced.check(rule).priced for rule in ("races_in_days", "starts")] == [True, False]
    assert priced.passed


# 9 h each way: from Saturday 23:00 to Monday 03:00, and home in between, since a week of nights away would be dearer
FAR: dict[str, Any] = {"hours": {("north", "shop"): 9.0}, "journeys": {"night_away_h": 6.0}}


def test_counts_are_told_in_words() -> None:
    season = timetable(
        sundays(20, 21),
        **FAR,
        weekends_in_a_row={"at_most": 1, "price_s": 7.0},
        races_in_days={"at_most": 1, "days": 8},
        nights_away_in_days={"at_most": 2, "days": 9, "price_s": 0.25},
        travel_hours_in_days={"at_most": 20.5, "days": 8},
        starts={"at_most": 1, "price_s": 3.0},
    )
    found = works(season)
    words = {
        "weekends_in_a_row": ("2 weekends of 1 allowed: Athlete 1 (a1), with Race 2 (r2)", "weekends", 7.0),
        "races_in_days": ("2 races of 1 allowed: Athlete 1 (a1), 8 days to Race 2 (r2)", "races", 0.0),
        "nights_away_in_days": ("4 nights of 2 allowed: Athlete 1 (a1), 9 days to Race 2 (r2)", "nights", 0.5),
        "travel_hours_in_days": ("36 h of 20.5 allowed: Athlete 1 (a1), 8 days to Race 2 (r2)", "h", 0.0),
        "starts": ("2 starts of 1 allowed: Athlete 1 (a1), in the block", "starts", 3.0),
    }
    for rule, (text, unit, cost_s) in words.items():
        check = found.check(rule)
        assert (told(check), check.unit, check.cost_s) == ([("r2", text)], unit, cost_s)
        assert (check.source, check.priced) == ("limits.toml", cost_s > 0)


def test_a_window_of_days_ends_with_the_duty() -> None:
    # two Sundays, nights of Saturday and Sunday each
    races, nights_away, travel = "races_in_days", "nights_away_in_days", "travel_hours_in_days"

    def within(days: int) -> dict[str, list[float | None]]:
        windows: dict[str, Any] = {name: {"at_most": 99, "days": days} for name in (races, nights_away, travel)}
        found = works(timetable(sundays(20, 21), **FAR, **windows))
        return {name: [measure.figure for measure in found.check(name).measures] for name in windows}

    assert within(1) == {races: [1, 1], nights_away: [1, 1], travel: [18, 18]}
    assert within(7) == {races: [1, 1], nights_away: [2, 2], travel: [18, 18]}
    assert within(8) == {races: [1, 2], nights_away: [2, 3], travel: [18, 36]}
    assert within(9) == {races: [1, 2], nights_away: [2, 4], travel: [18, 36]}


def test_history_counts_and_is_not_judged() -> None:
    windows: dict[str, Any] = {
        "races_in_days": {"at_most": 1, "days": 9},
        "nights_away_in_days": {"at_most": 2, "days": 9},
        "travel_hours_in_days": {"at_most": 18, "days": 9},
        "weekends_in_a_row": 2,
    }
    found = works(timetable(sundays(20), past=sundays(17, 18, 19), **FAR, **windows))
    figures = {check.rule: [(m.race, m.figure) for m in check.measures] for check in found.checks}
    assert {name: figures[name] for name in windows} == {
        "races_in_days": [("r1", 2)],
        "nights_away_in_days": [("r1", 4)],
        "travel_hours_in_days": [("r1", 36)],
        "weekends_in_a_row": [("r1", 4)],
    }


def test_weeks_are_those_of_the_calendar() -> None:
    # ISO 8601: Monday to Sunday, 2026-05-10 the Sunday of week 19; 2026 has 53 weeks, then comes week 1 of 2027
    def by_week(*days: str, past: tuple[str, ...] = ()) -> Audit:
        spells, before = ([("north", f"{d} 08:00", f"{d} 18:00") for d in when] for when in (days, past))
        return works(timetable(spells, past=before, races_per_weekend=1, weekends_in_a_row=1))

    week = by_week("2026-05-04", "2026-05-10")
    assert told(week.check("races_per_weekend")) == [
        ("r2", "2 races of 1 allowed: Athlete 1 (a1), weekend of Race 2 (r2)")
    ]
    assert week.check("weekends_in_a_row").kept
    two = by_week("2026-05-10", "2026-05-11")
    assert (two.check("races_per_weekend").kept, two.check("weekends_in_a_row").kept) == (True, False)
    assert not by_week("2027-01-03", "2027-01-10").check("weekends_in_a_row").kept
    begun = by_week("2026-05-10", past=("2026-05-09", "2025-05-11"))  # 2025-05-11: week 19, too
    assert [(m.race, m.figure) for m in begun.check("races_per_weekend").measures] == [("r1", 2)]


def away(season: Season) -> tuple[float | None, float | None]:
    """Nights away and hours of travel in the four weeks to the last race."""
    limits = timetable(
        [], nights_away_in_days={"at_most": 0, "days": 28}, travel_hours_in_days={"at_most": 0, "days": 28}
    ).limits
    found = works(season.replace(limits=replace(limits, journeys=season.limits.journeys)))
    nights, travel = (found.check(f"{what}_in_days").measures[-1].figure for what in ("nights_away", "travel_hours"))
    return nights, travel


def test_nights_away_are_midnights_between_leaving_and_coming_home() -> None:
    day = ("north", "2026-05-02 08:00", "2026-05-02 18:00")
    late = ("north", "2026-05-02 16:00", "2026-05-03 00:30")
    assert away(timetable([day])) == (0, 2)  # leaves 07:00, back 19:00
    assert away(timetable([day], hours={("north", "shop"): 9.0})) == (2, 18)  # Friday 23:00 to Sunday 03:00
    assert away(timetable([late])) == (1, 2)  # home at 01:30
    next_day = ("north", "2026-05-09 08:00", "2026-05-09 18:00")
    assert away(timetable([late, next_day])) == (1, 4)
    assert away(timetable([("shop", *late[1:]), next_day])) == (0, 2)  # at home


def test_between_two_races_home_or_near_whichever_is_cheaper() -> None:
    # Saturday 18:00 to Sunday 14:00 is 20 h. Home takes 2 x 2 h and leaves 16 h; staying costs a night (3 h).
    spells = [("north", "2026-05-02 08:00", "2026-05-02 18:00"), ("north", "2026-05-03 14:00", "2026-05-03 20:00")]
    two, less = {("north", "shop"): 2.0}, {("north", "shop"): 1.5}
    assert away(timetable(spells, hours=two)) == (1, 4)  # 4 h > 3 h: stays
    assert away(timetable(spells, hours=less)) == (0, 6)  # 3 h is not more than 3 h: home
    assert away(timetable(spells, hours=two, journeys={"night_away_h": 5.0})) == (0, 8)
    assert away(timetable(spells, hours=less, journeys={"home_rest_h": 17.0})) == (0, 6)  # 17 h at home
    assert away(timetable(spells, hours=less, journeys={"home_rest_h": 17.5})) == (1, 3)
    # home at 01:00 and off at 15:00, or a night nearby: the midnight on the way counts, too (4 + 3 h against 3 h)
    late = [("north", "2026-05-02 08:00", "2026-05-02 23:00"), ("north", "2026-05-03 17:00", "2026-05-03 20:00")]
    assert away(timetable(late, hours=two)) == (1, 4)
    assert away(timetable(late, hours=two, journeys={"night_away_h": 5.0})) == (1, 4)  # 4 + 5 h against 5 h
    # home at 11:30 and off again at 23:30: 3 h and the midnight on the way back against a night nearby
    early = [("north", "2026-05-02 06:00", "2026-05-02 10:00"), ("north", "2026-05-03 01:00", "2026-05-03 06:00")]
    assert away(timetable(early, hours=less)) == (1, 3)
    hours = {("north", "shop"): 3.0, ("shop", "south"): 4.0, ("north", "south"): 1.0}
    week = [spells[0], ("south", "2026-05-09 08:00", "2026-05-09 18:00")]
    assert away(timetable(week, hours=hours)) == (0, 3 + 3 + 4 + 4)
    morrow = [spells[0], ("south", "2026-05-03 08:00", "2026-05-03 18:00")]
    assert away(timetable(morrow, hours=hours)) == (1, 3 + 1 + 4)
    through = [spells[0], ("shop", "2026-05-02 22:00", "2026-05-02 23:00"), morrow[1]]  # at home there is no near
    assert away(timetable(through, hours=hours)) == (0, 3 + 3 + 4 + 4)


def test_nights_of_reserves_count_and_their_weekends_when_told() -> None:
    limits: dict[str, Any] = {"weekends_in_a_row": 1, "nights_away_in_days": {"at_most": 1, "days": 28}}
    hours = {("north", "shop"): 8.0}
    limits["travel_hours_in_days"] = {"at_most": 20, "days": 28}
    found = works(timetable(sundays(20, 21), hours=hours, **limits), "r1", reserve=("r2",))
    assert said(found.check("nights_away_in_days")) == (False, 2, 1.0)  # home at 02:00, twice
    assert said(found.check("travel_hours_in_days")) == (False, 4 * 8, 20.0)
    assert found.check("weekends_in_a_row").kept
    races: dict[str, Any] = {"races_in_days": {"at_most": 1, "days": 28}, "races_per_weekend": 0, "starts": 1}
    trip = works(timetable(sundays(20, 21), reserves_count=True, **races), "r1", reserve=("r2",))
    assert {m.figure for rule in races for m in trip.check(rule).measures if m.athlete == ANN} == {1}  # it is no race
    assert [m.race for m in trip.check("races_per_weekend").measures if m.athlete == ANN] == ["r1"]
    counted = works(timetable(sundays(20, 21), hours=hours, reserves_count=True, **limits), "r1", reserve=("r2",))
    assert not counted.check("weekends_in_a_row").kept


def test_starts_are_asked_of_those_who_may_start() -> None:
    season = timetable(sundays(20, 21), starts={"at_least": 2, "price_s": 3.0})
    check = works(season, "r1").check("starts")
    assert told(check) == [("r1", "1 start of 2 needed: Athlete 1 (a1)"), ("r2", "1 start of 2 needed: Athlete 2 (a2)")]
    assert (check.cost_s, check.limit) == (6.0, 2.0)
    fewer = season.replace(clearances=tuple(c for c in season.clearances if c.athlete != "a2"))
    assert [m.athlete for m in works(fewer, "r1").check("starts").measures] == [ANN]


def test_a_finding_about_the_block_is_shown_at_its_last_race() -> None:
    season = timetable(sundays(*range(20, 30)), starts=9)
    assert told(works(season).check("starts")) == [("r10", "10 starts of 9 allowed: Athlete 1 (a1), in the block")]


def test_travel_places_are_told_and_priced() -> None:
    season = timetable(sundays(20, 21), travel_places={"at_most": 0, "price_s": 2.0})
    check = works(season, "r1").check("travel_places")
    assert told(check) == [
        ("r1", "1 person of 0 travel places: Race 1 (r1)"),
        ("r2", "1 person of 0 travel places: Race 2 (r2)"),
    ]
    assert (check.cost_s, check.priced, check.unit, check.source) == (4.0, True, "places", "races.csv and limits.toml")
    own = season.replace(
        races=season.races | {"r1": replace(season.races["r1"], travel_places=0)}, limits=type(season.limits)()
    )
    bare = works(own).check("travel_places")
    assert (bare.kept, bare.priced, bare.source, len(bare.measures)) == (False, False, "races.csv", 1)
    later = own.replace(races=season.races | {"r2": replace(season.races["r2"], travel_places=0)})
    assert told(works(later).check("travel_places")) == [("r2", "1 person of 0 travel places: Race 2 (r2)")]
    with pytest.raises(KeyError):  # nothing binds
        works(season.replace(limits=type(season.limits)())).check("travel_places")
    priced = own.replace(limits=limits_of(travel_places={"price_s": 2.0}))  # a price for the places of races.csv
    assert works(priced).check("travel_places").cost_s == 2.0


def test_travel_places_count_starters_and_reserves() -> None:
    season = fixed_season(limits=limits_of(travel_places=4))
    assert said(audit(season, lineup_of(WHOLE)).check("travel_places")) == (True, 4, 4.0)
    four = replace(season.races["r1"], travel_places=3)
    own = season.replace(races=season.races | {"r1": four})
    check = audit(own, lineup_of(WHOLE)).check("travel_places")
    assert check.text == "4 people of 3 travel places: Race 1 (r1)"
    reserve = audit(season, lineup_of("r1 c1: a1, a2\nr1 c2: a3, -", "r1 a4 r2 a4"), ("w1", "w2")).check(
        "travel_places"
    )
    assert said(reserve) == (True, 4, 4.0)


# -------------------------------------------------------------------------------------------------------- seats


def test_empty_and_doubly_filled_seats() -> None:
    check = audit(fixed_season(), lineup_of("r1 c1: a1, -\nr1 c2: a3, a4"), ("w1",)).check("filled")
    assert told(check) == [("r1", "nobody is P2 (p2) on car Car 1 (c1) at Race 1 (r1)")]
    assert [(m.athlete, m.car, m.position) for m in check.broken] == [(None, "c1", "p2")]
    twice = Plan("best_so_far", (Assignment("r1", "c1", "p1", "a1"), Assignment("r1", "c1", "p1", "a2")))
    measure = audit(fixed_season(), twice, ("w1",)).check("filled").broken[0]
    assert measure.text == "P1 (p1) on car Car 1 (c1) at Race 1 (r1) is filled twice"
    assert (measure.kept, measure.athlete) == (False, "a2")
    assert (measure.race, measure.car, measure.position) == ("r1", "c1", "p1")
    optional = {"p1": Position("p1", "P1"), "p2": Position("p2", "P2", filled="if_possible")}
    season = fixed_season(positions=optional)
    check = audit(season, lineup_of("r1 c1: a1, a2\nr1 c2: a3, -"), ("w1",)).check("filled")
    assert (check.kept, check.text) == (True, "all 2 seats that must be filled are")  # of four
    all_four = audit(fixed_season(), lineup_of(CREWS), ("w1",)).check("filled")
    assert all_four.text == "all 4 seats that must be filled are"


def test_one_and_none_are_told_in_the_singular_and_as_none() -> None:
    found = audit(fixed_season(limits=limits_of(weekends_in_a_row=3)), lineup_of("r1 c1: a1, -"), ("w1",))
    assert found.check("clearance").text == "the 1 start is cleared"
    assert found.check("pin").text == "there are no pins"
    assert (found.check("pin").unit, found.check("pin").source) == ("", "")  # no number, and nobody gave one
    assert found.check("weekends_in_a_row").text.startswith("1 weekend of 3 allowed: Athlete 1 (a1)")


@pytest.mark.parametrize(
    ("row", "kept"),
    [
        (Clearance("a1", "p1", "cleared"), True),
        (Clearance("a1", "p1", "cleared", series="truck"), False),
        (Clearance("a1", "p1", "cleared", since=date(2026, 4, 5)), True),
        (Clearance("a1", "p1", "cleared", since=date(2026, 4, 6)), False),
        (Clearance("a1", "p1", "training"), False),
        (Clearance("a1", "p2", "cleared"), False),
    ],
)
def test_clearance(row: Clearance, kept: bool) -> None:
    season = fixed_season()
    others = tuple(c for c in season.clearances if (c.athlete, c.position) != ("a1", "p1"))
    check = audit(season.replace(clearances=(*others, row)), lineup_of("r1 c1: a1, a2"), ("w1",)).check("clearance")
    assert check.kept is kept
    why = "is in training and no must pin names the position" if row.level == "training" else "is not cleared"
    words = f"Athlete 1 (a1) {why}: P1 (p1) on car Car 1 (c1) at Race 1 (r1)"
    assert check.text == ("all 2 starts are cleared" if kept else words)
    assert [(m.athlete, m.race, m.car, m.position) for m in check.broken] == [("a1", "r1", "c1", "p1")] * (not kept)


def test_the_best_of_several_clearances_counts() -> None:
    season = fixed_season()
    others = tuple(c for c in season.clearances if (c.athlete, c.position) != ("a1", "p1"))
    rows = [Clearance("a1", "p1", level) for level in ("training", "cleared", "training")]  # type: ignore[arg-type]
    for some in (rows[:2], rows[1:]):
        check = audit(season.replace(clearances=(*others, *some)), lineup_of("r1 c1: a1, a2"), ("w1",))
        assert check.check("clearance").kept
    truck = Clearance("a1", "p1", "cleared", series="truck")
    both = audit(season.replace(clearances=(*others, truck, rows[1])), lineup_of("r1 c1: a1, a2"), ("w1",))
    assert both.check("clearance").kept


def test_who_is_cleared_after_a_duty_began_is_not_cleared_for_it() -> None:
    season = timetable([("north", "2026-05-02 20:00", "2026-05-03 02:00")])
    for day, kept in ((2, True), (3, False)):
        rows = tuple(replace(row, since=date(2026, 5, day)) for row in season.clearances)
        assert works(season.replace(clearances=rows)).check("clearance").kept is kept


def test_training_starts_under_a_must_pin() -> None:
    season = fixed_season()
    others = tuple(c for c in season.clearances if (c.athlete, c.position) != ("a1", "p1"))
    season = season.replace(clearances=(*others, Clearance("a1", "p1", "training")))
    pinned = season.with_pin(Pin("must", "a1", "first start", race="r1", car="c1", position="p1"))
    plan = lineup_of("r1 c1: a1, a2\nr1 c2: a3, a4")
    assert "is in training" in audit(season, plan).check("clearance").text
    assert audit(pinned, plan).passed
    assert not audit(season.with_pin(Pin("must", "a1", "loose", race="r1", car="c1")), plan).passed


def test_height_hard_and_priced() -> None:
    positions = {"p1": Position("p1", "P1", min_height_m=1.85), "p2": Position("p2", "P2")}
    season = fixed_season(positions=positions)
    plan = lineup_of("r1 c1: a1, a2\nr1 c2: a3, a4")
    check = audit(season, plan).check("height")
    assert said(check) == (False, 1.8, 1.85)
    assert check.text.startswith("180.0 cm of 185.0 cm needed: Athlete 1 (a1), P1 (p1) on car Car 1 (c1)")
    priced = audit(season.replace(limits=limits_of(height={"price_s": 0.5})), plan)
    assert (priced.check("height").cost_s, priced.passed) == (1.0, True)
    assert [(m.athlete, m.race, m.car, m.position, m.cost_s) for m in priced.check("height").measures] == [
        ("a1", "r1", "c1", "p1", 0.5),
        ("a3", "r1", "c2", "p1", 0.5),
    ]  # p2 asks for no height
    small = season.replace(athletes=season.athletes | {"a3": replace(season.athletes["a3"], height_m=1.79)})
    assert said(audit(small, plan).check("height")) == (False, 1.79, 1.85)  # the smallest is shown
    assert priced.check("height").unit == "starts"
    just = season.replace(athletes={k: replace(a, height_m=1.85 - 1e-9) for k, a in season.athletes.items()})
    assert audit(just.replace(limits=limits_of(height={"price_s": 0.5})), plan).check("height").cost_s == 0.0
    assert (check.priced, audit(just, plan).check("height").kept) == (False, True)
    unknown = season.replace(athletes={k: replace(a, height_m=None) for k, a in season.athletes.items()})
    assert audit(unknown, plan).check("height").kept


def test_absences_of_starters_and_reserves() -> None:
    plan = lineup_of("r1 c1: a1, a2", "r1 a4")
    gone = fixed_season(absences=(Absence("a1", date(2026, 4, 5), date(2026, 4, 5), "out"),))
    found = audit(gone, plan).check("availability")
    words = "Athlete 1 (a1) is out, or may not work this position then: P1 (p1) on car Car 1 (c1) at Race 1 (r1)"
    assert told(found) == [("r1", words)]
    assert [(m.athlete, m.car, m.position) for m in found.broken] == [("a1", "c1", "p1")]
    for first, last in (("2026-04-01", "2026-04-04"), ("2026-04-06", "2026-04-30")):
        spell = Absence("a1", date.fromisoformat(first), date.fromisoformat(last), "out")
        check = audit(fixed_season(absences=(spell,)), plan).check("availability")
        assert (check.kept, check.text) == (True, "nobody is planned while out or restricted")
    away = fixed_season(absences=(Absence("a4", date(2026, 4, 1), None, "out"),))
    reserve = audit(away, plan).check("availability")
    assert told(reserve) == [("r1", "Athlete 4 (a4) is out and travels as a reserve to Race 1 (r1)")]
    assert [m.athlete for m in reserve.broken] == ["a4"]
    only = fixed_season(absences=(Absence("a4", date(2026, 4, 1), None, "only", ("p2",)),))
    assert audit(only, plan).check("availability").kept
    for positions, kept in ((("p1",), True), (("p2",), False)):
        spell = Absence("a1", date(2026, 4, 1), None, "only", positions)
        assert audit(fixed_season(absences=(spell,)), plan).check("availability").kept is kept


def test_an_absence_on_any_day_of_a_duty_counts() -> None:
    season = timetable([("north", "2026-05-02 20:00", "2026-05-04 02:00")])
    for day in (1, 2, 3, 4, 5):
        spell = Absence(ANN, date(2026, 5, day), date(2026, 5, day), "out")
        assert works(season.replace(absences=(spell,))).check("availability").kept is (day in (1, 5))
    evening = timetable([("north", "2026-05-02 12:00", "2026-05-02 22:00")])  # the 3rd in UTC
    spell = Absence(ANN, date(2026, 5, 3), None, "out")
    assert works(evening.replace(absences=(spell,))).check("availability").kept


@pytest.mark.parametrize(
    ("pin", "kept"),
    [
        (Pin("must", "a1", "w", car="c1"), True),
        (Pin("must", "a1", "w", position="p2"), False),
        (Pin("must", "a1", "w", race="r1", car="c2"), False),
        (Pin("never", "a1", "w", position="p2"), True),
        (Pin("never", "a1", "w", car="c1"), False),
        (Pin("pair", "a1", "w", other="a2"), True),
        (Pin("pair", "a1", "w", other="a3"), False),
        (Pin("pair", "a1", "w", other="a3", race="r2"), True),  # neither works there
        (Pin("apart", "a1", "w", other="a3"), True),
        (Pin("apart", "a1", "w", other="a2"), False),
        # a car or position that a pair or apart names says at which races it holds, not on which car or in which seat
        (Pin("pair", "a1", "w", other="a2", position="p1"), True),
        (Pin("pair", "a1", "w", other="a2", car="c2"), True),
        (Pin("pair", "a1", "w", other="a3", car="c2"), False),
        (Pin("pair", "a1", "w", other="a3", position="p1"), False),
        (Pin("pair", "a1", "w", other="a3", car="c3"), True),  # enters no race
        (Pin("pair", "a1", "w", other="a3", race="r2", car="c2"), True),
        (Pin("apart", "a1", "w", other="a2", position="p1"), False),
        (Pin("apart", "a1", "w", other="a2", car="c2"), False),
        (Pin("apart", "a1", "w", other="a2", car="c3"), True),
        (Pin("apart", "a1", "w", other="a3", position="p1"), True),
    ],
)
def test_pins(pin: Pin, kept: bool) -> None:
    season = fixed_season(pins=(pin,))
    season = season.replace(cars=season.cars | {"c3": replace(season.cars["c2"], id="c3")})
    plan, weekends = lineup_of("r1 c1: a1, a2\nr1 c2: a3, a4"), ("w1", "w2") if pin.race == "r2" else ("w1",)
    assert audit(season, plan, weekends).check("pin").kept is kept
    pricer = Pricer(season, fixed_model(season), weekends, Settings())
    broken = {breach.rule for breach in broken_rules(pricer, pricer.crews(plan.assignments))}
    assert ("pin" in broken) is not kept


def test_broken_pins_are_told_with_their_reason() -> None:
    words = {
        Pin("must", "a1", "so be it", position="p2"): "is pinned to a seat at Race 1 (r1) and works none that matches",
        Pin("never", "a1", "so be it", car="c1"): "is pinned away from P1 (p1) on car Car 1 (c1) at Race 1 (r1)",
        Pin(
            "pair", "a1", "so be it", other="a3"
        ): "and Athlete 3 (a3) are paired and not on the same car at Race 1 (r1)",
        Pin(
            "apart", "a1", "so be it", other="a2"
        ): "and Athlete 2 (a2) are pinned apart and on the same car at Race 1 (r1)",
    }
    season = fixed_season(pins=tuple(words))
    check = audit(season, lineup_of("r1 c1: a1, a2\nr1 c2: a3, a4"), ("w1",)).check("pin")
    assert told(check) == [("r1", f"Athlete 1 (a1) {text}: so be it") for text in words.values()]
    assert [(m.athlete, m.car, m.position) for m in check.broken] == [(p.athlete, p.car, p.position) for p in words]
    assert check.text.endswith("so be it (and 3 more)")
    quiet = fixed_season(pins=(Pin("never", "a1", "so be it", car="c2"), Pin("apart", "a1", "w", other="a3")))
    kept = audit(quiet, lineup_of("r1 c1: a1, a2\nr1 c2: a3, a4"), ("w1",)).check("pin")
    assert kept.text == "all 2 pins are kept"


def test_recent_grades() -> None:
    season = tiny_season(athletes=2, positions=1, limits=limits_of(recent_grades={"at_least": 5, "days": 5}))
    check = audit(season, lineup_of("r1 c1: a1")).check("recent_grades")
    assert said(check) == (False, 4, 5.0)  # graded on each of the six days before the Sunday
    assert check.text == (
        "4 of 5 graded stops needed in 5 days: Athlete 1 (a1), P1 (p1) on car Car 1 (c1) at Race 1 (r1)"
    )
    assert (check.unit, check.source, check.cost_s, check.priced) == ("stops", "limits.toml", 0.0, False)
    limit = {"at_least": 6, "days": 5, "price_s": 1.5}
    priced = audit(season.replace(limits=limits_of(recent_grades=limit)), lineup_of("r1 c1: a1"))
    assert (priced.check("recent_grades").cost_s, priced.passed) == (3.0, True)
    fewer = season.replace(limits=limits_of(recent_grades={"at_least": 4, "days": 5}))
    assert audit(fewer, lineup_of("r1 c1: a1")).check("recent_grades").kept


def test_a_graded_stop_counts_once_however_many_tasks_it_has() -> None:
    # the race is on Sunday 2026-04-05; the window of 3 days is the 3rd to the 5th
    def stop(day: int, task: str, name: str = "", who: str = "a1", where: str = "p1") -> dict[str, Any]:
        return grade_row(who, where, task, 4.0, on=date(2026, 4, day), stop=name)

    rows = [
        *(stop(5, task, "s1") for task in ("lift", "drop")),  # one stop by name
        *(stop(5, "lift", name) for name in ("s2", "s3")),
        *(stop(3, task) for task in ("lift", "lift", "drop")),  # two stops without
        stop(2, "lift"),  # before the window
        stop(6, "lift"),  # after it
        stop(4, "lift", who="a2"),
        stop(4, "lift", where="p2"),
        stop(4, "hang", who=""),
    ]
    season = tiny_season(athletes=2, positions=2, limits=limits_of(recent_grades={"at_least": 0, "days": 3}))
    night = replace(season.races["r1"], released=season.races["r1"].released + timedelta(hours=12))  # until the 6th
    season = season.replace(grades=grade_table(rows), races={"r1": night})
    check = audit(season, lineup_of("r1 c1: a1, a2")).check("recent_grades")
    measures = [(m.athlete, m.race, m.car, m.position, m.figure) for m in check.measures]
    assert measures == [("a1", "r1", "c1", "p1", 5), ("a2", "r1", "c1", "p2", 0)]
    assert (check.figure, check.text.partition(":")[0]) == (0, "0 of 0 graded stops needed in 3 days")  # the fewest
    for need in (5, 6):
        asks = season.replace(limits=limits_of(recent_grades={"at_least": need, "days": 3}))
        assert may_sit(asks, "a1", Seat("r1", "c1", "p1")) is (need == 5)


@pytest.mark.parametrize(
    ("plan", "words"),
    [
        (lineup_of("r1 c1: a9, a2"), "the plan's 'a9' as 'p1' on car 'c1' at 'r1' is not in the block"),
        (lineup_of("r2 c1: a1, a2"), "the plan's 'a1' as 'p1' on car 'c1' at 'r2' is not in the block"),
        (lineup_of("r1 c3: a1, a2"), "the plan's 'a1' as 'p1' on car 'c3' at 'r1' is not in the block"),
        (lineup_of("r1 c1: a1, a2, a3"), "the plan's 'a3' as 'p3' on car 'c1' at 'r1' is not in the block"),
        (lineup_of("r1 c1: a1, a2", "r1 a9"), "the plan's reserve 'a9' at 'r1' is not in the block"),
        (lineup_of("r1 c1: a1, a2", "r2 a4"), "the plan's reserve 'a4' at 'r2' is not in the block"),
    ],
)
def test_names_outside_the_block_are_refused(plan: Plan, words: str) -> None:
    with pytest.raises(PlanFileError, match=f"^{re.escape(words)}$"):
        audit(fixed_season(), plan, ("w1",))


def test_the_block_is_the_one_asked_for_else_the_plans_else_where_it_has_races() -> None:
    season = fixed_season()

    def empty(plan: Plan, weekends: tuple[str, ...] | None = None) -> set[str | None]:
        return {measure.race for measure in audit(season, plan, weekends).check("filled").broken}

    one = lineup_of("r2 c1: a1, -")
    assert empty(one) == {"r2"}
    assert empty(one.replace(weekends=("w1", "w2"))) == {"r1", "r2"}
    assert empty(one.replace(weekends=("w1", "w2")), ("w2",)) == {"r2"}
    assert empty(one, ("w1", "w2")) == {"r1", "r2"}
    assert empty(Plan("best_so_far", ()), ()) == set()


# -------------------------------------------------------------------------------------------------------- cover

A1, A2, A3 = Seat("r1", "c1", "p1"), Seat("r1", "c1", "p2"), Seat("r1", "c2", "p1")
CREWS = "r1 c1: a1, a2\nr1 c2: a3, a4"


def test_ways_to_cover_each_seat() -> None:
    # c1 has priority 3, c2 priority 1: both of c2 can step up, nobody steps down; a reserve covers any seat
    season = fixed_season(limits=limits_of(cover=1))
    check = audit(season, lineup_of(CREWS), ("w1",)).check("cover")
    assert said(check) == (False, 0, 1.0)
    assert {m.car for m in check.broken} == {"c2"}
    assert check.text == "0 of 1 ways needed to cover P1 (p1) on car Car 2 (c2) at Race 1 (r1) (and 1 more)"
    assert (check.unit, check.source, check.priced, check.cost_s) == ("ways", "limits.toml", False, 0.0)
    assert [(m.race, m.car, m.position, m.figure) for m in check.measures[:2]] == [
        ("r1", "c1", "p1", 2),
        ("r1", "c1", "p2", 2),
    ]
    extra = replace(season.athletes["a1"], id="a5", name="Athlete 5")
    more = season.replace(
        athletes=season.athletes | {"a5": extra}, clearances=(*season.clearances, Clearance("a5", "p1", "cleared"))
    )
    check = audit(more, lineup_of(CREWS, "r1 a5"), ("w1",)).check("cover")
    assert [(m.car, m.position) for m in check.broken] == [("c2", "p2")]  # a5 is cleared for p1 alone
    priced = audit(season.replace(limits=limits_of(cover={"at_least": 1, "price_s": 2.0})), lineup_of(CREWS), ("w1",))
    assert (priced.check("cover").cost_s, priced.passed) == (4.0, True)


@pytest.mark.parametrize(
    "changes",
    [
        {"pins": tuple(Pin("never", who, "so be it", None, None, "c1") for who in ("a3", "a4"))},
        {"pins": tuple(Pin("must", who, "so be it", None, None, "c2") for who in ("a3", "a4"))},
        {"absences": tuple(Absence(who, date(2026, 4, 1), None, "out") for who in ("a3", "a4"))},
        {"absences": tuple(Absence(who, date(2026, 4, 1), None, "only") for who in ("a3", "a4"))},  # no position
        {"limits": limits_of(cover=1, recent_grades={"at_least": 99, "days": 5})},
        {"positions": {name: Position(name, name, min_height_m=1.85) for name in ("p1", "p2")}},  # all are 1.80 m
    ],
)
def test_who_covers_must_be_allowed_in_the_seat(changes: dict[str, Any]) -> None:
    season = fixed_season(**({"limits": limits_of(cover=1)} | changes))
    check = audit(season, lineup_of(CREWS), ("w1",)).check("cover")
    assert {m.car for m in check.broken} == {"c1", "c2"}  # without these a3 and a4 can step up into c1
    prices: dict[str, Any] = {name: {"price_s": 1.0} for name in ("recent_grades", "height")}
    prices["recent_grades"] |= {"at_least": 99, "days": 5}
    dear = season.replace(limits=limits_of(cover=1, **prices))
    broken = {m.car for m in audit(dear, lineup_of(CREWS), ("w1",)).check("cover").broken}
    assert broken == ({"c2"} if changes.keys() & {"limits", "positions"} else {"c1", "c2"})  # a price keeps nobody out


@pytest.mark.parametrize(
    "changes",
    [
        {"pins": tuple(Pin("never", who, "so be it", race="r2") for who in ("a3", "a4"))},
        {"pins": tuple(Pin("must", who, "so be it", race="r2", car="c2") for who in ("a3", "a4"))},
        {"pins": (Pin("never", "a1", "so be it", position="p2"),)},  # of somebody else
        {"limits": limits_of(cover=1, recent_grades={"at_least": 2, "days": 5})},  # each has two
    ],
)
def test_what_speaks_of_another_seat_or_is_met_keeps_nobody_from_covering(changes: dict[str, Any]) -> None:
    season = fixed_season(**({"limits": limits_of(cover=1)} | changes))
    assert {m.car for m in audit(season, lineup_of(CREWS), ("w1",)).check("cover").broken} == {"c2"}


@pytest.mark.parametrize("place", ["support", "over_the_wall"])
def test_support_covers_its_own_car_and_those_as_important(place: Any) -> None:
    positions = {"p1": Position("p1", "P1"), "p2": Position("p2", "P2", place, "if_possible")}
    season = fixed_season(positions=positions, limits=limits_of(cover=1))
    equal = season.replace(cars={name: replace(car, priority=1.0) for name, car in season.cars.items()})
    ways = {}
    for name, some in (("apart", season), ("equal", equal)):
        measures = audit(some, lineup_of(CREWS), ("w1",)).check("cover").measures
        ways[name] = {m.car: m.figure for m in measures}
        assert {m.position for m in measures} == {"p1"}  # p2 need not be filled
    # in support are a2 on c1 and a4 on c2, each for the own car too; a3 and a4 are on the lesser car
    assert ways == (
        {"apart": {"c1": 3, "c2": 1}, "equal": {"c1": 2, "c2": 2}}
        if place == "support"
        else {"apart": {"c1": 2, "c2": 0}, "equal": {"c1": 0, "c2": 0}}
    )


LEFT_OPEN = "P1 (p1) on car Car 2 (c2) at Race 1 (r1) is left open and not named"


@pytest.mark.parametrize(
    ("cover", "faults"),
    [
        (Cover(A1, (Move("a3", A3, A1),), A3), []),
        (Cover(A1, (), A1), []),
        (Cover(A1, (Move("a5", None, A1),)), []),
        (Cover(A1, (Move("a3", A3, A1), Move("a5", None, A3))), []),
        (Cover(A1, (Move("a3", A3, A1),)), [LEFT_OPEN]),
        (Cover(A1, (), None), ["nobody steps into it"]),
        (Cover(A1, (Move("a1", A1, A1),)), ["Athlete 1 (a1) is the one who is lost"]),
        (Cover(A1, (Move("a3", None, A1),)), ["Athlete 3 (a3) is not on the bench"]),
        (
            Cover(A1, (Move("a3", A2, A1),), A2),
            ["Athlete 3 (a3) does not start in P2 (p2) on car Car 1 (c1) at Race 1 (r1)"],
        ),
        (
            Cover(A1, (Move("a5", A3, A1),), A3),
            ["Athlete 5 (a5) does not start in P1 (p1) on car Car 2 (c2) at Race 1 (r1)"],
        ),
        (
            Cover(A2, (Move("a5", None, A2),)),
            ["Athlete 5 (a5) may not be P2 (p2) on car Car 1 (c1) at Race 1 (r1)"],
        ),
        (Cover(A1, (Move("a6", None, A1),)), ["Athlete 6 (a6) is not on site and free then"]),
        (
            Cover(A1, (Move("a3", A3, A1), Move("a5", None, A1)), A3),
            ["somebody moves twice, or two step into one seat"],
        ),
        (
            Cover(A1, (Move("a3", A3, A1), Move("a3", A3, None)), A3),
            ["somebody moves twice, or two step into one seat"],
        ),
        (
            Cover(A1, (Move("a5", None, Seat("r2", "c1", "p1")),)),
            ["nobody steps into it", "Athlete 5 (a5) moves to another race"],
        ),
    ],
)
def test_chains_of_moves(cover: Cover, faults: list[str]) -> None:
    season = fixed_season()
    extra = {name: replace(season.athletes["a1"], id=name, name=f"Athlete {name[1]}") for name in ("a5", "a6")}
    rows = tuple(Clearance(name, "p1", "cleared") for name in extra)
    season = season.replace(athletes=season.athletes | extra, clearances=(*season.clearances, *rows))
    found = audit(season, lineup_of(CREWS, "r1 a5", cover=(cover,)), ("w1",)).check("cover_moves")
    seat = {A1: "P1 (p1)", A2: "P2 (p2)"}[cover.seat]
    assert told(found) == [("r1", f"cover of {seat} on car Car 1 (c1) at Race 1 (r1): {fault}") for fault in faults]
    assert {(m.car, m.position) for m in found.broken} <= {(cover.seat.car, cover.seat.position)}
    if not faults:
        assert (found.kept, found.text) == (True, "the 1 chain of moves can be made")


def test_an_optional_seat_may_be_left_without_a_word() -> None:
    positions = {"p1": Position("p1", "P1"), "p2": Position("p2", "P2", filled="if_possible")}
    cover = Cover(A1, (Move("a4", Seat("r1", "c2", "p2"), A1),))
    found = audit(fixed_season(positions=positions), lineup_of(CREWS, cover=(cover,)), ("w1",))
    assert found.check("cover_moves").kept


def test_who_works_another_race_there_that_day_is_on_site() -> None:
    spells = [("north", "2026-05-02 08:00", "2026-05-02 12:00"), ("north", "2026-05-02 13:00", "2026-05-02 20:00")]
    season = timetable(spells, cover=1)
    apart = works(season, "r1").check("cover")  # a1 works the first, a2 the second: each can cover the other's
    assert apart.kept
    for second, kept in (
        (("north", "2026-05-02 11:00", "2026-05-02 20:00"), False),
        (("north", "2026-05-02 12:00", "2026-05-02 20:00"), True),  # free when the first is over
        (("north", "2026-05-02 20:00", "2026-05-03 02:00"), True),  # a duty is of the day of its report
        (("south", "2026-05-02 13:00", "2026-05-02 20:00"), False),
        (("north", "2026-05-03 13:00", "2026-05-03 20:00"), False),
    ):
        check = works(timetable([spells[0], second], cover=1), "r1").check("cover")
        assert {m.kept for m in check.measures} == {kept}


# -------------------------------------------------------------------------------------------------------- costs


def priced_plan(season: Season, text: str = WHOLE, **more: Any) -> Plan:
    model = fixed_model(season)
    priced = Pricer(season, model, season.weekends, Settings()).price(lineup_of(text).assignments)
    figures: dict[str, Any] = {"costs": priced.costs, "value_s": priced.value_s, "seed": 1, "scenarios": 4}
    return lineup_of(text, **(figures | more))


def test_costs_are_worked_out_again() -> None:
    weights = Weights(crew_change_s=1.0, not_standing_s=0.5, travel_hour_s=0.1, uneven_s=0.3, tail=0.4, tail_share=0.3)
    season = fixed_season(weights=weights, standing={("c1", "p1"): "a2"})
    plan = priced_plan(season)
    found = audit(season, plan, None, fixed_model(season))
    # a1 beside a2 stops in 5 5 5 8: mean 5.75, worst 1.2 stops 7.5; a3 beside a4 in 7; priorities 1.5 and 0.5
    assert found.costs is not None
    assert found.costs["stops"] == pytest.approx(2 * 5 * (1.5 * (0.6 * 5.75 + 0.4 * 7.5) + 0.5 * 7))
    assert found.costs["not_standing"] == 1.0
    assert found.check("costs").kept
    assert found.check("costs").text.endswith("item by item as the plan says")
    assert audit(season, replace(plan, value_s=None), None, fixed_model(season)).check("costs").kept
    made_up = replace(plan, costs={**plan.costs, "penalties_": 3.0})
    assert told(audit(season, made_up, None, fixed_model(season)).check("costs")) == [
        (None, "penalties_ is 0.000000 s, the plan says 3.000000 s")
    ]
    lie = replace(plan, costs={**plan.costs, "travel": 0.0})
    assert "travel is" in audit(season, lie, None, fixed_model(season)).check("costs").text
    silent = replace(plan, costs={name: seconds for name, seconds in plan.costs.items() if name != "travel"})
    (unsaid,) = audit(season, silent, None, fixed_model(season)).check("costs").broken
    assert (unsaid.figure, unsaid.limit) == (0.0, pytest.approx(plan.costs["travel"]))
    value = replace(plan, value_s=(plan.value_s or 0.0) + 1.0)
    check = audit(season, value, None, fixed_model(season)).check("costs")
    assert not check.kept
    assert check.text.startswith("value_s is")


def random_prices(rng: random.Random) -> Season:
    """The season of fixed stops with other weights, history, standing crews and services of each race."""
    optional = Position("p2", "P2", filled=rng.choice(["always", "if_possible"]))
    season = fixed_season(positions={"p1": Position("p1", "P1"), "p2": optional})
    some = {name: rng.choice([0.0, value]) for name, value in WEIGHTS.items()}
    seats = [(car, position) for car in season.cars for position in season.positions]
    worked = []
    for number, days in enumerate((-14, -7, 3)):  # the last after the block has begun
        for car, position in seats:
            report = season.races["r1"].report + timedelta(days=days, minutes=rng.randint(0, 9))
            place = rng.choice([(car, position), (car, position), (car, None), (None, None)])
            race = f"h{number}" if days < 0 or rng.random() < 0.5 else "r1"
            worked.append(
                WorkedDuty(rng.choice(list(SECONDS)), race, "track-1", report, report + timedelta(hours=6), *place)
            )
    rng.shuffle(worked)
    athletes = {name: replace(a, group=rng.choice(["regular", "developing"])) for name, a in season.athletes.items()}
    return season.replace(
        athletes=athletes,
        weights=Weights(**some, tail=rng.choice([0.0, 0.4]), tail_share=rng.choice([0.25, 0.3, 1.0])),
        standing={seat: rng.choice(list(SECONDS)) for seat in seats if rng.random() < 0.7},
        service_counts={"r1": {"half": 2.0, "four": 5.0}, "r2": {rng.choice(["four", "half"]): 3.0}},
        choreographies=season.choreographies | {"half": HALF},
        clearances=tuple(row for row in season.clearances if rng.random() < 0.9),
        entries=tuple(entry for entry in season.entries if rng.random() < 0.9),
        worked=tuple(worked),
        limits=limits_of(travel_places={"at_most": 2, "price_s": 1.5}, cover={"at_least": 1, "price_s": 9.0}),
    )


FOUR = fixed_season().choreographies["four"]
HALF = Choreography("half", "Half", FOUR.tasks[:1])  # the work of p1 alone


def with_half(model: StopModel) -> StopModel:
    """A second service, in which p1 takes half his time and p2 is not needed."""
    full = model.banks["four", "plain"]
    athletes, penalty_s = {"p1": full.athletes["p1"]}, {"p1": full.penalty_s["p1"]}
    changes: dict[str, Any] = {"athletes": athletes, "penalty_s": penalty_s, "clean": {"p1": full.clean["p1"]}}
    half = replace(full, service="half", choreography=HALF, durations={"p1": full.durations["p1"] / 2}, **changes)
    return StopModel({("four", "plain"): full, ("half", "plain"): half}, seed=model.seed, scenarios=model.scenarios)


WEIGHTS = {
    "crew_change_s": 1.0,
    "not_standing_s": 0.5,
    "travel_hour_s": 0.1,
    "uneven_s": 0.3,
    "development_start_s": 0.2,
    "keep_chance": 0.6,
}


def test_every_cost_is_that_of_the_prices() -> None:
    rng, seen = random.Random(5), set()
    wipe = Task("wipe", "Wipe", "p1", (), "wipe", 40.0)
    graded = make_grades(SECONDS, (*FOUR.tasks, wipe), 6, None, 0.05, 1)
    both = {"four": FOUR, "wipe": Choreography("wipe", "Wipe", (wipe,))}  # no race has the second
    estimates = estimate_skills(fixed_season(choreographies=both, grades=graded))
    for _ in range(30):
        season = random_prices(rng)
        model = with_half(fixed_model(season))
        seats = [seat for entry in season.entries for seat in season.seats(entry.race, entry.car)]
        crews = {race: rng.sample(list(SECONDS), 4) for race in season.races}
        taken = tuple(Assignment(*_where(s), crews[s.race].pop()) for s in seats if rng.random() < 0.9)
        taken = tuple(a for a in taken if (a.athlete, a.position) in season.clearances_of)
        pricer = Pricer(season, model, season.weekends, Settings(), estimates)
        found = audit(season, Plan("best_so_far", taken), season.weekends, model, estimates=estimates)
        assert found.costs == pytest.approx(pricer.costs(pricer.crews(taken)))
        assert found.value_s == pytest.approx(pricer.value(taken))
        seen |= set(found.costs or ())
    items = {"stops", "penalties", "crew_changes", "not_standing", "unsure_changes", "travel", "uneven", "development"}
    assert seen == items | {"limit:travel_places"}


@pytest.mark.parametrize(("own", "sure"), [({"a1": 4.0, "a3": 6.0}, True), ({"a1": 6.0, "a3": 4.0}, False)])
def test_whether_a_gain_is_real_is_asked_of_the_work_of_the_race(own: dict[str, float], sure: bool) -> None:
    # what a1 and a3 take for another service of the position says the opposite, and more loudly
    wipe = Task("wipe", "Wipe", "p1", (), "wipe", 40.0)
    seconds = [(who, task, s if task == "do-p1" else 80 / s) for who, s in own.items() for task in ("do-p1", "wipe")]
    rows = [grade_row(who, "p1", task, s, stop=f"s{n}") for who, task, s in seconds for n in range(8)]
    season = fixed_season(
        choreographies={"four": FOUR, "wipe": Choreography("wipe", "Wipe", (wipe,))},
        grades=grade_table(rows),
        standing={("c1", "p1"): "a3"},
        weights=Weights(keep_chance=0.6),
        service_counts={"r1": {"four": 0.5}},
    )
    costs = audit(season, lineup_of("r1 c1: a1, a2"), ("w1",), fixed_model(season)).costs or {}
    # beside a1 in p2: a3 stops in 6 4 6 8, a1 in 4 4 4 8; half a stop of priority 1.5
    assert costs.get("unsure_changes", 0.0) == (0.0 if sure else pytest.approx(0.5 * 1.5 * (6 - 5)))


def test_the_chance_that_a_gain_is_real_is_that_of_the_prices() -> None:
    lift = Task("lift", "Lift", "p1", (), "lift", 4.0)
    tasks = (lift, Task("drop", "Drop", "p1", ("lift",), "drop", 4.0, release=True))
    own = {("a1", "p1"): 3.7, ("a2", "p1"): 4.0}
    season = tiny_season(athletes=2, positions=1, shape=tasks, own=own, noise=0.2, standing={("c1", "p1"): "a2"})
    estimates = replace(estimate_skills(season), tire={("lift", "plain"): 1.0})  # the tire of the race
    model = sample_stops(season, estimates, 7, 64)
    prices = Pricer(season, model, season.weekends, Settings(), estimates)
    chance = prices.unsure.chance("a1", "a2", Seat("r1", "c1", "p1"))
    assert prices.unsure.advantage_s("a1", "a2", Seat("r1", "c1", "p1")) > 0
    for more, kept in ((0.0, True), (1e-9, False)):
        keep = season.replace(weights=Weights(keep_chance=chance + more))
        costs = audit(keep, lineup_of("r1 c1: a1"), None, model, estimates=estimates).costs or {}
        assert ("unsure_changes" not in costs) is kept


def test_nobody_costs_no_stops() -> None:
    season = fixed_season()
    found = audit(season, Plan("best_so_far", ()), season.weekends, fixed_model(season))
    assert (found.costs, found.value_s) == ({"stops": 0.0}, 0.0)


def test_starts_are_uneven_against_a_share_of_none_where_nobody_may_start() -> None:
    out = tuple(Absence(who, date(2026, 4, 1), None, "out") for who in SECONDS)
    season = fixed_season(absences=out, weights=Weights(uneven_s=0.5))
    found = audit(season, lineup_of(WHOLE), None, fixed_model(season))
    assert (found.costs or {})["uneven"] == 0.5 * 4 * 2
    assert not found.passed


def _where(seat: Seat) -> tuple[str, str, str]:
    return seat.race, seat.car, seat.position


def test_costs_leave_out_reserves_and_their_places() -> None:
    season = fixed_season(limits=limits_of(travel_places={"at_most": 2, "price_s": 3.0}))
    season = season.replace(weights=Weights(travel_hour_s=0.1))
    found = audit(season, lineup_of("r1 c1: a1, a2", "r1 a3"), ("w1",), fixed_model(season))
    assert found.check("travel_places").cost_s == 3.0
    alone = audit(season, lineup_of("r1 c1: a1, a2"), ("w1",), fixed_model(season))
    assert found.costs == alone.costs
    assert found.value_s == alone.value_s == sum((alone.costs or {}).values())
    assert set(alone.costs or ()) == {"stops", "penalties", "travel"}


def test_the_weight_of_the_tail_may_be_another() -> None:
    season = fixed_season(weights=Weights(tail=0.4, tail_share=0.3))
    for tail, c1 in ((0.0, 5.75), (1.0, 7.5), (None, 0.6 * 5.75 + 0.4 * 7.5)):
        costs = audit(season, lineup_of(WHOLE), None, fixed_model(season), tail=tail).costs
        assert costs is not None
        assert costs["stops"] == pytest.approx(2 * 5 * (1.5 * c1 + 0.5 * 7))


def test_costs_that_differ_by_a_hair_are_the_same() -> None:
    season = fixed_season()
    plan = priced_plan(season)
    for share, kept in ((1e-8, True), (1e-4, False)):
        off = replace(plan, costs={name: seconds * (1 + share) for name, seconds in plan.costs.items()})
        check = audit(season, off, None, fixed_model(season)).check("costs")
        assert check.kept is kept
    penalties, stops = 8.75, 2 * 5 * (1.5 * 5.75 + 0.5 * 7)
    lie = replace(plan, costs={"stops": stops, "penalties": penalties + 1.0})
    (measure,) = audit(season, lie, None, fixed_model(season)).check("costs").broken
    assert measure.text == "penalties is 8.750000 s, the plan says 9.750000 s"
    assert (measure.figure, measure.limit, measure.excess) == (9.75, 8.75, 1.0)
    fine = audit(season, plan, None, fixed_model(season)).check("costs")
    assert (fine.text, fine.unit) == (f"{stops + penalties:.3f} s, item by item as the plan says", "s")


def test_costs_are_not_held_against_other_scenarios_or_changed_inputs() -> None:
    season = fixed_season()
    wrong: dict[str, Any] = {"value_s": 1.0}
    other = audit(season, priced_plan(season, seed=7, **wrong), None, fixed_model(season)).check("costs")
    assert other.kept
    assert other.text == "130.000 s; not held against the plan's own: it was priced with seed 7 on 4 scenarios"
    fewer = audit(season, priced_plan(season, scenarios=8, **wrong), None, fixed_model(season)).check("costs")
    assert "priced with seed 1 on 8 scenarios" in fewer.text
    marked = season.replace(fingerprints={"clearances": "new", "pins": "new"})
    changed = priced_plan(season, fingerprints={"clearances": "old", "pins": "old"}, **wrong)
    since = audit(marked, changed, None, fixed_model(season)).check("costs").text
    assert since.endswith("not held against the plan's own: clearances, pins changed since")
    same = priced_plan(season, fingerprints={"clearances": "new", "notes": "of a part the season has no more"}, **wrong)
    assert not audit(marked, same, None, fixed_model(season)).check("costs").kept
    bare = lineup_of(WHOLE)
    none = audit(season, bare, None, fixed_model(season)).check("costs").text
    assert none.endswith("not held against the plan's own: it states none")


def test_without_sampled_stops_costs_are_left_out() -> None:
    season = fixed_season()
    found = audit(season, lineup_of(WHOLE))
    assert found.costs is None
    assert found.notes == ("no sampled stops: costs are not checked",)
    rows = tuple(c for c in season.clearances if c.athlete != "a1")
    uncleared = season.replace(clearances=rows)
    found = audit(uncleared, lineup_of(WHOLE), None, fixed_model(uncleared))
    assert not found.check("clearance").kept
    assert found.costs is None
    assert found.notes == ("somebody has no sampled stops in his seat: costs are not checked",)


def test_slowest_service() -> None:
    season = fixed_season()
    cars = season.cars | {"c1": replace(season.cars["c1"], slowest_s=5.8)}
    check = audit(season.replace(cars=cars), lineup_of(WHOLE), None, fixed_model(season)).check("slowest")
    assert said(check) == (True, 5.75, 5.8)
    cars["c1"] = replace(cars["c1"], slowest_s=5.7)
    slow = audit(season.replace(cars=cars), lineup_of(WHOLE), None, fixed_model(season)).check("slowest")
    assert not slow.kept
    assert slow.text == (
        "5.750 s of 5.7 s allowed: mean of the slowest service, car Car 1 (c1) at Race 1 (r1) (and 1 more)"
    )
    assert (slow.unit, slow.source, slow.priced) == ("s", "cars.csv", False)
    assert [(m.race, m.car, m.figure, m.limit, round(m.excess, 6)) for m in slow.broken] == [
        (race, "c1", 5.75, 5.7, 0.05) for race in ("r1", "r2")
    ]
    cars["c1"] = replace(cars["c1"], slowest_s=5.75)
    assert audit(season.replace(cars=cars), lineup_of(WHOLE), None, fixed_model(season)).check("slowest").kept
    with pytest.raises(KeyError, match="slowest"):
        audit(season, lineup_of(WHOLE), None, fixed_model(season)).check("slowest")


def test_the_slowest_service_is_that_of_the_race() -> None:
    season = fixed_season(service_counts={"r1": {"four": 5.0, "half": 2.0}, "r2": {"half": 3.0}})
    season = season.replace(choreographies=season.choreographies | {"half": HALF})
    season = season.replace(cars=season.cars | {"c2": replace(season.cars["c2"], slowest_s=6.0)})
    plan = lineup_of("r1 c1: a1, a2\nr1 c2: a3, a4\nr2 c1: a1\nr2 c2: a3")
    check = audit(season, plan, None, with_half(fixed_model(season))).check("slowest")
    assert [(m.race, m.car, m.figure, m.kept) for m in check.measures] == [
        ("r1", "c2", 7.0, False),
        ("r2", "c2", 2.625, True),  # a3: half of 6 3 6 6
    ]


@pytest.mark.parametrize(
    ("figures", "fault"),
    [
        ({"value_s": 100.0, "bound_s": 99.95, "gap": 0.0005, "tolerance": 0.001, "status": "proven"}, None),
        ({"value_s": 100.0, "bound_s": 101.0}, "lies above the value"),
        ({"value_s": 100.0, "bound_s": 99.0, "gap": 0.001}, "the gap is 1.0000%, the plan says 0.1000%"),
        ({"value_s": 100.0, "bound_s": 99.0, "tolerance": 0.001, "status": "proven"}, "not proven"),
        ({"value_s": 100.0, "bound_s": 99.0, "tolerance": 0.001}, None),
        ({"value_s": 100.0, "bound_s": 99.9, "tolerance": 0.001, "status": "proven"}, None),  # just proven
        ({"value_s": 0.5, "bound_s": 0.4, "gap": 0.2}, None),
        ({"value_s": 100.0, "bound_s": 100.0 + 1e-5, "gap": 0.0}, None),  # a hair
        ({"value_s": -10.0, "bound_s": -11.0, "gap": 0.1}, None),
        ({"value_s": 100.0, "bound_s": 99.0, "gap": 0.01009}, None),
        ({"value_s": 100.0, "bound_s": 99.0, "gap": 0.01011}, "the gap is 1.0000%, the plan says 1.0110%"),
    ],
)
def test_the_proof_must_fit_itself(figures: dict[str, Any], fault: str | None) -> None:
    season = fixed_season()
    plan = lineup_of(WHOLE).replace(**figures)
    check = audit(season, plan, None, fixed_model(season)).check("proof")
    assert check.kept is (fault is None)
    assert len(told(check)) == (fault is not None)
    assert fault is None or fault in check.text


def test_the_proof_is_told() -> None:
    season = fixed_season()
    for figures, text in (
        ({"value_s": 100.0, "bound_s": 99.95, "status": "proven"}, "gap 0.0500%, proven"),
        ({"value_s": 100.0, "bound_s": 100.0 + 1e-5}, "gap 0.0000%, best_so_far"),
        ({"value_s": 100.0}, "the plan states no bound"),
        ({"bound_s": 100.0}, "the plan states no bound"),
        (
            {"value_s": 100.0, "bound_s": 101.0},
            "the bound 101.000000 s lies above the value 100.000000 s",
        ),
        (
            {"value_s": 100.0, "bound_s": 99.0, "tolerance": 0.001, "status": "proven"},
            "the gap 1.0000% is above the tolerance 0.1000%: not proven",
        ),
    ):
        plan = lineup_of(WHOLE).replace(**figures)
        assert audit(season, plan, None, fixed_model(season)).check("proof").text == text


def test_stop_times_task_by_task_are_those_of_the_bank() -> None:
    rng = random.Random(3)
    season = random_season(rng)
    model = sample_stops(season, estimate_skills(season), 1, 64)
    bank = model.banks["four", "plain"]
    for _ in range(40):
        crew = {p: rng.choice(bank.athletes[p]) for p in bank.positions if rng.random() < 0.8}
        times = stop_seconds(bank, crew)
        assert times == pytest.approx(bank.stop_times(bank.crew_row(crew))[0])
        share = rng.choice([0.05, 0.1, 0.37, 1.0])
        assert blended_s(times, 0.4, share) == pytest.approx(float(blend(times, 0.4, share)))
    assert blended_s(np.array([1.0, 2.0, 3.0, 4.0]), 1.0, 0.5) == 3.5
