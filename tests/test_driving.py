"""The break from driving of 49 CFR 395.3(a)(3)(ii): on timetables worked by hand, and half hour by half hour."""

from __future__ import annotations

import math
import random
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pytest

from lineup.audit import audit
from lineup.audit.records import Measure
from lineup.limits import Limit
from lineup.plan import Assignment, Plan
from lineup.rules import Breach, ScheduleRules
from lineup.rules.wheel import Road, Spell
from lineup.season import Season
from tests.timetables import ANN, limits_of, timetable

PROPERTY: dict[str, Any] = {"preset": "49 CFR 395.3"}
PASSENGERS: dict[str, Any] = {"preset": "49 CFR 395.5"}
SLOTS = 2  # of an hour


def drive(wheel_h: float, gap_h: float, duty_h: float = 3.0, **limits: Any) -> Season:
    """A duty that ends on Saturday at 12:00, so many hours at the wheel, and a report so many hours later."""
    noon = datetime(2026, 5, 2, 12)
    start, report = noon - timedelta(hours=duty_h), noon + timedelta(hours=gap_h)
    spells = [("shop", str(start), str(noon)), ("south", str(report), str(report + timedelta(hours=4)))]
    return timetable(spells, hours={("shop", "south"): wheel_h}, drives=True, **limits)


def by_rules(season: Season) -> list[tuple[float, float]]:
    """Figure and limit of each breach."""
    return [(round(breach.figure, 6), breach.limit) for breach in breaches(season)]


def breaches(season: Season) -> tuple[Breach, ...]:
    return ScheduleRules(season, season.weekends).assess(ANN, tuple(season.races)).breaches


def by_audit(season: Season) -> list[tuple[float, float | None]]:
    return [(round(m.figure or 0.0, 6), m.limit) for m in measures(season)]


def measures(season: Season) -> tuple[Measure, ...]:
    seats = tuple(Assignment(race, "c1", "p1", ANN) for race in season.races)
    return audit(season, Plan("best_so_far", seats), season.weekends).check("driving_hours").broken


CASES = [
    # 395.3(a)(3)(ii): 9 h at the wheel take 9.5 h with the half hour; 9 h 12 min lie between: driven in one piece
    (drive(9, 9.2, **PROPERTY), [(9.0, 8.0)]),
    (drive(9, 9.0, **PROPERTY), [(9.0, 8.0)]),
    (drive(9, 9.5, **PROPERTY), []),
    (drive(8, 8.0, **PROPERTY), []),  # not more than 8 h have passed
    # 395.5 has no such paragraph: 9 of its 10 h at the wheel in one piece
    (drive(9, 9.2, **PASSENGERS), []),
    # 10 h off are a break too, 395.3(a)(1): 8 h, 10 h off, 4 h are 22 h
    (drive(12, 22, **PROPERTY), []),
    # 17 h: 8.5 h, 10 h off, 8.5 h are 27 h; with one half hour, 27.5 h (8 + 0.5 + 1, 10 off, 8)
    *((drive(17, gap_h, **PROPERTY), [(8.5, 8.0)]) for gap_h in (27, 27.2)),
    (drive(17, 27.5, **PROPERTY), []),
    (drive(24, 44, 0.5, **PROPERTY), []),  # three times 8 h and two rests need no break
    (drive(25.5, 45.7, **PROPERTY), [(8.5, 8.0)]),  # three times 8.5 h, where 46 h would be lawful
    # 395.3(a)(2): after 4 h on duty 10 h are left of the 14: 9.5 h at the wheel and the half hour, not 10 h. Without a
    # rest of 10 h there is no way, though 12 h lie between; after 3.5 h on duty there is
    (drive(10, 12, 4.0, **PROPERTY), [(10.0, 8.0)]),
    (drive(10, 12, 3.5, **PROPERTY), []),
    (drive(10, 20, 4.0, **PROPERTY), []),  # 8 h, 10 h off, 2 h
    # after 3.5 h on duty a half hour adds 2 h to the first day (10.5 of its 14 h are left), 3 h to the next: 8; 8 + 3
    (drive(19, 29.5, 3.5, **PROPERTY), []),
    # where not even the rests fit, that is what is told: 12 h with 10 h off are 22 h
    (drive(12, 21.5, **PROPERTY), [(22.0, 21.5)]),
    # figures of one's own, here those of Regulation (EC) No 561/2006 art. 6 and 7 (from memory): 9 h a day, 45 minutes
    # after 4.5 h at the wheel: 4.5 + 0.75 + 4.5 h
    (drive(9, 9.5, driving_hours={"at_most": 9, "break_after_hours": 4.5, "break_hours": 0.75}), [(9.0, 4.5)]),
    (drive(9, 9.75, driving_hours={"at_most": 9, "break_after_hours": 4.5, "break_hours": 0.75}), []),
]


@pytest.mark.parametrize(("season", "expected"), CASES)
def test_by_hand(season: Season, expected: list[tuple[float, float]]) -> None:
    assert by_rules(season) == expected
    assert by_audit(season) == expected


def test_a_duty_is_a_break_from_driving() -> None:
    # "on-duty not driving time" counts, 395.3(a)(3)(ii): 5 h, a duty of 2 h, 5 h, with no other stop
    spells = [
        ("shop", "2026-05-02 05:00", "2026-05-02 06:00"),
        ("south", "2026-05-02 11:00", "2026-05-02 13:00"),
        ("east", "2026-05-02 18:00", "2026-05-02 19:00"),
    ]
    season = timetable(spells, hours={("shop", "south"): 5.0, ("east", "south"): 5.0}, drives=True, **PROPERTY)
    assert by_rules(season) == by_audit(season) == []


# ------------------------------------------------------------------------------------------- more than two duties

# the day alone: 49 CFR 395.3(a) and 395.5(a)
PROPERTY_DAY = {"at_most": 11, "off_hours": 10, "window_hours": 14, "break_after_hours": 8}
PASSENGERS_DAY = {"at_most": 10, "off_hours": 8, "worked_hours": 15}


def relay(duties: list[float], *legs: tuple[float, float], past: int = 0, **limits: Any) -> Season:
    """Duties of so many hours at sites in a row, hours at the wheel and hours in all between them; nobody goes home."""
    at, spells = datetime(2026, 5, 4), []
    hours = {("shop", f"t{i}"): 99.0 for i in range(1, len(duties))}
    for i, (duty_h, (wheel_h, gap_h)) in enumerate(zip(duties, [*legs, (0.0, 0.0)], strict=True)):
        done = at + timedelta(hours=duty_h)
        spells.append((f"t{i}" if i else "shop", str(at), str(done)))
        hours[f"t{i}" if i else "shop", f"t{i + 1}"] = wheel_h
        at = done + timedelta(hours=gap_h)
    return timetable(spells[past:], past=spells[:past], hours=hours, drives=True, **limits)


RELAYS = [
    # a day goes on over a short duty: 1 + 6 (5 of them driven) + 2 + 5 are the 14 h, half an hour more needs 10 h off
    (PROPERTY_DAY, [1, 2, 1], [(5, 6), (5, 5)], []),
    (PROPERTY_DAY, [1, 2, 1], [(5, 6), (5.5, 5.5)], [(15.5, 5.5)]),
    (PROPERTY_DAY, [1, 3, 1], [(5, 5), (5, 5)], []),  # the same with no hour to wait
    # 6 + 5 h are the 11 at the wheel, within 13.5 h
    (PROPERTY_DAY, [1, 1, 1], [(6, 6), (5, 5)], []),
    (PROPERTY_DAY, [1, 1, 1], [(6, 6), (5.5, 5.5)], [(15.5, 5.5)]),
    # 20 h in 31: 11 and a half hour, 10 off, 9 and a half hour; the 9.5 h, 2.5 of duty and 2 at the wheel are 14
    (PROPERTY_DAY, [0.5, 2.5, 1], [(20, 31), (2, 2)], []),
    (PROPERTY_DAY, [0.5, 3, 1], [(20, 31), (2, 2)], [(12, 2)]),
    (PROPERTY_DAY, [0.5, 2, 1], [(20, 31), (2.5, 2.5)], [(12.5, 2.5)]),
    (PROPERTY_DAY, [0.5, 2.5, 1], [(20, 31.9), (2, 2)], []),  # time to spare makes the 10 h off longer
    (PROPERTY_DAY, [0.5, 1, 1], [(19, 29.5), (3, 3)], []),  # 11 and a half hour, 10 off, 8 in one piece, then 3 more
    # 40 h hold two rests with 8 and 8 h before them, so that 4 are left; 40.5 h a half hour too (8 + 3, 8, 1 left);
    # 41 h two (11, 9, none left)
    (PROPERTY_DAY, [0.5, 1, 1], [(20, 40.4), (10, 10.5)], [(20, 10.5)]),
    (PROPERTY_DAY, [0.5, 1, 1], [(20, 40.5), (10, 10.5)], []),
    (PROPERTY_DAY, [0.5, 1, 1], [(20, 40.9), (10.5, 11)], [(20.5, 11)]),
    (PROPERTY_DAY, [0.5, 1, 1], [(20, 41), (10.5, 11)], []),
    # 32.5 h in 62.7: three rests and the half hour are 63 h; two rests leave 10.5 h (11, 11), so that 2 h need another
    (PROPERTY_DAY, [0.5, 1, 1], [(32.5, 62.7), (2, 2)], [(12, 2)]),
    (PROPERTY_DAY, [15, 1], [(1, 10.5)], [(11, 10.5)]),  # a short way needs the 10 h off, too
    # who had no lawful way begins the next duty rested; who only lacked the half hour has driven the 9 h
    (PROPERTY_DAY, [15, 1, 1], [(3, 12), (9, 9.5)], [(13, 12)]),
    (PROPERTY_DAY, [0.5, 1, 1], [(9, 9.2), (2, 2)], [(9, 8)]),
    (PROPERTY_DAY, [0.5, 1, 1], [(9, 9.2), (2.5, 2.5)], [(9, 8), (12.5, 2.5)]),
    # 395.5(a)(2) counts hours on duty: 8 + 2 + 3 + 2 are the 15, two hours of waiting left out
    (PASSENGERS_DAY, [8, 3, 1], [(2, 4), (2, 2)], []),
    (PASSENGERS_DAY, [8, 3, 1], [(2, 4), (2.5, 2.5)], [(10.5, 2.5)]),
    (PASSENGERS_DAY, [14, 1], [(3, 11)], []),  # 1 h, 8 off, 2 h
    (PASSENGERS_DAY, [14, 1], [(3, 10.75)], [(11, 10.75)]),
    # 10 h, 8 off, 2 h: those 2, 9 of duty and 4 are the 15; 28 h would hold a second rest
    (PASSENGERS_DAY, [0.5, 9, 1], [(12, 27.9), (4, 4)], []),
    (PASSENGERS_DAY, [0.5, 9, 1], [(12, 27.9), (5, 5)], [(13, 5)]),
    (PASSENGERS_DAY, [0.5, 9, 1], [(12, 28), (5, 5)], []),
]


@pytest.mark.parametrize(("rules", "duties", "legs", "expected"), RELAYS)
def test_a_day_at_the_wheel_goes_on_over_duties(
    rules: dict[str, Any], duties: list[float], legs: list[tuple[float, float]], expected: list[tuple[float, float]]
) -> None:
    season = relay(duties, *legs, driving_hours=rules)
    assert by_rules(season) == expected
    assert by_audit(season) == expected


def test_driving_before_the_block_is_not_judged_but_counts() -> None:
    way = ([15, 15, 1], (3, 12), (4, 12))
    assert by_rules(relay(*way, driving_hours=PROPERTY_DAY)) == [(13, 12), (14, 12)]
    assert [breach.race for breach in breaches(relay(*way, driving_hours=PROPERTY_DAY))] == ["r2", "r3"]
    for past, expected in ((1, [(13, 12), (14, 12)]), (2, [(14, 12)])):
        season = relay(*way, past=past, driving_hours=PROPERTY_DAY)
        assert by_rules(season) == by_audit(season) == expected
        assert breaches(season)[0].race == measures(season)[0].race == "r1"
    (breach,), (measure,) = breaches(season), measures(season)
    assert breach.text.startswith(
        "Athlete 1 (a1) drives: 4.0 h at the wheel with 10 h off take 14.0 h, 12.0 h lie between h2 and Race 1 (r1);"
    )
    assert measure.text.startswith(
        "12.0 h between duties of 14.0 h needed for 4.0 h at the wheel: Athlete 1 (a1), before Race 1 (r1);"
    )


def test_a_drive_to_a_duty_of_the_past_is_told_at_the_race_before_it() -> None:
    spells = [("shop", "2026-05-02 06:00", "2026-05-02 21:00"), ("south", "2026-05-03 06:00", "2026-05-03 09:00")]
    season = timetable(spells[:1], past=spells[1:], hours={("shop", "south"): 3.0}, drives=True, **PROPERTY)
    assert by_rules(season) == by_audit(season) == [(13.0, 9.0)]
    assert breaches(season)[0].race == measures(season)[0].race == "r1"


def sixty_hours(*days: int, way_h: float = 1.0, **limits: Any) -> Season:
    """Duties from 07:00 to 19:00 on days of May 2026."""
    spells = [("north", f"2026-05-{day:02} 07:00", f"2026-05-{day:02} 19:00") for day in days]
    return timetable(spells, hours={("north", "shop"): way_h}, drives=True, **limits)


@pytest.mark.parametrize(
    ("season", "expected"),
    [
        # 395.3(c): from Tuesday 20:00, home, to Thursday 06:00 are 34 h off; after 90 minutes of journey each way 33
        (sixty_hours(4, 5, 7, 8, 9, **PROPERTY), []),
        (sixty_hours(4, 5, 7, 8, 9, way_h=1.5, **PROPERTY), [(66.0, 60.0)]),
        (sixty_hours(4, 5, 7, 8, 9, **PASSENGERS), [(64.0, 60.0)]),  # 395.5(b) has no restart
        (sixty_hours(4, 5, 7, 8, 9, **PASSENGERS, driving_hours={"on_duty_hours": 64}), []),  # not beyond
        # 395.5(b)(1): the 7 days to the 10th begin on the 4th, those to the 11th on the 5th; home on the 6th and 9th
        (sixty_hours(4, 5, 7, 8, 10, **PASSENGERS), [(66.0, 60.0)]),
        *((sixty_hours(1, 8, 9, 10, 11, 12, **rules), [(62.0, 60.0)]) for rules in (PASSENGERS, PROPERTY)),
        (sixty_hours(4, 5, 7, 8, 11, **PASSENGERS), []),
        # 395.5(b)(2): 70 h in 8 days
        (sixty_hours(4, 5, 7, 8, 10, 11, preset="49 CFR 395.5(b)(2)"), [(78.0, 70.0)]),
    ],
)
def test_hours_on_duty_in_so_many_days(season: Season, expected: list[tuple[float, float]]) -> None:
    assert by_rules(season) == expected
    assert by_audit(season) == expected


def test_hours_on_duty_count_the_way_that_is_driven() -> None:
    # 3 x 12 h, to a from the shop 1 h, to b 3 h, to c 4 h, home 1 h: nobody goes home in the 12 h of a night
    spells = [(site, f"2026-05-0{day} 07:00", f"2026-05-0{day} 19:00") for day, site in ((4, "a"), (5, "b"), (6, "c"))]
    rules = {"at_most": 11, "on_duty_hours": 40, "days": 7}
    season = timetable(spells, hours={("a", "b"): 3.0, ("b", "c"): 4.0}, drives=True, driving_hours=rules)
    assert by_rules(season) == by_audit(season) == [(45.0, 40.0)]


def test_hours_on_duty_are_told_and_priced() -> None:
    season = sixty_hours(4, 5, 7, 8, 9, preset="49 CFR 395.5", driving_hours={"price_s": 0.5})
    (priced,) = ScheduleRules(season, season.weekends).assess(ANN, tuple(season.races)).priced
    words = "64.0 h on duty and at the wheel of 60 h allowed in"
    assert priced.text.startswith(f"Athlete 1 (a1) drives: {words} the 7 days to Race 5 (r5); the sanctioning body's")
    assert (priced.race, priced.cost_s) == ("r5", 2.0)
    (measure,) = measures(season)
    assert measure.text.startswith(f"{words} 7 days: Athlete 1 (a1), Race 5 (r5); the sanctioning body's")
    assert (measure.athlete, measure.race, measure.cost_s) == (ANN, "r5", 2.0)


def test_figure_limit_and_caution_are_told() -> None:
    season = drive(17, 27.2, **PROPERTY)
    (breach,), (measure,) = breaches(season), measures(season)
    assert "8.5 h at the wheel without a break of 30 min, at most 8; with breaks it takes 27.5 h, 27.2 h" in breach.text
    assert measure.text.startswith(
        "8.5 h at the wheel without a break of 30 min, at most 8; 27.2 h between duties of 27.5"
    )
    for text in (breach.text, measure.text):
        assert "the sanctioning body's and local rules go first; nobody drives tired" in text
    limit = season.limits.by_name["driving_hours"]
    assert limit.source == "49 CFR 395.3(a), (b)(1)"


def test_where_there_is_time_the_audit_says_that_a_break_must_be_planned() -> None:
    seats = tuple(Assignment(race, "c1", "p1", ANN) for race in ("r1", "r2"))
    for wheel, said in (
        (9.0, "8.0 h at the wheel without a break of 30 min, at most 8, a break to be planned"),
        (5.0, "5.0 h at the wheel without a break of 30 min, at most 8: Athlete 1 (a1), before Race 2 (r2); "),
    ):
        season = drive(wheel, 20, **PROPERTY)
        check = audit(season, Plan("best_so_far", seats), season.weekends).check("driving_hours")
        assert check.kept
        assert check.text.startswith(said)
        assert ("to be planned" in check.text) is (wheel > 8)


def test_a_priced_break_costs_by_the_hour() -> None:
    season = drive(9, 9.2, preset="49 CFR 395.3", driving_hours={"price_s": 2.0})
    found = ScheduleRules(season, season.weekends).assess(ANN, tuple(season.races))
    assert found.costs["limit:driving_hours"] == pytest.approx(2.0)  # one hour beyond 8
    assert sum(m.cost_s or 0.0 for m in measures(season)) == pytest.approx(2.0)


def test_rules_and_audit_find_the_same_on_random_timetables() -> None:
    rng, breaks = random.Random(3), 0
    for number in range(250):
        at, spells = datetime(2026, 5, 2, 6), []
        ways = {("shop", site): rng.uniform(1, 25) for site in ("t1", "t2", "t3")}
        ways |= {pair: rng.uniform(1, 25) for pair in (("t1", "t2"), ("t2", "t3"), ("t1", "t3"))}
        site = "shop"
        for stop in ("t1", "t2", "t3", "t1"):
            way = ways.get((site, stop)) or ways.get((stop, site)) or 0.0
            at += timedelta(hours=round(way + rng.choice([0.1, 0.4, 0.6, 10.2, 10.6, 21.0]), 2))
            done = at + timedelta(hours=rng.choice([2, 5, 9, 13]))
            spells.append((stop, str(at), str(done)))
            at, site = done, stop
        preset = "49 CFR 395.5(b)(2)" if number % 5 == 0 else "49 CFR 395.3(b)(2)"
        season = timetable(spells, hours=ways, drives=True, preset=preset)
        ours, theirs = np.array(sorted(by_rules(season))), np.array(sorted(by_audit(season)))
        assert ours.shape == theirs.shape
        assert ours == pytest.approx(theirs, abs=2e-4)
        breaks += sum(limit == 8 for _, limit in by_rules(season))
    assert breaks >= 20


# ------------------------------------------------------------------------------------------ half hour by half hour


def least_hours(duty_h: float, wheel_h: float) -> dict[float, float]:
    """Hours in which 0.5, 1, … h are driven after a duty, by 49 CFR 395.3(a) alone: each half hour driven or off."""
    found: dict[float, float] = {}
    # driven in all; driven since 10 h off; since coming on duty; driven since a break; off in a row
    states, slots = {(0, 0, round(duty_h * SLOTS), 0, 0)}, 0
    while len(found) < wheel_h * SLOTS:
        later = set()
        for done, driven, elapsed, unbroken, off in states:
            if driven < 11 * SLOTS and elapsed < 14 * SLOTS and unbroken < 8 * SLOTS:
                later.add((done + 1, driven + 1, elapsed + 1, unbroken + 1, 0))
            more = min(off + 1, 10 * SLOTS)
            on = (0, 0) if more == 10 * SLOTS else (driven, min(elapsed + 1, 14 * SLOTS))
            later.add((done, *on, 0, more))
        states, slots = later, slots + 1
        for done in {state[0] for state in states if state[0] and state[0] / SLOTS not in found}:
            found[done / SLOTS] = slots / SLOTS
    return found


@pytest.mark.parametrize("duty_h", [0.5, 4.0, 15.0])
def test_hours_needed_are_those_of_a_search_by_half_hours(duty_h: float) -> None:
    limit = limits_of(**PROPERTY).by_name["driving_hours"]
    for wheel_h, hours in least_hours(duty_h, 17.0).items():
        assert needed_h(limit, wheel_h, Spell().then(0.0, 0.0, duty_h)) == hours


def needed_h(limit: Limit, wheel_h: float, spell: Spell) -> float:
    assert limit.driving is not None
    assert limit.at_most is not None
    road = Road(wheel_h, math.inf, limit.at_most, limit.driving)
    return road.needed_h(spell, limit.driving.break_after_hours or math.inf)
