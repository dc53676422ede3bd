"""The difference of two plans, counted by hand."""

from __future__ import annotations

from dataclasses import dataclass
from types import SimpleNamespace

import pytest

from lineup.plan import Reserve
from lineup.season import Season, Seat
from lineup.store import SeatChange, TripChange, difference
from lineup.store.difference import newly_close
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
    assert "forecast: gains 1.250 s, 83% likely to be real" in lines
    assert "stops: 100.000 s before, 98.500 s after (-1.500 s)" in lines
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
    assert "forecast: costs 2.000 s" in told.texts(season)


def test_limits_newly_close() -> None:
    before = Audit(
        (
            Check("rest_hours", figure=14, limit=11, text="14 h"),
            Check("starts", figure=3, limit=3, text="3 of 3 starts"),
            Check("height", kept=False, priced=True, text="2 cm below"),
            Check("clearance", text="all cleared"),
            Check("duty_hours", figure=10, limit=14, text="10 h"),
        )
    )
    after = Audit(
        (
            Check("rest_hours", figure=11.5, limit=11, text="11.5 h of at least 11 h"),
            Check("starts", figure=3, limit=3, text="3 of 3 starts"),
            Check("height", kept=False, priced=True, text="2 cm below"),
            Check("clearance", kept=False, text="a8 has no clearance"),
            Check("duty_hours", figure=12.5, limit=14, text="12.5 h"),
        )
    )
    assert newly_close((before, after)) == ("11.5 h of at least 11 h", "a8 has no clearance")


def test_a_limit_already_close_that_breaks_is_told() -> None:
    before = Audit((Check("starts", figure=3, limit=3, text="3 of 3"),))
    after = Audit((Check("starts", kept=False, figure=4, limit=3, text="4 of 3"),))
    assert newly_close((before, after)) == ("4 of 3",)


def test_people_the_season_no_longer_has_are_named_by_id(season: Season) -> None:
    before, after = roster_plan(season), roster_plan(season, r1_c1_p2="a8")
    smaller = season.replace(athletes={k: v for k, v in season.athletes.items() if k != "a8"})
    assert "Race 1 (r1), Car 1 (c1), P2 (p2): a8 instead of Athlete 2 (a2)" in difference(smaller, before, after).texts(
        smaller
    )
