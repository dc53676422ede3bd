"""Who may fill a seat, rule by rule, and what the verdict says."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, time, timedelta
from typing import Any

import pytest

from lineup.eligibility import may_fill, may_start, refusals
from lineup.recent_grades import graded_stops
from lineup.season import Absence, Clearance, Pin, Position, Season, Seat
from tests.builders import FIRST_SUNDAY, grade_row, grade_table, make_race, tiny_season
from tests.timetables import limits_of

SEAT = Seat("r1", "c1", "p1")


def season_with(**changes: Any) -> Season:
    return tiny_season(athletes=2, positions=2, cars=2, races=2, **changes)


def verdict(season: Season, athlete: str = "a1", seat: Seat = SEAT) -> tuple[bool, str | None, str]:
    found = may_fill(season, athlete, seat)
    return found.allowed, found.rule, found.text


def test_a_cleared_athlete_may() -> None:
    assert verdict(season_with()) == (True, None, "")


# ----------------------------------------------------------------------------------------------------- clearance


@pytest.mark.parametrize(
    ("rows", "text"),
    [
        ([], "Athlete 1 (a1) has no clearance for P1 (p1)"),
        ([Clearance("a1", "p2", "cleared")], "Athlete 1 (a1) has no clearance for P1 (p1)"),
        (
            [Clearance("a1", "p1", "cleared", since=FIRST_SUNDAY + timedelta(days=1))],
            "Athlete 1 (a1) is cleared for P1 (p1) only from 6 Apr 2026",
        ),
        (
            [Clearance("a1", "p1", "cleared", series="truck")],
            "Athlete 1 (a1) is cleared for P1 (p1) in series truck, not in cup",
        ),
        (
            [Clearance("a1", "p1", "training")],
            "Athlete 1 (a1) is in training for P1 (p1): starts only where a must pin names it",
        ),
    ],
)
def test_no_clearance_that_holds(rows: list[Clearance], text: str) -> None:
    assert verdict(season_with(clearances=tuple(rows))) == (False, "clearance", text)


@pytest.mark.parametrize(
    "rows",
    [
        [Clearance("a1", "p1", "cleared", since=FIRST_SUNDAY)],
        [Clearance("a1", "p1", "cleared", series="cup")],
        [Clearance("a1", "p1", "training"), Clearance("a1", "p1", "cleared", series="cup")],
    ],
)
def test_a_clearance_that_holds(rows: list[Clearance]) -> None:
    assert may_fill(season_with(clearances=tuple(rows)), "a1", SEAT).allowed


@pytest.mark.parametrize(
    ("pin", "allowed"),
    [
        (Pin("must", "a1", "try him", position="p1"), True),
        (Pin("must", "a1", "try him", race="r1", car="c1", position="p1"), True),
        (Pin("must", "a1", "try him", race="r1"), False),  # does not name the position
        (Pin("must", "a1", "try him", race="r2", position="p1"), False),
        (Pin("must", "a2", "try him", position="p1"), False),
        (Pin("never", "a1", "not him", position="p1"), False),
    ],
)
def test_training_starts_only_where_a_must_pin_names_the_position(pin: Pin, allowed: bool) -> None:
    season = season_with(clearances=(Clearance("a1", "p1", "training"),), pins=(pin,))
    assert may_fill(season, "a1", SEAT).allowed is allowed


# -------------------------------------------------------------------------------------------------------- height


def tall(season: Season, need_m: float, have_m: float | None) -> Season:
    return season.replace(
        positions=season.positions | {"p1": Position("p1", "Jack", min_height_m=need_m)},
        athletes=season.athletes | {"a1": replace(season.athletes["a1"], height_m=have_m)},
    )


def test_below_the_height_is_forbidden_unless_priced() -> None:
    short = tall(season_with(), 1.8288, 1.80)
    assert verdict(short) == (
        False,
        "height",
        "Athlete 1 (a1) is 180.0 cm (70.9 in) tall; Jack (p1) asks for 182.9 cm (72.0 in)",
    )
    priced = may_fill(short.replace(limits=limits_of(height={"price_s": 0.5})), "a1", SEAT)
    assert (priced.allowed, priced.rule, priced.costs, priced.price_s) == (True, "height", {"limit:height": 0.5}, 0.5)


def test_inches_and_centimetres_meet() -> None:
    # 72 in = 182.88 cm exactly (international inch, 25.4 mm)
    assert may_fill(tall(season_with(), 72 * 0.0254, 1.8288), "a1", SEAT).allowed


def test_an_unknown_height_passes_with_a_note() -> None:
    assert verdict(tall(season_with(), 1.8288, None)) == (
        True,
        None,
        "Athlete 1 (a1)'s height is not known; Jack (p1) asks for 182.9 cm (72.0 in)",
    )


# -------------------------------------------------------------------------------------------------- availability


@pytest.mark.parametrize(
    ("first", "last", "out"),
    [(0, 0, True), (-3, -1, False), (1, 4, False), (-1, None, True), (1, None, False), (-2, 0, True), (0, 5, True)],
)
def test_out_on_days_that_touch_the_duty(first: int, last: int | None, out: bool) -> None:
    until = None if last is None else FIRST_SUNDAY + timedelta(days=last)
    season = season_with(absences=(Absence("a1", FIRST_SUNDAY + timedelta(days=first), until, "out"),))
    assert may_fill(season, "a1", SEAT).allowed is not out


def test_a_duty_past_midnight_touches_the_next_day() -> None:
    night = make_race(0, report=time(18), start=time(21))  # released at 01:00 on Monday
    monday = Absence("a1", FIRST_SUNDAY + timedelta(days=1), None, "out")
    season = season_with(absences=(monday,))
    assert may_fill(season, "a1", SEAT).allowed
    assert not may_fill(season.replace(races=season.races | {"r1": night}), "a1", SEAT).allowed


def test_days_are_those_of_the_site() -> None:
    # Report on Sunday 08:00 in New York is already Monday on some clocks, never on the site's.
    season = season_with(absences=(Absence("a1", FIRST_SUNDAY, FIRST_SUNDAY, "out"),))
    tokyo = replace(season.sites["track-1"], time_zone="Asia/Tokyo")
    assert not may_fill(season, "a1", SEAT).allowed
    assert not may_fill(season.replace(sites=season.sites | {"track-1": tokyo}), "a1", SEAT).allowed  # 21:00 to 06:00
    late = season.replace(absences=(Absence("a1", date(2026, 4, 6), None, "out"),))
    assert may_fill(late, "a1", SEAT).allowed
    assert not may_fill(late.replace(sites=season.sites | {"track-1": tokyo}), "a1", SEAT).allowed


def test_what_an_absence_says() -> None:
    def text(absence: Absence) -> str:
        return verdict(season_with(absences=(absence,)))[2]

    assert (
        text(Absence("a1", FIRST_SUNDAY, date(2026, 6, 12), "out", (), "medical"))
        == "Athlete 1 (a1) is out until 12 Jun 2026"
    )
    assert text(Absence("a1", FIRST_SUNDAY, None, "out")) == "Athlete 1 (a1) is out, with no day of return"
    only = Absence("a1", FIRST_SUNDAY, date(2026, 6, 12), "only", ("p2",))
    assert text(only) == "Athlete 1 (a1) may work only P2 (p2) until 12 Jun 2026, not P1 (p1)"
    assert may_fill(season_with(absences=(only,)), "a1", Seat("r1", "c1", "p2")).allowed


# ---------------------------------------------------------------------------------------------------------- pins


@pytest.mark.parametrize(
    ("pin", "allowed"),
    [
        (Pin("never", "a1", "hands"), []),
        (Pin("never", "a1", "hands", car="c1"), ["c2 p1", "c2 p2"]),
        (Pin("never", "a1", "hands", car="c1", position="p1"), ["c1 p2", "c2 p1", "c2 p2"]),
        (Pin("never", "a1", "hands", race="r2"), ["c1 p1", "c1 p2", "c2 p1", "c2 p2"]),
        (Pin("must", "a1", "wish", car="c1"), ["c1 p1", "c1 p2"]),
        (Pin("must", "a1", "wish", position="p2"), ["c1 p2", "c2 p2"]),
        (Pin("must", "a1", "wish", race="r2", car="c1"), ["c1 p1", "c1 p2", "c2 p1", "c2 p2"]),
        (Pin("must", "a2", "wish", car="c1"), ["c1 p1", "c1 p2", "c2 p1", "c2 p2"]),
        (Pin("apart", "a1", "row", other="a2"), ["c1 p1", "c1 p2", "c2 p1", "c2 p2"]),
    ],
)
def test_pins(pin: Pin, allowed: list[str]) -> None:
    season = season_with(pins=(pin,))
    seats = [seat for car in season.cars for seat in season.seats("r1", car)]
    assert [f"{s.car} {s.position}" for s in seats if may_fill(season, "a1", s).allowed] == allowed


def test_a_must_pin_to_a_car_that_does_not_race_holds_nobody() -> None:
    season = season_with(pins=(Pin("must", "a1", "wish", car="c2"),))
    without = season.replace(entries=tuple(e for e in season.entries if (e.race, e.car) != ("r1", "c2")))
    assert not may_fill(season, "a1", SEAT).allowed
    assert may_fill(without, "a1", SEAT).allowed


def test_a_pin_gives_its_reason() -> None:
    season = season_with(pins=(Pin("never", "a1", "too slow on new wheels", car="c1", position="p1"),))
    assert verdict(season)[1:] == (
        "pin",
        "Athlete 1 (a1) is pinned away from P1 (p1) on car Car 1 (c1): too slow on new wheels",
    )


# -------------------------------------------------------------------------------------------------- recent grades


def test_recent_grades_in_the_days_up_to_the_race() -> None:
    # The builder grades one stop a day on the six days before the first Sunday.
    season = season_with(limits=limits_of(recent_grades={"at_least": 4, "days": 5}))
    assert may_fill(season, "a1", SEAT).allowed  # Wednesday to Saturday: 4
    more = season.replace(limits=limits_of(recent_grades={"at_least": 5, "days": 5}))
    assert verdict(more)[1:] == (
        "recent_grades",
        "Athlete 1 (a1) has 4 of 5 graded stops needed as P1 (p1) in the 5 days to 5 Apr 2026",
    )
    priced = season.replace(limits=limits_of(recent_grades={"at_least": 6, "days": 5, "price_s": 0.25}))
    assert may_fill(priced, "a1", SEAT).costs == {"limit:recent_grades": 0.5}


def test_graded_stops_are_counted_once_each() -> None:
    rows = [
        grade_row("a1", "p1", "do-p1", 4.0, stop="s1"),
        grade_row("a1", "p1", "other", 2.0, stop="s1"),
        grade_row("a1", "p1", "do-p1", 4.0, stop="s2"),
        grade_row("a1", "p1", "do-p1", 4.0),
        grade_row("a1", "p1", "do-p1", 4.1),
        grade_row("a1", "p1", "other", 2.0),
        grade_row("a1", "p2", "do-p2", 4.0, stop="s3"),
        grade_row("", "", "roll", 1.0, stop="s3"),
    ]
    season = season_with().replace(grades=grade_table(rows))
    day = FIRST_SUNDAY
    assert graded_stops(season, "a1", "p1", day, day) == 4  # s1, s2, and two without a name
    assert graded_stops(season, "a1", "p1", day + timedelta(days=1), day + timedelta(days=9)) == 0


# ------------------------------------------------------------------------------------------------------- together


def test_every_reason_is_told_in_order() -> None:
    season = tall(season_with(absences=(Absence("a1", FIRST_SUNDAY, None, "out"),)), 1.9, 1.8)
    season = season.with_pin(Pin("never", "a1", "no"))
    assert [r.rule for r in refusals(season, "a1", SEAT)] == ["height", "availability", "pin"]
    assert may_fill(season, "a1", SEAT).rule == "height"


def test_priced_rules_add_up() -> None:
    limits = limits_of(height={"price_s": 0.5}, recent_grades={"at_least": 6, "days": 5, "price_s": 0.25})
    found = may_fill(tall(season_with(limits=limits), 1.9, 1.8), "a1", SEAT)
    assert found.allowed
    assert found.price_s == pytest.approx(1.0)


def test_who_may_start_somewhere_in_the_block() -> None:
    season = season_with(absences=(Absence("a1", FIRST_SUNDAY, FIRST_SUNDAY, "out"),))
    assert may_start(season, ("w1",)) == {"a2"}
    assert may_start(season, ("w1", "w2")) == {"a1", "a2"}
