"""Each rule alone changes the plan: without it the best lineup breaks it, with it the best lineup does not."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, time, timedelta

import pytest

from lineup.audit import audit
from lineup.lawful import broken_rules
from lineup.limits import Limit, Limits
from lineup.optimize.build import build_model
from lineup.optimize.rulebook import RULES
from lineup.optimize.solve import solve
from lineup.plan import Plan
from lineup.season import Absence, Pin, Season, Task
from tests.builders import FIRST_SUNDAY, make_race, tiny_season
from tests.optimize.brute import best_lineup
from tests.optimize.seasons import QUICK, make_problem

SEED = 2
BASE = tiny_season(athletes=6, positions=2, races=2, grades=0)
PIN = "decided by hand"


def weekend(days: int = 1) -> Season:
    """Two races some days apart in one week, 300 km apart: in the evening and on Sunday morning."""
    races = {
        "r1": make_race(0, on=FIRST_SUNDAY - timedelta(days=days), report=time(14), start=time(19), weekend="w1"),
        "r2": make_race(1, on=FIRST_SUNDAY, report=time(8), weekend="w1"),
    }
    return BASE.replace(races=races)


def limited(season: Season, limit: Limit) -> Season:
    return season.replace(limits=Limits({limit.name: limit}))


def one_day() -> Season:
    """Two races on one day at one site."""
    races = {
        "r1": make_race(0, report=time(7), start=time(9)),
        "r2": make_race(1, on=FIRST_SUNDAY, report=time(14), start=time(16), weekend="w1", site="track-1"),
    }
    return BASE.replace(races=races)


def short(season: Season) -> Season:
    positions = {p: replace(facts, min_height_m=1.85) for p, facts in season.positions.items()}
    people = {a: replace(f, height_m=1.80 if a in _best(season) else 1.90) for a, f in season.athletes.items()}
    return season.replace(positions=positions, athletes=people)


def _best(season: Season) -> list[str]:
    """Athletes of the best lineup, in order of race and position."""
    return [a.athlete for a in solve(make_problem(season, SEED), QUICK).assignments]


FIRST, SECOND = _best(BASE)[:2]
THIRD = next(a for a in BASE.athletes if a not in _best(BASE))
CASES = {
    "rest_hours": (weekend(), lambda s: limited(s, Limit("rest_hours", at_least=11))),
    "duty_hours": (one_day(), lambda s: limited(s, Limit("duty_hours", at_most=8))),
    "weekly_rest_hours": (weekend(4), lambda s: limited(s, Limit("weekly_rest_hours", at_least=84))),
    "rolling_rest_hours": (weekend(3), lambda s: limited(s, Limit("rolling_rest_hours", at_least=66, days=7))),
    "races_per_weekend": (weekend(), lambda s: limited(s, Limit("races_per_weekend", at_most=1))),
    "weekends_in_a_row": (BASE, lambda s: limited(s, Limit("weekends_in_a_row", at_most=1))),
    "races_in_days": (BASE, lambda s: limited(s, Limit("races_in_days", at_most=1, days=8))),
    "starts": (BASE, lambda s: limited(s, Limit("starts", at_most=1))),
    "travel_hours_in_days": (BASE, lambda s: limited(s, Limit("travel_hours_in_days", at_most=12, days=10))),
    "availability": (BASE, lambda s: s.with_absence(Absence(FIRST, date(2026, 4, 1), date(2026, 4, 6), "out"))),
    "height": (BASE, short),
    "never": (BASE, lambda s: s.with_pin(Pin("never", FIRST, PIN, race="r1"))),
    "must": (BASE, lambda s: s.with_pin(Pin("must", THIRD, PIN, race="r1"))),
    "pair": (BASE, lambda s: s.with_pin(Pin("pair", FIRST, PIN, THIRD, race="r1"))),
    "apart": (BASE, lambda s: s.with_pin(Pin("apart", FIRST, PIN, SECOND, race="r1"))),
}


@pytest.mark.parametrize("rule", CASES)
def test_rule_alone_changes_the_plan(rule: str) -> None:
    season, with_rule = CASES[rule]
    free = solve(make_problem(season, SEED), QUICK)
    problem = make_problem(with_rule(season), SEED)
    bound = solve(problem, QUICK)
    assert bound.status == "proven"
    assert bound.assignments != free.assignments
    assert broken_rules(problem.pricer, problem.pricer.crews(free.assignments))
    assert not broken_rules(problem.pricer, problem.pricer.crews(bound.assignments))


@pytest.mark.parametrize(
    "pin",
    [
        Pin("pair", FIRST, PIN, THIRD, position="p1"),
        Pin("pair", FIRST, PIN, THIRD, race="r1", car="c1", position="p2"),
        Pin("apart", FIRST, PIN, SECOND, position="p1"),
        Pin("apart", FIRST, PIN, SECOND, race="r1", car="c1", position="p2"),
    ],
)
def test_two_athletes_are_tied_in_every_seat_whatever_position_the_pin_names(pin: Pin) -> None:
    problem = make_problem(BASE.with_pin(pin), SEED)
    bound = solve(problem, QUICK)
    assert bound.status == "proven"
    for race in ("r1", "r2") if pin.race is None else (pin.race,):
        there = {a.athlete for a in bound.assignments if a.race == race}
        assert (there & {pin.athlete, pin.other} in (set(), {pin.athlete, pin.other})) is (pin.kind == "pair")
    assert audit(problem.season, Plan("proven", bound.assignments), problem.season.weekends).check("pin").kept


def test_a_pin_that_names_a_car_which_does_not_enter_says_nothing() -> None:
    season = BASE.replace(cars=BASE.cars | {"c9": replace(BASE.cars["c1"], id="c9")})
    free = solve(make_problem(season, SEED), QUICK)
    for kind, other in (("apart", SECOND), ("pair", THIRD)):
        tied = season.with_pin(Pin(kind, FIRST, PIN, other, None, "c9"))  # type: ignore[arg-type]
        assert solve(make_problem(tied, SEED), QUICK).value_s == pytest.approx(free.value_s)


def test_slowest_changes_the_plan() -> None:
    season = tiny_season(athletes=4, positions=2, cars=2, races=1, grades=0)
    cars = {"c1": replace(season.cars["c1"], priority=0.2), "c2": replace(season.cars["c2"], priority=5.0)}
    season = season.replace(cars=cars)
    free = solve(make_problem(season, SEED), QUICK)
    problem = make_problem(season, SEED)
    mean = problem.pricer.mean_s("r1", {a.position: a.athlete for a in free.assignments if a.car == "c1"})["four"]
    slow = season.replace(cars={**cars, "c1": replace(cars["c1"], slowest_s=mean - 0.01)})
    bound = solve(make_problem(slow, SEED), QUICK)
    assert bound.status == "proven"
    assert bound.assignments != free.assignments


def _helped(places: int) -> Season:
    """A seat of p2 may stay empty, and p1 then does his task twice; a race has so many travel places."""
    twice = Task("again", "Again", "p1", ("do-p1",), "do-p1", 4.0, only_without="p2", release=True)
    choreographies = {name: replace(c, tasks=(*c.tasks, twice)) for name, c in BASE.choreographies.items()}
    positions = {p: replace(f, filled="if_possible" if p == "p2" else "always") for p, f in BASE.positions.items()}
    races = {r: replace(f, travel_places=places) for r, f in BASE.races.items()}
    return BASE.replace(choreographies=choreographies, positions=positions, races=races)


def _filled(season: Season) -> set[str]:
    problem = make_problem(season, SEED)
    found, least = solve(problem, QUICK), best_lineup(problem)
    assert least is not None
    assert found.value_s == pytest.approx(least[0], rel=1e-5)
    return {a.position for a in found.assignments}


def test_travel_places_leave_an_optional_seat_empty() -> None:
    assert _filled(_helped(places=2)) == {"p1", "p2"}
    assert _filled(_helped(places=1)) == {"p1"}


@pytest.mark.parametrize(("price_s", "filled"), [(0.01, {"p1", "p2"}), (500.0, {"p1"})])
def test_a_price_for_travel_places_is_paid_beyond_a_races_own_number(price_s: float, filled: set[str]) -> None:
    assert _filled(limited(_helped(places=1), Limit("travel_places", price_s=price_s))) == filled


def test_every_rule_has_a_label_and_a_switch() -> None:
    season = CASES["weekends_in_a_row"][1](BASE).with_pin(Pin("must", THIRD, PIN, race="r1"))
    model = build_model(make_problem(season, SEED), switches=True)
    assert all(rule.label for rule in RULES.values())
    assert {name.split(":")[0] for name in model.switches} >= {"fill", "must", "weekends_in_a_row"}
    assert all(switch.label for switch in model.switches.values())
