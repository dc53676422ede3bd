"""What an athlete's schedule breaks and costs, on timetables worked by hand."""

from __future__ import annotations

import random
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import numpy as np
import pytest
from scipy.optimize import Bounds, LinearConstraint, milp

from lineup.rules import Assessment, Breach, ScheduleRules, Window, schedule
from lineup.rules.timeline import Journeys, block_duty
from lineup.season import Season, Weights
from tests.timetables import ANN, Spell, timetable

DIRECTIVE = {"preset": "2003/88/EC"}


NIGHT = ("2026-05-01 10:00", "2026-05-01 23:00")


def assess(season: Season, *races: str, reserve: tuple[str, ...] = ()) -> Assessment:
    return ScheduleRules(season, season.weekends).assess(ANN, races or tuple(season.races), reserve)


def told(season: Season, *races: str, reserve: tuple[str, ...] = ()) -> list[tuple[str | None, str]]:
    """Race and words of each breach, the athlete's name left out."""
    breaches = assess(season, *races, reserve=reserve).breaches
    return [(breach.race, breach.text.removeprefix("Athlete 1 (a1): ")) for breach in breaches]


def broken(season: Season, *races: str, reserve: tuple[str, ...] = ()) -> dict[str, tuple[float, float]]:
    """Figure and limit of the first breach of each rule."""
    found: dict[str, tuple[float, float]] = {}
    for breach in assess(season, *races, reserve=reserve).breaches:
        found.setdefault(breach.rule, (round(breach.figure, 6), breach.limit))
    return found


# ------------------------------------------------------------------------------------------- two places, daily rest


def test_duties_that_overlap_are_two_seats() -> None:
    season = timetable(
        [("north", "2026-05-02 08:00", "2026-05-02 18:00"), ("north", "2026-05-02 17:00", "2026-05-02 22:00")]
    )
    (breach,) = assess(season).breaches
    assert breach.rule == "one_seat"
    assert breach.text == "Athlete 1 (a1): Race 1 (r1) and Race 2 (r2) overlap by 1.0 h"


def test_a_journey_that_does_not_fit_is_two_places_at_once() -> None:
    spells = [("north", "2026-05-02 08:00", "2026-05-02 12:00"), ("south", "2026-05-02 15:00", "2026-05-02 20:00")]
    assert broken(timetable(spells, hours={("north", "south"): 3.0})) == {}
    assert broken(timetable(spells, hours={("north", "south"): 3.5})) == {"one_seat": (3.0, 3.5)}


def test_two_places_are_told_with_what_lies_between() -> None:
    spells = [("north", "2026-05-02 08:00", "2026-05-02 12:00"), ("south", "2026-05-02 12:00", "2026-05-02 20:00")]
    assert told(timetable(spells)) == [("r2", "0.0 h from Race 1 (r1) to Race 2 (r2), the journey takes 1.0 h")]


def test_a_long_duty_clashes_with_all_that_begins_before_it_ends() -> None:
    long = ("north", "2026-05-02 08:00", "2026-05-02 22:00")
    inside = [("north", "2026-05-02 09:00", "2026-05-02 10:00"), ("north", "2026-05-02 20:00", "2026-05-02 21:00")]
    overlaps = ["Race 1 (r1) and Race 2 (r2) overlap by 13.0 h", "Race 1 (r1) and Race 3 (r3) overlap by 2.0 h"]
    assert told(timetable([long, *inside])) == [("r2", overlaps[0]), ("r3", overlaps[1])]
    # of two that end together the later one is left from last: r3 at its site is half an hour away from nothing else
    ends = [long, ("south", "2026-05-02 09:00", "2026-05-02 22:00"), ("south", "2026-05-02 22:30", "2026-05-02 23:00")]
    assert [race for race, _ in told(timetable(ends))] == ["r2"]


def test_only_duties_of_the_block_are_in_two_places() -> None:
    past = [("north", "2026-05-02 08:00", "2026-05-02 12:00"), ("south", "2026-05-02 11:00", "2026-05-02 18:00")]
    free, busy = (("north", f"2026-05-02 {h}:00", "2026-05-02 23:00") for h in (19, 17))
    assert told(timetable([free], past=past)) == []
    assert told(timetable([busy], past=past)) == [("r1", "h2 and Race 1 (r1) overlap by 1.0 h")]
    first = ("north", "2026-05-02 06:00", "2026-05-02 09:00")
    assert told(timetable([first], past=past)) == [("r1", "Race 1 (r1) and h1 overlap by 1.0 h")]


def test_the_past_is_that_of_the_athlete_and_of_races_not_planned_now() -> None:
    season = timetable([("north", "2026-05-02 08:00", "2026-05-02 18:00")], past=[("north", *NIGHT)], rest_hours=11)
    (own,) = season.worked
    assert broken(season) == {"rest_hours": (9.0, 11.0)}
    assert broken(season.replace(worked=(replace(own, athlete="a2"),))) == {}
    again = timetable([("north", *NIGHT), ("north", "2026-05-02 08:00", "2026-05-02 18:00")], rest_hours=11)
    again = again.replace(worked=(replace(own, race="r1"),))  # planned now, and he does not work it
    assert broken(again, "r2") == {}


def test_who_starts_does_not_travel_there_as_reserve() -> None:
    season = timetable([("north", "2026-05-02 08:00", "2026-05-02 18:00")])
    (breach,) = assess(season, "r1", reserve=("r1",)).breaches
    assert breach.text == "Athlete 1 (a1) both starts and travels as a reserve at Race 1 (r1)"


def test_eleven_hours_of_rest_between_two_days() -> None:
    # Directive 2003/88/EC art. 3: 11 consecutive hours. Released 21:00, report 08:00: 11 h, kept; 07:59: broken.
    first = ("north", "2026-05-02 08:00", "2026-05-02 21:00")
    assert broken(timetable([first, ("north", "2026-05-03 08:00", "2026-05-03 18:00")], **DIRECTIVE)) == {}
    late = timetable([first, ("north", "2026-05-03 07:45", "2026-05-03 18:00")], **DIRECTIVE)
    assert broken(late) == {"rest_hours": (10.75, 11.0)}
    (breach,) = assess(late).breaches
    assert breach.text == "Athlete 1 (a1): 10.8 h of rest of 11 h needed between Race 1 (r1) and Race 2 (r2)"
    assert (breach.athlete, breach.race, breach.cost_s) == (ANN, "r2", None)


def test_the_journey_between_sites_is_no_rest() -> None:
    spells = [("north", "2026-05-02 08:00", "2026-05-02 18:00"), ("south", "2026-05-03 08:00", "2026-05-03 18:00")]
    assert broken(timetable(spells, hours={("north", "south"): 3.0}, **DIRECTIVE)) == {}  # 14 - 3 = 11
    assert broken(timetable(spells, hours={("north", "south"): 3.5}, **DIRECTIVE)) == {"rest_hours": (10.5, 11.0)}
    stays = {("north", "south"): 3.5, ("north", "shop"): 9.0, ("shop", "south"): 9.0}  # home is too far
    assert broken(timetable(spells, hours=stays, **DIRECTIVE)) == {"rest_hours": (10.5, 11.0)}


@pytest.mark.parametrize(
    ("day", "next_day", "rest"), [("2026-03-07", "2026-03-08", 9.0), ("2026-06-06", "2026-06-07", 10.0)]
)
def test_a_night_across_the_clock_change_is_an_hour_shorter(day: str, next_day: str, rest: float) -> None:
    # IANA time zone database: New York's clocks go from 02:00 to 03:00 on 2026-03-08.
    season = timetable(
        [("north", f"{day} 12:00", f"{day} 22:00"), ("north", f"{next_day} 08:00", f"{next_day} 18:00")],
        rest_hours=10.5,
    )
    assert broken(season) == {"rest_hours": (rest, 10.5)}


def test_a_night_across_time_zones_is_counted_in_elapsed_hours() -> None:
    # Released 20:00 in New York is 17:00 in Los Angeles: 15 h to an 08:00 report there, 9 h after a 6 h flight.
    season = timetable(
        [("north", "2026-06-06 10:00", "2026-06-06 20:00"), ("west", "2026-06-07 08:00", "2026-06-07 18:00")],
        zones={"west": "America/Los_Angeles"},
        hours={("north", "west"): 6.0},
        rest_hours=11,
    )
    assert broken(season) == {"rest_hours": (9.0, 11.0)}


def test_two_races_of_a_day_at_a_site_are_one_duty() -> None:
    spells = [("north", "2026-05-02 08:00", "2026-05-02 13:00"), ("north", "2026-05-02 15:00", "2026-05-02 21:00")]
    season = timetable(spells, duty_hours=12, **DIRECTIVE)
    assert broken(season) == {"duty_hours": (13.0, 12.0)}  # 08:00 to 21:00, no rest rule in between
    assert (
        assess(season).breaches[0].text
        == "Athlete 1 (a1): 13.0 h on duty of 12 h allowed at Race 1 (r1) and Race 2 (r2)"
    )
    assert broken(season, "r1") == broken(season, "r2") == {}
    assert broken(timetable(spells, duty_hours=13)) == {}


def test_rest_after_two_races_counts_from_the_last_release() -> None:
    spells = [
        ("north", "2026-05-02 08:00", "2026-05-02 13:00"),
        ("north", "2026-05-02 15:00", "2026-05-02 22:00"),
        ("north", "2026-05-03 08:00", "2026-05-03 18:00"),
    ]
    assert broken(timetable(spells, **DIRECTIVE)) == {"rest_hours": (10.0, 11.0)}


def test_history_counts_for_rest_but_is_not_judged() -> None:
    night = ("north", "2026-05-01 10:00", "2026-05-01 23:00")
    short = ("north", "2026-05-02 01:00", "2026-05-02 02:00")
    past = timetable([("north", "2026-05-02 09:00", "2026-05-02 18:00")], past=[night], rest_hours=11)
    assert broken(past) == {"rest_hours": (10.0, 11.0)}
    later = timetable([("north", "2026-05-09 09:00", "2026-05-09 18:00")], past=[night, short], rest_hours=11)
    assert broken(later) == {}
    soon = timetable([("north", "2026-05-02 11:00", "2026-05-02 18:00")], past=[short, night], rest_hours=11)
    assert told(soon) == [("r1", "2.0 h of rest of 11 h needed between h2 and h1")]  # h1 and r1 are one day
    before = timetable([("north", "2026-04-30 20:00", "2026-05-01 01:00")], past=[night], rest_hours=11)
    assert told(before) == [("r1", "9.0 h of rest of 11 h needed between Race 1 (r1) and h1")]
    two = [("north", "2026-04-29 10:00", "2026-04-29 20:00"), night]
    assert told(timetable([("north", "2026-05-02 09:00", "2026-05-02 18:00")], past=two, rest_hours=11)) == [
        ("r1", "10.0 h of rest of 11 h needed between h2 and Race 1 (r1)")
    ]


def test_duties_that_overlap_leave_no_rest() -> None:
    spells = [("north", "2026-05-02 08:00", "2026-05-02 18:00"), ("south", "2026-05-02 17:00", "2026-05-02 22:00")]
    assert broken(timetable(spells, rest_hours=0.5)) == {"one_seat": (-1.0, 1.0), "rest_hours": (0.0, 0.5)}


def test_a_day_that_began_before_the_block_is_judged_with_it() -> None:
    morning, evening = ("2026-05-02 08:00", "2026-05-02 12:00"), ("2026-05-02 13:00", "2026-05-02 21:00")
    limits: dict[str, Any] = {"duty_hours": 12, "rest_hours": 11}
    first, last = ("north", *morning), ("north", *evening)
    long = timetable([last], past=[first, ("north", *NIGHT)], **limits)
    assert told(long) == [
        ("r1", "13.0 h on duty of 12 h allowed at h1 and Race 1 (r1)"),
        ("r1", "9.0 h of rest of 11 h needed between h2 and h1"),
    ]
    assert told(timetable([first], past=[last], **limits)) == [
        ("r1", "13.0 h on duty of 12 h allowed at Race 1 (r1) and h1")
    ]
    priced = timetable([first, last], duty_hours={"at_most": 12, "price_s": 2.0})
    assert assess(priced).costs == {"limit:duty_hours": 2.0}


# ----------------------------------------------------------------------------------------------- weekly rest


def week_of_duties(*hours_off: tuple[int, int]) -> list[Spell]:
    """Duties 09:00-19:00 from Monday 2026-05-04, on the days (0: Monday) given with their release hour."""
    monday = date(2026, 5, 4)
    return [("north", f"{monday + timedelta(d)} 09:00", f"{monday + timedelta(d)} {hour}:00") for d, hour in hours_off]


def test_weekly_rest_of_35_hours_by_hand() -> None:
    # Art. 5: 24 h plus the 11 h of art. 3. Duties Monday to Saturday, released 19:00, journeys of 1 h (away from
    # home all week): Saturday 19:00 to Monday 00:00, less the hour home, is 28 h.
    six = timetable(week_of_duties(*((d, 19) for d in range(6))), **DIRECTIVE, journeys={"home_rest_h": 48})
    assert broken(six) == {"weekly_rest_hours": (28.0, 35.0)}
    assert "longest rest of the week from 4 May 2026 is 28.0 h of 35 h needed" in assess(six).breaches[0].text
    # Five days: Friday 19:00 to Monday 00:00 less 1 h is 52 h. Case C-306/16: it may lie anywhere in the week.
    assert broken(timetable(week_of_duties(*((d, 19) for d in range(5))), **DIRECTIVE)) == {}
    gap = timetable(week_of_duties((0, 19), (1, 19), (4, 19), (5, 19), (6, 19)), **DIRECTIVE)
    assert broken(gap) == {}  # Tuesday 20:00 (home) to Friday 08:00


def test_weekly_rest_is_clipped_to_the_week_on_the_home_clock() -> None:
    # Duties until Saturday 13:00 and again on Monday: the rest is long, but only 34 h of it lie inside the first week.
    duties = [*week_of_duties(*((d, 19) for d in range(5))), ("shop", "2026-05-09 09:00", "2026-05-09 13:00")]
    assert broken(timetable(duties, **DIRECTIVE)) == {}
    duties[-1] = ("shop", "2026-05-09 09:00", "2026-05-09 14:00")
    assert broken(timetable(duties, **DIRECTIVE)) == {"weekly_rest_hours": (34.0, 35.0)}
    # a home one zone further west: its Monday begins an hour later, and the rest is 35 h again
    season = timetable(duties, zones={"home": "America/Chicago"}, **DIRECTIVE)
    ann = season.athletes[ANN]
    assert broken(season.replace(athletes=season.athletes | {ANN: type(ann)(ANN, ann.name, "home")})) != {}
    stay = {("home", "shop"): 0.0, ("home", "north"): 1.0}
    west = timetable(duties, zones={"home": "America/Chicago"}, hours=stay, **DIRECTIVE)
    assert broken(west.replace(athletes=west.athletes | {ANN: type(ann)(ANN, ann.name, "home")})) == {}


def test_a_week_with_a_clock_change_has_an_hour_less() -> None:
    # New York, Monday 2026-03-02 to Sunday 2026-03-08: Saturday 13:00 to Monday 00:00 is 34 h instead of 35.
    days = [("shop", f"2026-03-0{d} 09:00", f"2026-03-0{d} 19:00") for d in range(2, 7)]
    season = timetable([*days, ("shop", "2026-03-07 09:00", "2026-03-07 13:00")], **DIRECTIVE)
    assert broken(season) == {"weekly_rest_hours": (34.0, 35.0)}


def test_a_journey_alone_touches_a_week() -> None:
    # weeks 18 and 19 of 2026 meet on Monday 4 May: home half an hour into it, or on the way half an hour before
    spells = [("north", "2026-05-03 12:00", "2026-05-03 23:30"), ("north", "2026-05-04 00:30", "2026-05-04 10:00")]
    season = timetable(spells, weekly_rest_hours=168)
    words = "longest rest of the week from {} 2026 is {} h of 168 h needed"
    assert told(season, "r1") == [("r1", words.format("27 Apr", "155.0")), ("r1", words.format("4 May", "167.5"))]
    assert told(season, "r2") == [("r2", words.format("27 Apr", "167.5")), ("r2", words.format("4 May", "157.0"))]
    priced = timetable(spells, weekly_rest_hours={"at_least": 168, "price_s": 2.0})
    assert assess(priced, "r1").costs == {"limit:weekly_rest_hours": 2.0 * (13.0 + 0.5)}
    at_home = ("shop", "2026-05-13 08:00", "2026-05-13 18:00")  # no journey, and the one before it is still told
    assert told(timetable([*spells, at_home], weekly_rest_hours=168), "r1", "r3") == [
        ("r1", words.format("27 Apr", "155.0")),
        ("r1", words.format("4 May", "167.5")),
        ("r3", words.format("11 May", "102.0")),
    ]
    # a window of days is touched by the duty alone: home half an hour into the 3rd, which is not told
    day = timetable([("north", "2026-05-02 12:00", "2026-05-02 23:30")], rolling_rest_hours={"at_least": 24, "days": 1})
    assert told(day) == [("r1", "longest rest from 2 May 2026 to 2 May 2026 is 11.0 h of 24 h needed")]


def test_days_of_rolling_rest_are_those_of_home() -> None:
    # IANA time zone database: in May 2026 Auckland is 19 h ahead of Los Angeles. Saturday 12:00 to Sunday 06:00 there
    # is Sunday 07:00 to Monday 01:00 at home; Saturday 06:00 to 12:00 in Auckland is Friday 11:00 to 17:00 at home.
    zones = {"shop": "Pacific/Auckland", "west": "America/Los_Angeles"}
    limits: dict[str, Any] = {"hours": {("shop", "west"): 0.0}, "rolling_rest_hours": {"at_least": 24, "days": 1}}
    east = timetable([("west", "2026-05-02 12:00", "2026-05-03 06:00")], zones=zones, **limits)
    words = "longest rest from {0} 2026 to {0} 2026 is {1} h of 24 h needed"
    assert told(east) == [("r1", words.format("3 May", "7.0")), ("r1", words.format("4 May", "23.0"))]
    zones = {"shop": "America/Los_Angeles", "west": "Pacific/Auckland"}
    back = timetable([("west", "2026-05-02 06:00", "2026-05-02 12:00")], zones=zones, **limits)
    assert told(back) == [("r1", words.format("1 May", "11.0"))]


def test_a_duty_touches_the_days_it_is_on_and_no_other() -> None:
    whole = [("shop", "2026-05-02 00:00", "2026-05-03 00:00")]
    words = "longest rest from {} May 2026 to {} May 2026 is {} h of {} h needed"
    one = timetable(whole, rolling_rest_hours={"at_least": 25, "days": 1})  # even a free day would be told
    assert told(one) == [("r1", words.format(2, 2, "0.0", 25))]
    two = timetable(whole, rolling_rest_hours={"at_least": 25, "days": 2, "price_s": 0.5})
    assert [breach.text for breach in assess(two).priced] == [
        f"Athlete 1 (a1): {words.format(a, a + 1, '24.0', 25)}" for a in (1, 2)
    ]
    assert assess(two).costs == {"limit:rolling_rest_hours": 0.5 * 2}


@pytest.mark.parametrize("past", [(), (19,)])
def test_who_works_nothing_breaks_nothing(past: tuple[int, ...]) -> None:
    rest: dict[str, Any] = {"rest_hours": 999, "weekly_rest_hours": 999}
    windows: dict[str, Any] = {"rolling_rest_hours": {"at_least": 999, "days": 7}}
    windows |= {name: {"at_most": 0, "days": 7} for name in ("nights_away_in_days", "travel_hours_in_days")}
    season = timetable(weekends(20), past=weekends(*past), drives=True, **rest, **windows, **PROPERTY)
    assert ScheduleRules(season, season.weekends).assess(ANN, ()) == Assessment()


def test_rolling_rest_is_stricter_than_weekly_rest() -> None:
    # Free Monday and Tuesday, then Wednesday to Sunday, Monday to Friday: each ISO week has its rest (Monday to
    # Wednesday 09:00; Friday evening to Sunday), but Wednesday to Tuesday holds none.
    first = week_of_duties(*((d, 19) for d in range(2, 7)))
    second = [
        ("north", f"{date(2026, 5, 11) + timedelta(d)} 09:00", f"{date(2026, 5, 11) + timedelta(d)} 19:00")
        for d in range(5)
    ]
    assert broken(timetable([*first, *second], **DIRECTIVE)) == {}
    rolling = broken(timetable([*first, *second], rolling_rest_hours={"at_least": 35, "days": 7}))
    assert set(rolling) == {"rolling_rest_hours"}
    # four days in a row leave three free: any seven days hold 24 h of one free day and 11 h of the next
    assert broken(timetable(first[:4], rolling_rest_hours={"at_least": 35, "days": 7})) == {}


def longest_rest_by_milp(busy: list[tuple[float, float]], start: float, end: float) -> float:
    """Longest rest in a window by an independent solver: place [s, s + rest] beside every busy spell (big-M)."""
    spells = [(a, b) for a, b in busy if b > start and a < end]
    n, big = len(spells), 1000.0
    rows, low = [], []
    for i, (a, b) in enumerate(spells):  # before: s + rest <= a + M y;  after: s >= b - M (1 - y)
        before, after = np.zeros(2 + n), np.zeros(2 + n)
        before[[0, 1]], before[2 + i] = -1.0, big
        after[0], after[2 + i] = 1.0, -big
        rows += [before, after]
        low += [-a, b - big]
    window = np.zeros(2 + n)
    window[[0, 1]] = -1.0
    rows.append(window)
    low.append(-end)
    answer = milp(
        np.array([0.0, -1.0, *np.zeros(n)]),
        constraints=LinearConstraint(np.array(rows), low, np.inf),
        bounds=Bounds(np.array([start, 0.0, *np.zeros(n)]), np.array([end, end - start, *np.ones(n)])),
        integrality=np.array([0, 0, *np.ones(n)]),
    )
    return float(-answer.fun)


@pytest.mark.parametrize("seed", range(12))
def test_weekly_rest_agrees_with_an_independent_solver(seed: int) -> None:
    rng = random.Random(seed)
    days = sorted(rng.sample(range(7), rng.randint(4, 7)))
    spells = []
    for d in days:
        begin, long = rng.randint(5, 12), rng.randint(4, 11)
        day = date(2026, 5, 4) + timedelta(d)
        spells.append((rng.choice(["north", "shop"]), f"{day} {begin:02d}:00", f"{day} {begin + long:02d}:00"))
    season = timetable(spells, weekly_rest_hours=167, journeys={"home_rest_h": 10, "night_away_h": 3})
    # journeys of 1 h: home between two days when 2 h of travel are at most 3 h for a night away, and 12 h are free
    busy = []
    for (site, report, released), d in zip(spells, days, strict=True):
        begin, end = (24 * d + int(clock[11:13]) for clock in (report, released))
        busy.append((begin - (site != "shop"), end + (site != "shop")))
        if site != "shop" and len(busy) > 1 and spells[len(busy) - 2][0] != "shop":
            earlier = 24 * days[len(busy) - 2] + int(spells[len(busy) - 2][2][11:13])
            if begin - earlier - 2 < 10:  # not home: no journeys between
                busy[-2] = (busy[-2][0], earlier)
                busy[-1] = (begin, end + 1)
    expected = longest_rest_by_milp(busy, 0.0, 168.0)
    assert broken(season)["weekly_rest_hours"][0] == pytest.approx(expected, abs=1e-4)


# --------------------------------------------------------------------------------------------------- counts


def weekends(*numbers: int) -> list[Spell]:
    """A Sunday race in each ISO week of 2026 given."""
    days = [date.fromisocalendar(2026, number, 7) for number in numbers]
    return [("north", f"{day} 08:00", f"{day} 18:00") for day in days]


# 9 h each way: from Saturday 23:00 to Monday 03:00, and home in between, since a week of nights away would be dearer
FAR: dict[str, Any] = {"hours": {("north", "shop"): 9.0}, "journeys": {"night_away_h": 6.0}}


def test_weekends_in_a_row_with_history_and_a_week_off() -> None:
    season = timetable(weekends(20, 21, 22, 24), past=weekends(18, 19), weekends_in_a_row=3)
    assert broken(season) == {"weekends_in_a_row": (4.0, 3.0)}  # weeks 18, 19, 20, 21, 22
    assert [breach.race for breach in assess(season).breaches] == ["r2", "r3"]
    assert broken(season, "r1", "r3", "r4") == {}


def test_each_weekend_beyond_costs() -> None:
    season = timetable(weekends(20, 21, 22, 23, 24), weekends_in_a_row={"at_most": 3, "price_s": 4.0})
    answer = assess(season)
    assert answer.breaches == ()
    assert answer.costs == {"limit:weekends_in_a_row": 8.0}
    assert [(p.race, p.figure, p.cost_s) for p in answer.priced] == [("r4", 4, 4.0), ("r5", 5, 4.0)]


def test_new_year_does_not_end_a_run() -> None:
    # ISO 8601: 2026 has 53 weeks; week 1 of 2027 follows week 53 of 2026.
    days = [date.fromisocalendar(2026, 53, 7), date.fromisocalendar(2027, 1, 7)]
    season = timetable([("north", f"{d} 08:00", f"{d} 18:00") for d in days], weekends_in_a_row=1)
    assert broken(season) == {"weekends_in_a_row": (2.0, 1.0)}


def test_races_per_weekend_and_in_days() -> None:
    saturday = [
        ("north", f"{date.fromisocalendar(2026, w, 6)} 08:00", f"{date.fromisocalendar(2026, w, 6)} 18:00")
        for w in (20, 21)
    ]
    spells = sorted([*saturday, *weekends(20, 21)], key=lambda spell: spell[1])
    assert broken(timetable(spells, races_per_weekend=1)) == {"races_per_weekend": (2.0, 1.0)}
    window = timetable(spells, races_in_days={"at_most": 2, "days": 8}, past=weekends(19))
    # in the 8 days to Sunday of week 20: Sunday of week 19, Saturday, Sunday
    assert broken(window) == {"races_in_days": (3.0, 2.0)}
    assert [b.race for b in assess(window).breaches] == ["r2", "r3", "r4"]
    priced = timetable(spells, races_in_days={"at_most": 2, "days": 9, "price_s": 1.5})
    assert assess(priced).costs == {"limit:races_in_days": 1.5 * 3}  # one beyond at r3, two at r4


def test_a_week_runs_from_monday_to_sunday() -> None:
    # ISO 8601; 2026-05-10 is the Sunday of week 19
    def two(one: str, other: str) -> Season:
        return timetable([("north", f"{day} 08:00", f"{day} 18:00") for day in (one, other)], races_per_weekend=1)

    assert told(two("2026-05-04", "2026-05-10")) == [("r2", "2 races of 1 allowed in the weekend of Race 2 (r2)")]
    assert told(two("2026-05-10", "2026-05-11")) == []


def test_races_of_a_weekend_that_has_begun() -> None:
    days = [("north", f"2026-05-{day:02} 08:00", f"2026-05-{day:02} 18:00") for day in (8, 9, 10, 17)]
    season = timetable(days[1:], past=[days[0]], races_per_weekend={"at_most": 1, "price_s": 2.0})
    assert [(b.race, b.figure, b.cost_s) for b in assess(season).priced] == [("r2", 3, 4.0)]
    assert told(timetable([days[3]], past=days[:3], races_per_weekend=1)) == []  # over before the block


def test_counts_are_told_in_words() -> None:
    season = timetable(
        weekends(20, 21),
        **FAR,
        weekends_in_a_row=1,
        races_in_days={"at_most": 1, "days": 8},
        nights_away_in_days={"at_most": 3, "days": 9},
        travel_hours_in_days={"at_most": 20.5, "days": 8},
        starts=1,
    )
    assert told(season) == [
        ("r2", "2 weekends in a row of 1 allowed with Race 2 (r2)"),
        ("r2", "2 races of 1 allowed in the 8 days to 24 May 2026"),
        ("r2", "4 nights away of 3 allowed in the 9 days to 24 May 2026"),
        ("r2", "36 h of travel of 20.5 allowed in the 8 days to 24 May 2026"),
        ("r2", "2 starts of at most 1 in the block"),
    ]
    few = timetable(weekends(20, 21), starts={"at_least": 2})
    assert told(few, "r1") == [("r1", "1 start of at least 2 in the block")]


def test_a_window_of_days_ends_with_the_duty() -> None:
    # two Sundays, nights of Saturday and Sunday each
    def within(days: int) -> dict[str, list[float]]:
        windows: dict[str, Any] = {
            name: {"at_most": 0, "days": days, "price_s": 1.0}
            for name in ("races_in_days", "nights_away_in_days", "travel_hours_in_days")
        }
        figures: dict[str, list[float]] = {}
        for found in assess(timetable(weekends(20, 21), **FAR, **windows)).priced:
            figures.setdefault(found.rule, []).append(found.figure)
        return figures

    races, nights_away, travel = "races_in_days", "nights_away_in_days", "travel_hours_in_days"
    assert within(1) == {races: [1, 1], nights_away: [1, 1], travel: [18, 18]}
    assert within(7) == {races: [1, 1], nights_away: [2, 2], travel: [18, 18]}
    assert within(8) == {races: [1, 2], nights_away: [2, 3], travel: [18, 36]}
    assert within(9) == {races: [1, 2], nights_away: [2, 4], travel: [18, 36]}


def test_nights_before_the_block_count() -> None:
    season = timetable(weekends(20), past=weekends(19), **FAR, nights_away_in_days={"at_most": 2, "days": 9})
    assert told(season) == [("r1", "4 nights away of 2 allowed in the 9 days to 17 May 2026")]


def test_a_priced_number_of_starts() -> None:
    season = timetable(weekends(20, 21, 22), starts={"at_most": 1, "price_s": 3.0})
    assert [assess(season, *races).costs for races in (("r1",), ("r1", "r2", "r3"))] == [{}, {"limit:starts": 6.0}]


def test_starts_in_the_block() -> None:
    spells = weekends(20, 21, 22)
    assert broken(timetable(spells, starts=2)) == {"starts": (3.0, 2.0)}
    least = timetable(spells, starts={"at_least": 2})
    rules = ScheduleRules(least, least.weekends)
    short = [(b.rule, b.race, b.figure, b.limit) for b in rules.assess(ANN, ()).breaches]
    assert short == [("starts", None, 0, 2.0)]
    assert [(b.race, b.figure, b.limit) for b in rules.assess(ANN, ("r2",)).breaches] == [("r2", 1, 2.0)]
    assert rules.assess(ANN, ("r1", "r2")).breaches == ()
    nobody = least.replace(clearances=tuple(c for c in least.clearances if c.athlete != ANN))
    assert ScheduleRules(nobody, nobody.weekends).assess(ANN, ()).breaches == ()


# --------------------------------------------------------------------------------------------- nights and travel


def nights(season: Season, *races: str) -> float:
    """Nights away by the last race: what a limit of none sees."""
    answer = assess(season, *races)
    return max((p.figure for p in answer.priced if p.rule == "nights_away_in_days"), default=0.0)


NONE_ALLOWED: dict[str, Any] = {"nights_away_in_days": {"at_most": 0, "days": 28, "price_s": 1.0}}


def test_nights_away_are_midnights_between_leaving_and_coming_home() -> None:
    day = ("north", "2026-05-02 08:00", "2026-05-02 18:00")
    assert nights(timetable([day], **NONE_ALLOWED)) == 0  # leaves 07:00, back 19:00
    assert nights(timetable([day], hours={("north", "shop"): 9.0}, **NONE_ALLOWED)) == 2  # Friday 23:00 to Sunday 03:00
    late = ("north", "2026-05-02 16:00", "2026-05-03 00:30")
    assert nights(timetable([late], **NONE_ALLOWED)) == 1  # home at 01:30
    assert nights(timetable([("shop", *late[1:])], **NONE_ALLOWED)) == 0  # at home


def test_between_two_races_home_or_near_whichever_is_cheaper() -> None:
    # Saturday 18:00 to Sunday 14:00 is 20 h. Home takes 2 x 2 h and leaves 16 h; staying costs a night (3 h).
    spells = [("north", "2026-05-02 08:00", "2026-05-02 18:00"), ("north", "2026-05-03 14:00", "2026-05-03 20:00")]
    far = timetable(spells, hours={("north", "shop"): 2.0}, **NONE_ALLOWED)
    assert (assess(far).travel_h, nights(far)) == (4.0, 1)  # 4 h > 3 h: stays
    near = timetable(spells, hours={("north", "shop"): 1.5}, **NONE_ALLOWED)
    assert (assess(near).travel_h, nights(near)) == (6.0, 0)  # 3 h is not more than 3 h: home
    dear = timetable(spells, hours={("north", "shop"): 2.0}, journeys={"night_away_h": 5.0}, **NONE_ALLOWED)
    assert (assess(dear).travel_h, nights(dear)) == (8.0, 0)
    just = timetable(spells, hours={("north", "shop"): 1.5}, journeys={"home_rest_h": 17.0}, **NONE_ALLOWED)
    assert (assess(just).travel_h, nights(just)) == (6.0, 0)  # 17 h at home
    tight = timetable(spells, hours={("north", "shop"): 1.5}, journeys={"home_rest_h": 17.5}, **NONE_ALLOWED)
    assert (assess(tight).travel_h, nights(tight)) == (3.0, 1)  # 17 h at home are too few


def test_a_week_between_two_sites_is_spent_at_home() -> None:
    hours = {("north", "shop"): 3.0, ("shop", "south"): 4.0, ("north", "south"): 1.0}
    spells = [("north", "2026-05-02 08:00", "2026-05-02 18:00"), ("south", "2026-05-09 08:00", "2026-05-09 18:00")]
    assert assess(timetable(spells, hours=hours)).travel_h == 3 + 3 + 4 + 4
    next_day = [spells[0], ("south", "2026-05-03 08:00", "2026-05-03 18:00")]
    assert assess(timetable(next_day, hours=hours)).travel_h == 3 + 1 + 4


def test_travel_hours_cost_and_have_a_window() -> None:
    season = timetable(
        weekends(20, 21, 22), hours={("north", "shop"): 3.0}, travel_hours_in_days={"at_most": 10, "days": 14}
    )
    assert broken(season) == {"travel_hours_in_days": (12.0, 10.0)}
    assert [b.race for b in assess(season).breaches] == ["r2", "r3"]
    priced = season.replace(weights=type(season.weights)(travel_hour_s=0.1))
    assert assess(priced).costs["travel"] == pytest.approx(1.8)


def test_history_brings_its_nights_and_travel() -> None:
    season = timetable(
        weekends(20),
        past=weekends(19),
        hours={("north", "shop"): 3.0},
        travel_hours_in_days={"at_most": 10, "days": 14},
    )
    assert broken(season) == {"travel_hours_in_days": (12.0, 10.0)}
    assert assess(season).travel_h == 6.0  # only the block's own hours are priced


# ------------------------------------------------------------------------------------------------------ reserves


def test_reserve_trips_count_for_nights_and_travel_only_unless_told() -> None:
    spells = [
        *weekends(20, 21),
        ("north", f"{date.fromisocalendar(2026, 21, 6)} 08:00", f"{date.fromisocalendar(2026, 21, 6)} 23:00"),
    ]
    spells.sort(key=lambda spell: spell[1])  # r1: Sunday, r2: Saturday, r3: Sunday
    limits: dict[str, Any] = {
        "rest_hours": 10,
        "weekends_in_a_row": 1,
        "travel_hours_in_days": {"at_most": 3, "days": 5},
    }
    season = timetable(spells, hours={("north", "shop"): 3.0}, **limits)
    assert set(broken(season, "r1", reserve=("r2",))) == {"travel_hours_in_days"}
    assert set(broken(season, "r3", reserve=("r2",))) == {"travel_hours_in_days"}
    counted = timetable(spells, hours={("north", "shop"): 3.0}, reserves_count=True, **limits)
    assert set(broken(counted, "r1", reserve=("r2",))) == {"travel_hours_in_days", "weekends_in_a_row"}
    assert set(broken(counted, "r3", reserve=("r2",))) == {"travel_hours_in_days", "rest_hours"}
    none: dict[str, Any] = {"races_in_days": {"at_most": 0, "days": 28}, "races_per_weekend": 0, "starts": 0}
    assert broken(timetable(spells, reserves_count=True, **none), "r1", reserve=("r2", "r3")) == dict.fromkeys(
        none, (1, 0.0)
    )  # a trip is no race


# ------------------------------------------------------------------------------------------------------- driving

PROPERTY, PASSENGERS = {"preset": "49 CFR 395.3"}, {"preset": "49 CFR 395.5"}


def test_ten_hours_off_and_the_drive_must_fit_the_night() -> None:
    # 49 CFR 395.3(a)(1): 10 h off. Saturday 06:00-21:00 used up the 14 h; 3 h drive; Sunday report 09:00 leaves
    # 12 h, 13 h are needed. 395.5(a): 8 h off, 11 h are needed.
    spells = [("north", "2026-05-02 06:00", "2026-05-02 21:00"), ("south", "2026-05-03 09:00", "2026-05-03 15:00")]
    hours = {("north", "south"): 3.0, ("north", "shop"): 8.0, ("shop", "south"): 8.0}
    assert broken(timetable(spells, hours=hours, drives=True, **PROPERTY)) == {"driving_hours": (13.0, 12.0)}
    assert broken(timetable(spells, hours=hours, drives=True, **PASSENGERS)) == {}
    assert broken(timetable(spells, hours=hours, drives=False, **PROPERTY)) == {}
    assert broken(timetable(spells, hours=hours, drives=True, mode="air", **PROPERTY)) == {}
    text = assess(timetable(spells, hours=hours, drives=True, **PROPERTY)).breaches[0].text
    assert "3.0 h at the wheel with 10 h off take 13.0 h, 12.0 h lie between" in text
    assert "the sanctioning body's and local rules go first" in text


def test_driving_on_after_a_short_duty_within_the_window() -> None:
    # Duty 08:00-17:00, 9 h; 5 h drive ends 14 h after coming on duty: kept. 6 h drive: 15 h, too late under
    # 395.3(a)(2), and the 7 h to the next report hold no 10 h off; 395.5(a)(2) allows 15 h on duty.
    for drive, property_broken in ((5.0, False), (6.0, True)):
        spells = [("north", "2026-05-02 08:00", "2026-05-02 17:00"), ("south", "2026-05-03 00:00", "2026-05-03 06:00")]
        hours = {("north", "south"): drive, ("north", "shop"): 9.0, ("shop", "south"): 9.0}
        assert bool(broken(timetable(spells, hours=hours, drives=True, **PROPERTY))) is property_broken
        assert broken(timetable(spells, hours=hours, drives=True, **PASSENGERS)) == {}


def test_hours_at_the_wheel_between_two_rests() -> None:
    # 22 h at the wheel: 11 + 10 off + 11 = 32 h under 395.3, 33 h with the two half hours of (a)(3)(ii); 10 + 8 off +
    # 10 + 8 off + 2 = 38 h under 395.5. After a duty of 2.5 h, 11.5 of the 14 h are left, and both start on release.
    spells = [("north", "2026-05-02 08:30", "2026-05-02 11:00"), ("south", "2026-05-03 20:00", "2026-05-03 23:00")]
    hours = {("north", "south"): 22.0, ("north", "shop"): 13.0, ("shop", "south"): 13.0}
    assert broken(timetable(spells, hours=hours, drives=True, **PROPERTY)) == {}  # 33 h lie between
    assert broken(timetable(spells, hours=hours, drives=True, **PASSENGERS)) == {"driving_hours": (38.0, 33.0)}
    no_break = [spells[0], ("south", "2026-05-03 19:00", "2026-05-03 23:00")]
    assert broken(timetable(no_break, hours=hours, drives=True, **PROPERTY)) == {"driving_hours": (11.0, 8.0)}
    sooner = [spells[0], ("south", "2026-05-03 18:00", "2026-05-03 23:00")]
    assert broken(timetable(sooner, hours=hours, drives=True, **PROPERTY)) == {"driving_hours": (32.0, 31.0)}


def test_sixty_hours_on_duty_in_seven_days_and_the_restart() -> None:
    # 395.3(b)(1), (c): Monday to Friday 12 h each is 60 h; driving home puts it beyond, unless 34 h off lie between.
    days = [("north", f"2026-05-0{d} 07:00", f"2026-05-0{d} 19:00") for d in range(4, 9)]
    hours = {("north", "shop"): 1.0}
    stay: dict[str, Any] = {"journeys": {"home_rest_h": 48}}
    season = timetable(days, hours=hours, drives=True, **PROPERTY, **stay)
    assert broken(season) == {"driving_hours": (62.0, 60.0)}
    eight = timetable(days, hours=hours, drives=True, preset="49 CFR 395.3(b)(2)", **stay)
    assert broken(eight) == {}  # 62 of 70 h in 8 days
    gap = [*days[:2], *(("north", f"2026-05-{d:02d} 07:00", f"2026-05-{d:02d} 19:00") for d in (7, 8, 9))]
    assert broken(timetable(gap, hours=hours, drives=True, **PROPERTY, **stay)) == {}  # 36 h off from Tuesday 19:00
    assert broken(timetable(gap, hours=hours, drives=True, **PASSENGERS, **stay)) == {"driving_hours": (62.0, 60.0)}


# ------------------------------------------------------------------------------------------- for the optimiser


def test_pairs_say_what_two_races_break_alone() -> None:
    spells = [
        ("north", "2026-05-02 08:00", "2026-05-02 23:00"),
        ("north", "2026-05-03 08:00", "2026-05-03 18:00"),
        ("north", "2026-05-03 17:00", "2026-05-03 22:00"),
        ("north", "2026-05-10 08:00", "2026-05-10 18:00"),
    ]
    season = timetable(spells, rest_hours={"at_least": 11, "price_s": 2.0})
    season = season.replace(weights=Weights(travel_hour_s=0.1))  # journeys are for the whole schedule to price
    pairs = ScheduleRules(season, season.weekends).pair_verdicts(ANN)
    assert set(pairs) == {("r1", "r2"), ("r2", "r3")}
    assert pairs["r1", "r2"].costs == {"limit:rest_hours": 4.0}
    assert [(breach.rule, breach.athlete) for breach in pairs["r2", "r3"].breaches] == [("one_seat", ANN)]
    assert pairs["r2", "r3"].travel_h == 0.0


def test_pairs_share_a_day_and_know_no_history() -> None:
    spells = [("north", "2026-05-02 08:00", "2026-05-02 13:00"), ("north", "2026-05-02 15:00", "2026-05-02 21:00")]
    night = [("north", *NIGHT)]
    season = timetable(spells, past=night, rest_hours=11, duty_hours={"at_most": 12, "price_s": 3.0})
    (pair,) = ScheduleRules(season, season.weekends).pair_verdicts(ANN).values()
    assert (pair.breaches, pair.costs) == ((), {"limit:duty_hours": 3.0})
    overlap = timetable([spells[0], ("north", "2026-05-02 12:00", "2026-05-02 21:00")], duty_hours=12)
    (both,) = ScheduleRules(overlap, overlap.weekends).pair_verdicts(ANN).values()
    assert [breach.rule for breach in both.breaches] == ["one_seat", "duty_hours"]
    assert [duty.race for duty in ScheduleRules(season, season.weekends).past(ANN)] == ["h1"]
    apart = [spells[0], ("north", "2026-05-03 15:00", "2026-05-03 21:00")]
    long_days = timetable(apart, duty_hours=4)  # each is told by its race alone
    assert ScheduleRules(long_days, long_days.weekends).pair_verdicts(ANN) == {}


def test_travel_places_of_the_race_else_of_the_limits() -> None:
    season = timetable(weekends(20, 21), travel_places={"at_most": 4, "price_s": 2.0})
    own = season.replace(races=season.races | {"r1": replace(season.races["r1"], travel_places=3)})
    rules, free = ScheduleRules(own, own.weekends), own.replace(limits=type(own.limits)())
    assert [rules.places(race) for race in ("r1", "r2")] == [3, 4]
    assert rules.places_beyond("r1", 3) is None
    text = "5 people for 3 travel places at Race 1 (r1)"
    assert rules.places_beyond("r1", 5) == Breach("travel_places", None, "r1", None, None, 5, 3, text, 4.0)
    hard = ScheduleRules(free, free.weekends)
    assert hard.places_beyond("r1", 5) == Breach("travel_places", None, "r1", None, None, 5, 3, text, None)
    assert (hard.places("r2"), hard.places_beyond("r2", 99)) == (None, None)


def test_windows_by_hand() -> None:
    days = [date(2026, 5, day) for day in (10, 16, 17, 18, 24)]  # Sunday, weekend, Monday, Sunday of weeks 19 to 21
    sunday, r1, r2, monday, r3 = [("north", f"{day} 08:00", f"{day} 18:00") for day in days]
    season = timetable(
        [r1, r2, r3],
        past=[sunday, monday],
        starts={"at_most": 2, "at_least": 1, "price_s": 3.0},
        races_per_weekend={"at_most": 1, "price_s": 2.0},
        races_in_days={"at_most": 2, "days": 8, "price_s": 1.5},
        weekends_in_a_row={"at_most": 2, "price_s": 4.0},
    )
    one, two, three = ("r1",), ("r2",), ("r3",)
    assert ScheduleRules(season, season.weekends).windows(ANN) == (
        Window("starts", (one, two, three), 2.0, 1.0, 3.0),
        Window("races_per_weekend", (one, two), 1.0, None, 2.0, ("r1", "r2")),
        Window("races_per_weekend", (three,), 0.0, None, 2.0, three),  # Monday's is in the week
        Window("races_in_days", (one,), 1.0, None, 1.5, one),  # from Saturday to Saturday, Sunday of week 19 among them
        Window("races_in_days", (one, two), 1.0, None, 1.5, two),
        Window("races_in_days", (two, three), 1.0, None, 1.5, three),
        Window("weekends_in_a_row", (("r1", "r2"), three), 1, None, 4.0, three),  # week 19 was worked, week 18 was not
    )
    nobody = season.replace(clearances=tuple(c for c in season.clearances if c.athlete != ANN))
    first = ScheduleRules(nobody, nobody.weekends).windows(ANN)[0]
    assert first == Window("starts", (one, two, three), 2.0, None, 3.0)  # no least asks who may not start


def test_what_is_remembered_has_an_end(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(schedule, "MOST_REMEMBERED", 2)
    season = timetable(weekends(20, 21))
    rules = ScheduleRules(season, season.weekends)
    first = rules.assess(ANN, ("r1",))
    rules.assess(ANN, ("r2",))
    assert rules.assess(ANN, ("r1",)) is first
    rules.assess(ANN, ("r1", "r2"))  # a third one: all is forgotten
    again = rules.assess(ANN, ("r1",))
    assert again == first
    assert again is not first


def test_no_weekend_at_all_leaves_a_window_for_each() -> None:
    season = timetable(weekends(20, 22), weekends_in_a_row=0)
    windows = ScheduleRules(season, season.weekends).windows(ANN)
    assert [(w.rule, w.groups, w.most, w.trigger) for w in windows] == [
        ("weekends_in_a_row", (("r1",),), 0, ("r1",)),
        ("weekends_in_a_row", (("r2",),), 0, ("r2",)),
    ]


@pytest.mark.parametrize("seed", range(6))
def test_windows_say_the_same_as_whole_schedules(seed: int) -> None:
    rng = random.Random(seed)
    weeks = sorted(rng.sample(range(20, 30), 6))
    spells = []
    for week in weeks:
        for weekday in sorted(rng.sample((5, 6, 7), rng.randint(1, 2))):
            day = date.fromisocalendar(2026, week, weekday)
            spells.append(("north", f"{day} 08:00", f"{day} 18:00"))
    price = {"price_s": 1.0} if seed % 2 else {}
    season = timetable(
        spells,
        past=weekends(17, 18, 19),
        starts={"at_most": 5, "at_least": 2, **price},
        races_per_weekend={"at_most": 1, **price},
        weekends_in_a_row={"at_most": 3, **price},
        races_in_days={"at_most": 3, "days": 15, **price},
    )
    rules = ScheduleRules(season, season.weekends)
    windows = rules.windows(ANN)
    for _ in range(150):
        worked = {race for race in season.races if rng.random() < 0.5}
        cost, hard = 0.0, False
        for window in windows:
            count = sum(bool(worked & set(group)) for group in window.groups)
            beyond = max(0.0, count - window.most) if window.most is not None else 0.0
            beyond += max(0.0, window.least - count) if window.least is not None else 0.0
            if beyond and window.price_s is None:
                hard = True
            elif not window.trigger or worked & set(window.trigger):
                cost += beyond * (window.price_s or 0.0)
        answer = rules.assess(ANN, tuple(worked))
        assert bool(answer.breaches) is hard
        assert answer.cost_s == pytest.approx(cost)


def test_answers_do_not_depend_on_the_order_of_races() -> None:
    season = timetable(weekends(20, 21, 22), weekends_in_a_row=2)
    rules = ScheduleRules(season, season.weekends)
    assert rules.assess(ANN, ("r3", "r1", "r2")) is rules.assess(ANN, ("r1", "r2", "r3"))


def test_hours_at_the_wheel_belong_to_the_duty_that_brings_them() -> None:
    spells = [("north", "2026-05-02 08:00", "2026-05-02 18:00"), ("south", "2026-05-09 08:00", "2026-05-09 18:00")]
    season = timetable(spells, hours={("north", "shop"): 5.0, ("shop", "south"): 3.0}, drives=True)
    chain = Journeys(season, ANN).chain([block_duty(season, race) for race in ("r1", "r2")])
    assert [chain.wheel_h(i) for i in (0, 1)] == [5.0 + 5.0, 3.0 + 3.0]  # home in the week between
    flown = Journeys(timetable(spells, mode="air", drives=True), ANN).chain([block_duty(season, "r1")])
    assert flown.wheel_h(0) == 0.0


def test_duties_that_nobody_drives_to_are_not_held_to_hours_at_the_wheel() -> None:
    # 49 CFR 395.3(b) bars driving after 60 h on duty in 7 days, not the work itself: 6 x 11 h at home
    at_home = [("shop", f"2026-05-{day:02} 08:00", f"2026-05-{day:02} 19:00") for day in range(4, 10)]
    assert broken(timetable(at_home, drives=True, **PROPERTY)) == {}
    then_away = [*at_home, ("north", "2026-05-10 09:00", "2026-05-10 13:00")]
    assert broken(timetable(then_away, drives=True, **PROPERTY)) == {"driving_hours": (66.0 + 4.0 + 2.0, 60.0)}
