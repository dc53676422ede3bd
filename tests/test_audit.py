"""The audit alone: every check kept and broken, with its figure, on cases worked by hand."""

from __future__ import annotations

import ast
import random
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import lineup.audit
from lineup.audit import Audit, Check, audit
from lineup.audit.money import blended_s, stop_seconds
from lineup.errors import PlanFileError
from lineup.lawful import broken_rules
from lineup.plan import Assignment, Cover, Move, Plan, Reserve
from lineup.price import Pricer
from lineup.season import Absence, Clearance, Pin, Position, Season, Seat, Weights
from lineup.settings import Settings
from lineup.skills import estimate_skills
from lineup.stops import blend, sample_stops
from tests.builders import tiny_season
from tests.fixed_stops import fixed_model, fixed_season
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


WHOLE = "r1 c1: a1, a2\nr1 c2: a3, a4\nr2 c1: a1, a2\nr2 c2: a3, a4"


# ------------------------------------------------------------------------------------------------- independence


def test_the_audit_imports_no_rule_no_price_and_no_optimiser() -> None:
    allowed = {"audit", "errors", "limits", "plan", "season", "skills", "stops", "travel"}
    for file in Path(lineup.audit.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            names = [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            names += [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
            assert {name.split(".")[1] for name in names if name.startswith("lineup.")} <= allowed, file


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
    both = audit(fixed_season(), lineup_of("r1 c1: a1, a1"), ("w1",))
    assert both.check("one_seat").text == "Athlete 1 (a1) fills 2 seats at Race 1 (r1)"


def test_driving_by_hand() -> None:
    # 49 CFR 395.3(a): a 15 h day leaves nothing to drive; 3 h at the wheel and 10 h off are 13 h, 12 h lie between
    spells = [("north", "2026-05-02 06:00", "2026-05-02 21:00"), ("south", "2026-05-03 09:00", "2026-05-03 15:00")]
    hours = {("north", "south"): 3.0, ("north", "shop"): 8.0, ("shop", "south"): 8.0}
    found = works(timetable(spells, hours=hours, drives=True, preset="49 CFR 395.3"))
    check = found.check("driving_hours")
    assert not check.kept
    assert [(m.figure, m.limit) for m in check.broken] == [(13.0, 12.0)]
    assert "nobody drives tired" in check.broken[0].text
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


def test_nights_of_reserves_count_and_their_weekends_when_told() -> None:
    limits: dict[str, Any] = {"weekends_in_a_row": 1, "nights_away_in_days": {"at_most": 1, "days": 28}}
    hours = {("north", "shop"): 8.0}
    found = works(timetable(sundays(20, 21), hours=hours, **limits), "r1", reserve=("r2",))
    assert said(found.check("nights_away_in_days")) == (False, 2, 1.0)  # home at 02:00, twice
    assert found.check("weekends_in_a_row").kept
    counted = works(timetable(sundays(20, 21), hours=hours, reserves_count=True, **limits), "r1", reserve=("r2",))
    assert not counted.check("weekends_in_a_row").kept


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
    assert check.text == "nobody is P2 (p2) on car Car 1 (c1) at Race 1 (r1)"
    twice = Plan("best_so_far", (Assignment("r1", "c1", "p1", "a1"), Assignment("r1", "c1", "p1", "a2")))
    assert "filled twice" in audit(fixed_season(), twice).check("filled").text
    optional = {"p1": Position("p1", "P1"), "p2": Position("p2", "P2", filled="if_possible")}
    season = fixed_season(positions=optional)
    check = audit(season, lineup_of("r1 c1: a1, a2\nr1 c2: a3, -"), ("w1",)).check("filled")
    assert (check.kept, check.text) == (True, "all 2 seats that must be filled are")  # of four


def test_one_and_none_are_told_in_the_singular_and_as_none() -> None:
    found = audit(fixed_season(limits=limits_of(weekends_in_a_row=3)), lineup_of("r1 c1: a1, -"), ("w1",))
    assert found.check("clearance").text == "the 1 start is cleared"
    assert found.check("pin").text == "there are no pins"
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
    unknown = season.replace(athletes={k: replace(a, height_m=None) for k, a in season.athletes.items()})
    assert audit(unknown, plan).check("height").kept


def test_absences_of_starters_and_reserves() -> None:
    plan = lineup_of("r1 c1: a1, a2", "r1 a4")
    gone = fixed_season(absences=(Absence("a1", date(2026, 4, 5), date(2026, 4, 5), "out"),))
    assert "Athlete 1 (a1) is out" in audit(gone, plan).check("availability").text
    away = fixed_season(absences=(Absence("a4", date(2026, 4, 1), None, "out"),))
    assert "Athlete 4 (a4) is out and travels as a reserve" in audit(away, plan).check("availability").text
    only = fixed_season(absences=(Absence("a4", date(2026, 4, 1), None, "only", ("p2",)),))
    assert audit(only, plan).check("availability").kept


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


def test_recent_grades() -> None:
    season = tiny_season(athletes=2, positions=1, limits=limits_of(recent_grades={"at_least": 5, "days": 5}))
    check = audit(season, lineup_of("r1 c1: a1")).check("recent_grades")
    assert said(check) == (False, 4, 5.0)  # graded on each of the six days before the Sunday
    fewer = season.replace(limits=limits_of(recent_grades={"at_least": 4, "days": 5}))
    assert audit(fewer, lineup_of("r1 c1: a1")).check("recent_grades").kept


def test_names_outside_the_block_are_refused() -> None:
    for plan in (lineup_of("r1 c1: a9, a2"), lineup_of("r2 c1: a1, a2"), lineup_of("r1 c1: a1, a2", "r1 a9")):
        with pytest.raises(PlanFileError, match="is not in the block"):
            audit(fixed_season(), plan, ("w1",))


# -------------------------------------------------------------------------------------------------------- cover

A1, A2, A3 = Seat("r1", "c1", "p1"), Seat("r1", "c1", "p2"), Seat("r1", "c2", "p1")
CREWS = "r1 c1: a1, a2\nr1 c2: a3, a4"


def test_ways_to_cover_each_seat() -> None:
    # c1 has priority 3, c2 priority 1: both of c2 can step up, nobody steps down; a reserve covers any seat
    season = fixed_season(limits=limits_of(cover=1))
    check = audit(season, lineup_of(CREWS), ("w1",)).check("cover")
    assert said(check) == (False, 0, 1.0)
    assert {m.car for m in check.broken} == {"c2"}
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
        {"limits": limits_of(cover=1, recent_grades={"at_least": 99, "days": 5})},
    ],
)
def test_who_covers_must_be_allowed_in_the_seat(changes: dict[str, Any]) -> None:
    season = fixed_season(**({"limits": limits_of(cover=1)} | changes))
    check = audit(season, lineup_of(CREWS), ("w1",)).check("cover")
    assert {m.car for m in check.broken} == {"c1", "c2"}  # without these a3 and a4 can step up into c1


@pytest.mark.parametrize(
    ("cover", "fault"),
    [
        (Cover(A1, (Move("a3", A3, A1),), A3), None),
        (Cover(A1, (), A1), None),
        (Cover(A1, (Move("a5", None, A1),)), None),
        (Cover(A1, (Move("a3", A3, A1), Move("a5", None, A3))), None),
        (Cover(A1, (Move("a3", A3, A1),)), "P1 (p1) on car Car 2 (c2) at Race 1 (r1) is left open and not named"),
        (Cover(A1, (), None), "nobody steps into it"),
        (Cover(A1, (Move("a1", A1, A1),)), "Athlete 1 (a1) is the one who is lost"),
        (Cover(A1, (Move("a3", None, A1),)), "Athlete 3 (a3) is not on the bench"),
        (Cover(A1, (Move("a3", A2, A1),), A2), "does not start in P2 (p2) on car Car 1 (c1)"),
        (Cover(A2, (Move("a5", None, A2),)), "Athlete 5 (a5) may not be P2 (p2) on car Car 1 (c1)"),
        (Cover(A1, (Move("a6", None, A1),)), "Athlete 6 (a6) is not on site and free then"),
        (Cover(A1, (Move("a3", A3, A1), Move("a5", None, A1)), A3), "two step into one seat"),
        (Cover(A1, (Move("a5", None, Seat("r2", "c1", "p1")),)), "moves to another race"),
    ],
)
def test_chains_of_moves(cover: Cover, fault: str | None) -> None:
    season = fixed_season()
    extra = {name: replace(season.athletes["a1"], id=name, name=f"Athlete {name[1]}") for name in ("a5", "a6")}
    rows = tuple(Clearance(name, "p1", "cleared") for name in extra)
    season = season.replace(athletes=season.athletes | extra, clearances=(*season.clearances, *rows))
    found = audit(season, lineup_of(CREWS, "r1 a5", cover=(cover,)), ("w1",)).check("cover_moves")
    if fault is None:
        assert (found.kept, found.text) == (True, "the 1 chain of moves can be made")
    else:
        assert any(fault in measure.text for measure in found.broken), found.broken


def test_who_works_another_race_there_that_day_is_on_site() -> None:
    spells = [("north", "2026-05-02 08:00", "2026-05-02 12:00"), ("north", "2026-05-02 13:00", "2026-05-02 20:00")]
    season = timetable(spells, cover=1)
    apart = works(season, "r1").check("cover")  # a1 works the first, a2 the second: each can cover the other's
    assert apart.kept
    overlapping = timetable([spells[0], ("north", "2026-05-02 11:00", "2026-05-02 20:00")], cover=1)
    assert not works(overlapping, "r1").check("cover").kept


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
    lie = replace(plan, costs={**plan.costs, "travel": 0.0})
    assert "travel is" in audit(season, lie, None, fixed_model(season)).check("costs").text
    silent = replace(plan, costs={name: seconds for name, seconds in plan.costs.items() if name != "travel"})
    (unsaid,) = audit(season, silent, None, fixed_model(season)).check("costs").broken
    assert (unsaid.figure, unsaid.limit) == (0.0, pytest.approx(plan.costs["travel"]))
    value = replace(plan, value_s=(plan.value_s or 0.0) + 1.0)
    check = audit(season, value, None, fixed_model(season)).check("costs")
    assert not check.kept
    assert check.text.startswith("value_s is")


def test_costs_are_not_held_against_other_scenarios_or_changed_inputs() -> None:
    season = fixed_season()
    wrong: dict[str, Any] = {"value_s": 1.0}
    other = audit(season, priced_plan(season, seed=7, **wrong), None, fixed_model(season)).check("costs")
    assert other.kept
    assert "priced with seed 7 on 4 scenarios" in other.text
    marked = season.replace(fingerprints={"clearances": "new"})
    changed = priced_plan(season, fingerprints={"clearances": "old"}, **wrong)
    assert "clearances changed since" in audit(marked, changed, None, fixed_model(season)).check("costs").text
    bare = lineup_of(WHOLE)
    assert "it states none" in audit(season, bare, None, fixed_model(season)).check("costs").text


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
    assert "no sampled stops in his seat" in found.notes[0]


def test_slowest_service() -> None:
    season = fixed_season()
    cars = season.cars | {"c1": replace(season.cars["c1"], slowest_s=5.8)}
    check = audit(season.replace(cars=cars), lineup_of(WHOLE), None, fixed_model(season)).check("slowest")
    assert said(check) == (True, 5.75, 5.8)
    cars["c1"] = replace(cars["c1"], slowest_s=5.7)
    slow = audit(season.replace(cars=cars), lineup_of(WHOLE), None, fixed_model(season)).check("slowest")
    assert not slow.kept
    assert slow.text.startswith("5.750 s of 5.7 s allowed: mean of the slowest service, car Car 1 (c1)")


@pytest.mark.parametrize(
    ("figures", "fault"),
    [
        ({"value_s": 100.0, "bound_s": 99.95, "gap": 0.0005, "tolerance": 0.001, "status": "proven"}, None),
        ({"value_s": 100.0, "bound_s": 101.0}, "lies above the value"),
        ({"value_s": 100.0, "bound_s": 99.0, "gap": 0.001}, "the gap is 1.0000%, the plan says 0.1000%"),
        ({"value_s": 100.0, "bound_s": 99.0, "tolerance": 0.001, "status": "proven"}, "not proven"),
        ({"value_s": 100.0, "bound_s": 99.0, "tolerance": 0.001}, None),
        ({"value_s": 0.5, "bound_s": 0.4, "gap": 0.2}, None),
    ],
)
def test_the_proof_must_fit_itself(figures: dict[str, Any], fault: str | None) -> None:
    season = fixed_season()
    plan = lineup_of(WHOLE).replace(**figures)
    check = audit(season, plan, None, fixed_model(season)).check("proof")
    assert check.kept is (fault is None)
    assert fault is None or fault in check.text


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
