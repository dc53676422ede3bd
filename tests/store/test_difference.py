"""The difference of two plans, counted by hand."""

from __future__ import annotations

from dataclasses import dataclass, replace
from types import SimpleNamespace

import pytest

from lineup.audit import Measure, audit
from lineup.limits import Limit, Limits
from lineup.plan import Assignment, Plan, Reserve
from lineup.season import Season, Seat
from lineup.store import SeatChange, TripChange, difference
from lineup.store.difference import newly_close
from tests.builders import tiny_season
from tests.store.rosters import Audit, Check, roster_plan


def test_who_moved_and_what_it_costs(season: Season) -> None:
    before = roster_plan(season)
    after = roster_plan(season, r1_c1_p2="a8", r2_c2_p1="a1", r2_c1_p1="a4").replace(
        costs={"stops": 98.5, "travel": 2.0, "crew_changes": 0.25}, value_s=100.75, reserves=(Reserve("r2", "a7"),)
    )
    told = difference(season, before, after, chance=lambda b, a: 0.83)
    assert told.seats == (
        SeatChange(Seat("r1", "c1", "p2"), "a2", "a8"),
        SeatChange(Seat("r2", "c1", "p1"), "a1", "a4"),
        SeatChange(Seat("r2", "c2", "p1"), "a4", "a1"),
    )
    assert told.trips == (
        TripChange("r1", "a2", joins=False),
        TripChange("r1", "a7", joins=False),
        TripChange("r1", "a8", joins=True),
    )
    assert told.gain_s == pytest.approx(1.25)
    assert told.costs == {"stops": (100.0, 98.5), "crew_changes": (0.0, 0.25)}
    lines = told.texts(season)
    assert "the whole plan gains 1.25 s, 83% likely to be real" in lines
    assert "stop time, weighted by priority and number of stops: 100.00 s before, 98.50 s after (-1.50 s)" in lines
    assert len(difference(season, before, after, weekend="w1").seats) == 1


def test_the_same_plan_twice(season: Season) -> None:
    told = difference(season, roster_plan(season), roster_plan(season))
    assert (told.seats, told.trips, told.costs, told.gain_s) == ((), (), {}, 0.0)
    assert told.texts(season)[0] == "nobody moves"


def test_seconds_of_different_forecasts_are_not_compared(season: Season) -> None:
    before = roster_plan(season)
    for other in (before.replace(seed=8), before.replace(fingerprints={"grades": "new"})):
        told = difference(season, before, other, chance=lambda b, a: 0.5)
        assert (told.gain_s, told.chance, told.costs) == (None, None, {})
        assert told.notes == (
            "the two were forecast from different inputs or scenarios: price both anew to compare seconds",
        )
    assert (
        difference(season, before, before.replace(value_s=None)).notes[0].startswith("one of the two was never priced")
    )


@dataclass(frozen=True)
class FlatPricer:
    """Prices a seat of a8 at 3 s, everybody else at 1 s."""

    def price(self, assignments: object) -> SimpleNamespace:
        value = sum(3.0 if a.athlete == "a8" else 1.0 for a in assignments)  # type: ignore[attr-defined]
        return SimpleNamespace(value_s=value, costs={"stops": value})


def test_a_pricer_compares_any_two(season: Season) -> None:
    before, after = roster_plan(season).replace(seed=1), roster_plan(season, r1_c1_p2="a8")
    told = difference(season, before, after, pricer=FlatPricer())
    assert told.gain_s == -2.0
    assert told.costs == {"stops": (12.0, 14.0)}
    assert "the whole plan costs 2.00 s more" in told.texts(season)


def rest(athlete: str, hours: float, race: str = "r1", need: float = 11) -> Measure:
    return Measure(
        f"{athlete}: {hours} h at {race}", hours >= need, athlete, race, None, None, hours, need, need - hours
    )


def starts(athlete: str, count: int, most: int = 3) -> Measure:
    return Measure(f"{athlete}: {count} starts", count <= most, athlete, None, None, None, count, most, count - most)


def audit_of(**measures: list[Measure]) -> Audit:
    return Audit(tuple(Check(rule, measures=tuple(found)) for rule, found in measures.items()))


def test_everybody_newly_close_is_named_not_only_the_worst() -> None:
    before = audit_of(rest_hours=[rest("a1", 11.2), rest("a2", 20), rest("a3", 15)], starts=[starts("a1", 3)])
    after = audit_of(rest_hours=[rest("a1", 11.1), rest("a2", 12), rest("a3", 12.2)], starts=[starts("a1", 3)])
    # 10 % of 11 h are 1.1 h: 12 h is close, 12.2 h is not; a1 was close before and is told no more
    assert newly_close((before, after)) == ("a2: 12 h at r1",)


def test_a_figure_that_is_new_counts_as_newly_close() -> None:
    before, after = audit_of(starts=[starts("a1", 2)]), audit_of(starts=[starts("a1", 2), starts("a8", 3)])
    assert newly_close((before, after)) == ("a8: 3 starts",)


def test_what_breaks_is_told_first_though_it_was_close_before() -> None:
    before = audit_of(rest_hours=[rest("a1", 20)], starts=[starts("a2", 3)])
    after = audit_of(rest_hours=[rest("a1", 11.5)], starts=[starts("a2", 4)])
    assert newly_close((before, after)) == ("a2: 4 starts", "a1: 11.5 h at r1")
    unfit = Measure("a8 has no clearance", False, "a8", "r1", "c1", "p1")
    assert newly_close((audit_of(clearance=[]), audit_of(clearance=[unfit]))) == ("a8 has no clearance",)
    assert newly_close((audit_of(clearance=[unfit]), audit_of(clearance=[unfit]))) == ()


def test_one_line_per_athlete_and_limit_with_the_tightest() -> None:
    before = audit_of(rest_hours=[])
    after = audit_of(rest_hours=[rest("a1", 12, "r1"), rest("a1", 11, "r2"), rest("a1", 11.9, "r3"), rest("a2", 11.5)])
    assert newly_close((before, after)) == ("a1: 11 h at r2 (and 2 more like it)", "a2: 11.5 h at r1")


def test_cars_have_lines_of_their_own_and_height_is_never_close() -> None:
    slow = [Measure(f"{car}: 11.9 s", True, None, "r1", car, None, 11.9, 12, -0.1) for car in ("c1", "c2")]
    tall = Measure("a1 is 181 cm", True, "a1", "r1", "c1", "p1", 181, 180, -1)
    assert newly_close((audit_of(), audit_of(slowest=slow, height=[tall]))) == ("c1: 11.9 s", "c2: 11.9 s")
    short = Measure("a1 is 179 cm", False, "a1", "r1", "c1", "p1", 179, 180, 1)
    assert newly_close((audit_of(height=[tall]), audit_of(height=[short]))) == ("a1 is 179 cm",)


def test_a_long_list_is_cut_with_a_count(season: Season) -> None:
    after = audit_of(starts=[starts(f"a{n}", 3) for n in range(30)])
    plan = roster_plan(season)
    told = difference(season, plan, plan, audits=(audit_of(), after))
    assert len(told.close) == 30
    lines = told.texts(season)
    assert sum(line.startswith("limit now at the edge") for line in lines) == 12
    assert lines[-1] == "and 18 more limits now at the edge, or broken"


def test_the_real_audit_names_who_gets_close() -> None:
    # a1 starts once before; afterwards twice, which is all that is allowed
    season = tiny_season(
        athletes=8, cars=2, races=2, grades=0,
        limits=Limits({"starts": Limit("starts", at_most=2)}),
    )  # fmt: skip
    seats = {(s.race, s.car, s.position): s for e in season.entries for s in season.seats(e.race, e.car)}
    people = {"c1": ("a1", "a2", "a3"), "c2": ("a4", "a5", "a6")}
    once = [
        Assignment(*seat, people[seat[1]][int(seat[2][1]) - 1] if seat[0] == "r1" else f"a{9 - int(seat[2][1])}")
        for seat in seats
        if seat[0] == "r1" or seat[1] == "c1"
    ]
    before = Plan("best_so_far", tuple(once), weekends=season.weekends)
    twice = [replace(a, athlete="a1") if a.race == "r2" and a.position == "p1" else a for a in once]
    after = before.replace(assignments=tuple(twice))
    told = newly_close((audit(season, before), audit(season, after)))
    assert told == ("2 starts of 2 allowed: Athlete 1 (a1), in the block",)


def test_people_the_season_no_longer_has_are_named_by_id(season: Season) -> None:
    before, after = roster_plan(season), roster_plan(season, r1_c1_p2="a8")
    smaller = season.replace(athletes={k: v for k, v in season.athletes.items() if k != "a8"})
    assert "Race 1 (r1), Car 1 (c1), P2 (p2): a8 instead of Athlete 2 (a2)" in difference(smaller, before, after).texts(
        smaller
    )
