"""Reserves and cover: brute force over every choice of reserves and every chain, the audit, and one test per rule."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import time, timedelta
from itertools import combinations, permutations
from typing import Any, Literal

import numpy as np
import pytest

from lineup.audit import audit
from lineup.eligibility import may_fill
from lineup.limits import Limit, Limits
from lineup.optimize import reserves
from lineup.optimize.cover_ways import LONGEST_CHAIN, MOVE_S, OPEN_SEAT_S
from lineup.optimize.reserves import Travel, choose_reserves
from lineup.optimize.travel_choice import SENT_S
from lineup.plan import Assignment, Cover, Move, Plan, Reserve
from lineup.season import Absence, Clearance, Entry, Pin, Position, Season, Seat, Weights
from lineup.study import Study
from tests.builders import FIRST_SUNDAY, make_race, tiny_season
from tests.optimize.seasons import QUICK, random_model

LOSS = Weights(absence_chance=0.02)


def study_of(season: Season, seed: int = 1) -> Study:
    model = random_model(season, 16, np.random.default_rng(seed))
    return Study(season, season.weekends, QUICK, known_model=model)


def plan_of(season: Season, *crews: str) -> Plan:
    """Plan from lines such as "r1 c1 a1 a2": race, car and the athletes of its positions in order."""
    assignments = []
    for race, car, *athletes in (crew.split() for crew in crews):
        seats = season.seats(race, car)
        assignments += [Assignment(race, car, s.position, a) for s, a in zip(seats, athletes, strict=True) if a != "-"]
    return Plan("best_so_far", tuple(assignments), weekends=season.weekends)


def with_travel(plan: Plan, travel: Travel) -> Plan:
    return plan.replace(reserves=travel.reserves, cover=travel.cover, cover_costs=travel.costs)


def with_limits(season: Season, *limits: Limit, **more: Any) -> Season:
    return season.replace(limits=Limits({limit.name: limit for limit in limits}, **more))


def cover_of(travel: Travel, seat: Seat) -> Cover:
    return next(cover for cover in travel.cover if cover.seat == seat)


# ------------------------------------------------------------------------------------------------- brute force


def crew_s(study: Study, entry: Entry, crew: Mapping[str, str]) -> float:
    pricer = study.pricer
    seats = {Seat(entry.race, entry.car, position): athlete for position, athlete in crew.items()}
    penalties = sum(pricer.penalty_s(athlete, seat) for seat, athlete in seats.items())
    prices = sum(may_fill(study.season, athlete, seat).price_s for seat, athlete in seats.items())
    return pricer.entry_value(entry, crew) + pricer.priority[entry.car] * penalties + prices


def cleared(season: Season, athlete: str, seat: Seat) -> bool:
    able = season.clearance_level(athlete, seat.position, seat.race) == "cleared"
    return able and may_fill(season, athlete, seat).allowed


def every_way(study: Study, plan: Plan, seat: Seat, reserves: Sequence[str]) -> Iterator[float]:
    """Cost of every chain of up to three people who step in one after another, tried blindly."""
    lost = plan.by_seat[seat]
    own = {a.athlete: a.seat for a in plan.assignments if a.race == seat.race}
    people = [a for a in (*own, *reserves) if a != lost]
    for size in range(LONGEST_CHAIN + 1):
        for chain in permutations(people, size):
            yield from chain_cost(study, plan, seat, chain, own)


def chain_cost(study: Study, plan: Plan, seat: Seat, chain: Sequence[str], own: Mapping[str, Seat]) -> Iterator[float]:
    season, priority = study.season, study.pricer.priority
    crews = {Entry(seat.race, car): dict(plan.crew(seat.race, car)) for car in season.cars_in[seat.race]}
    del crews[seat.entry][seat.position]
    hole: Seat | None = seat
    must_close = False
    for athlete in chain:
        if hole is None or not cleared(season, athlete, hole):
            return
        left = own.get(athlete)
        crews[hole.entry][hole.position] = athlete
        if left is not None:
            crews[left.entry].pop(left.position, None)
            support = season.positions[left.position].place == "support"
            free = priority[left.car] < priority[hole.car] or (support and priority[left.car] == priority[hole.car])
            if not free and left.car != hole.car:
                return
            must_close = not free
        hole = left
    if chain and hole is not None and must_close:
        return
    total = max(0, len(chain) - 1) * (MOVE_S + season.weights.crew_change_s)
    for entry, crew in crews.items():
        before = plan.crew(entry.race, entry.car)
        if hole is not None and hole.entry == entry and season.positions[hole.position].filled == "always":
            total += OPEN_SEAT_S * priority[entry.car]
        elif crew != before:
            total += crew_s(study, entry, crew) - crew_s(study, entry, before)
    yield total


def trip_s(study: Study, plan: Plan, chosen: Sequence[tuple[str, str]]) -> float | None:
    """Cost of trips, None where a hard limit is broken."""
    rules, total = study.pricer.rules, 0.0
    for athlete in {a for _, a in chosen}:
        starts = [a.race for a in plan.assignments if a.athlete == athlete]
        trips = [race for race, who in chosen if who == athlete]
        before, after = rules.assess(athlete, starts), rules.assess(athlete, starts, trips)
        if len(after.breaches) > len(before.breaches):
            return None
        for trip in trips:
            if len(rules.assess(athlete, [*starts, trip]).breaches) > len(before.breaches):
                return None
        total += after.cost_s - before.cost_s
    return total


def best_total(study: Study, plan: Plan) -> float:
    """Least cost over every set of reserves, by trying all of them."""
    season, weights = study.season, study.season.weights
    idle = [
        (race.id, athlete)
        for race in season.races.values()
        for athlete in season.athletes
        if athlete not in {a.athlete for a in plan.assignments if a.race == race.id}
    ]
    need = int(limit.at_least or 0) if (limit := season.limits.get("cover")) else 0
    best = float("inf")
    for size in range(len(idle) + 1):
        for chosen in combinations(idle, size):
            trips = trip_s(study, plan, chosen)
            if trips is None or any(beyond(study, plan, chosen, race) for race in season.races):
                continue
            if any(ways(study, plan, a.seat, chosen) < need for a in plan.assignments):
                continue
            lost = sum(
                min(every_way(study, plan, a.seat, [who for race, who in chosen if race == a.race]))
                for a in plan.assignments
            )
            spent = size * (weights.priced_travel_place_s + SENT_S)
            best = min(best, weights.absence_chance * lost + trips + spent)
    return best


def beyond(study: Study, plan: Plan, chosen: Sequence[tuple[str, str]], race: str) -> bool:
    places = study.season.races[race].travel_places
    people = {a.athlete for a in plan.assignments if a.race == race} | {who for where, who in chosen if where == race}
    return places is not None and len(people) > places


def ways(study: Study, plan: Plan, seat: Seat, chosen: Sequence[tuple[str, str]]) -> int:
    """People who can step into a seat: reserves, support of no more important a car, starters of a lesser car."""
    season, priority = study.season, study.pricer.priority
    if season.positions[seat.position].filled != "always":
        return 99
    count = sum(race == seat.race and cleared(season, who, seat) for race, who in chosen)
    for a in plan.assignments:
        support = season.positions[a.position].place == "support" and priority[a.car] <= priority[seat.car]
        lesser = priority[a.car] < priority[seat.car]
        count += a.race == seat.race and a.seat != seat and (support or lesser) and cleared(season, a.athlete, seat)
    return count


def random_case(seed: int) -> tuple[Season, Plan]:
    """Two cars of unequal importance, a support seat at times, athletes with few clearances, a priced journey."""
    rng = np.random.default_rng(seed)
    names = ["p1", "p2"]
    season = tiny_season(athletes=8, positions=names, cars=2, races=int(rng.integers(1, 3)))
    cars = {c.id: replace(c, priority=float(rng.choice([1.0, 1.0, 2.0]))) for c in season.cars.values()}
    kept = [c for c in season.clearances if c.athlete in ("a1", "a2", "a3", "a4") or rng.random() < 0.5]
    positions = dict(season.positions)
    if rng.random() < 0.5:
        filled: Literal["if_possible", "always"] = "if_possible" if rng.random() < 0.5 else "always"
        positions["p2"] = replace(positions["p2"], place="support", filled=filled)
    places = {r: replace(f, travel_places=int(rng.integers(4, 8))) for r, f in season.races.items()}
    weights = Weights(
        absence_chance=0.05,
        travel_hour_s=float(rng.choice([0.0, 0.1])),
        priced_travel_place_s=float(rng.choice([0.0, 0.2])),
        crew_change_s=float(rng.choice([0.0, 0.4])),
    )
    season = season.replace(cars=cars, clearances=tuple(kept), positions=positions, races=places, weights=weights)
    return season, plan_of(season, *(f"{race} c{i} a{2 * i - 1} a{2 * i}" for race in season.races for i in (1, 2)))


@pytest.mark.parametrize("seed", range(12))
def test_no_set_of_reserves_costs_less(seed: int) -> None:
    season, plan = random_case(seed)
    if len(season.races) == 2:  # every subset of 8 idle trips is 256 sets; keep two of the four idle athletes
        season = season.replace(clearances=tuple(c for c in season.clearances if c.athlete not in ("a7", "a8")))
        season = season.replace(athletes={a: f for a, f in season.athletes.items() if a not in ("a7", "a8")})
    study = study_of(season, seed)
    travel = choose_reserves(study, plan)
    spent = SENT_S * len(travel.reserves)
    assert travel.status == "proven"
    assert sum(travel.costs.values()) + spent == pytest.approx(best_total(study, plan), abs=1e-4)


@pytest.mark.parametrize("seed", range(12))
def test_race_by_race_says_how_far_from_the_best_it_may_be(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    season, plan = random_case(seed)
    kept = tuple(c for c in season.clearances if c.athlete not in ("a7", "a8"))
    season = season.replace(
        athletes={a: season.athletes[a] for a in ("a1", "a2", "a3", "a4", "a5", "a6")}, clearances=kept
    )
    study = study_of(season, seed)
    monkeypatch.setattr(reserves, "MOST_WAYS", 0)
    travel = choose_reserves(study, plan)
    spent = sum(travel.costs.values()) + SENT_S * len(travel.reserves)
    best = best_total(study, plan)
    assert spent >= best - 1e-4
    stated = [float(found[1]) for note in travel.notes if (found := re.search(r"costs (\S+) s less", note))]
    assert len(stated) == (travel.status == "best_so_far")
    assert spent - sum(stated) <= best + 1e-4


def test_race_by_race_an_earlier_trip_rules_out_a_later_one(monkeypatch: pytest.MonkeyPatch) -> None:
    season = tiny_season(athletes=3, positions=2, races=2, weights=LOSS)
    season = with_limits(season, Limit("weekends_in_a_row", at_most=1), reserves_count=True)
    monkeypatch.setattr(reserves, "MOST_WAYS", 0)
    travel = choose_reserves(study_of(season), plan_of(season, "r1 c1 a1 a2", "r2 c1 a1 a2"))
    assert travel.reserves == (Reserve("r1", "a3"),)
    assert travel.status == "best_so_far"


def test_a_stop_during_the_search_still_gives_reserves_and_cover() -> None:
    season, plan = random_case(1)
    stopped, whole = (choose_reserves(study_of(season, 1), plan, stop) for stop in (lambda: True, None))
    assert len(stopped.cover) == len(whole.cover)
    assert stopped.status in ("proven", "best_so_far")


@pytest.mark.parametrize("seed", range(20))
def test_the_audit_finds_every_chain_good_and_every_seat_covered(seed: int) -> None:
    season, plan = random_case(seed)
    season = with_limits(season, Limit("cover", at_least=1 + seed % 2))
    study = study_of(season, seed)
    travel = choose_reserves(study, plan)
    checks = {check.rule: check for check in audit(season, with_travel(plan, travel), season.weekends).checks}
    assert checks["cover_moves"].kept, checks["cover_moves"]
    assert checks["cover"].kept == (travel.status == "proven")
    assert checks["travel_places"].kept


# ---------------------------------------------------------------------------------------------- one test per rule


def small(*, people: int = 4, weights: Weights = LOSS, **changes: Any) -> tuple[Season, Plan]:
    """Two positions, one car, one race: a1 and a2 start, the others are idle and cleared for everything."""
    season = tiny_season(athletes=people, positions=2, weights=weights, **changes)
    return season, plan_of(season, "r1 c1 a1 a2")


def cleared_only(season: Season, **positions: str) -> Season:
    """Season in which the named athletes are cleared for these positions (such as a3="p1 p2") and nothing else."""
    kept = [c for c in season.clearances if c.athlete not in positions or c.position in positions[c.athlete].split()]
    return season.replace(clearances=tuple(kept))


def test_the_cover_names_the_reserve_who_steps_in() -> None:
    season, plan = small(people=3)
    travel = choose_reserves(study_of(season), plan)
    assert travel.reserves == (Reserve("r1", "a3"),)
    seat = Seat("r1", "c1", "p1")
    assert cover_of(travel, seat) == Cover(seat, (Move("a3", None, seat),))


def test_nobody_travels_when_an_absence_costs_less_than_the_trip() -> None:
    season, plan = small(people=3, weights=replace(LOSS, priced_travel_place_s=1000.0))
    travel = choose_reserves(study_of(season), plan)
    assert travel.reserves == ()
    seat = Seat("r1", "c1", "p1")
    assert cover_of(travel, seat) == Cover(seat, (), seat)
    assert travel.costs == {"absence": pytest.approx(0.02 * 2 * OPEN_SEAT_S)}


def test_a_long_journey_weighs_against_a_faster_reserve() -> None:
    """a3 is at home near the track, a4 is not: with dear travel the nearer one goes, without it the better one."""
    season, plan = small(people=4)
    season = cleared_only(season.replace(races={"r1": replace(season.races["r1"], travel_places=3)}))
    near = replace(season.athletes["a3"], home="track-1")
    study = study_of(season)
    crews = {a: crew_s(study, Entry("r1", "c1"), {"p1": a, "p2": "a2"}) for a in ("a3", "a4")}
    crews = {a: s + crew_s(study, Entry("r1", "c1"), {"p1": "a1", "p2": a}) for a, s in crews.items()}
    better, other = sorted(crews, key=lambda a: crews[a])
    season = season.replace(athletes={**season.athletes, other: replace(near, id=other)})
    assert choose_reserves(study_of(season), plan).reserves == (Reserve("r1", better),)
    dear = season.replace(weights=replace(LOSS, travel_hour_s=10.0))
    assert choose_reserves(study_of(dear), plan).reserves == (Reserve("r1", other),)


def test_places_are_kept_or_paid_for() -> None:
    season, plan = small(people=4)
    season = season.replace(races={"r1": replace(season.races["r1"], travel_places=3)})
    season = with_limits(season, Limit("cover", at_least=2))
    full = choose_reserves(study_of(season), plan)
    assert full.status == "impossible"
    assert len(full.reserves) == 1
    assert "has 1 of 2 ways to be covered; travel places" in full.notes[0]
    priced = with_limits(season, Limit("cover", at_least=2), Limit("travel_places", at_most=3, price_s=0.5))
    paid = choose_reserves(study_of(priced), plan)
    assert paid.status == "proven"
    assert len(paid.reserves) == 2
    assert paid.costs["limit:travel_places"] == pytest.approx(0.5)


def test_cover_is_asked_even_where_it_is_not_worth_it() -> None:
    season, plan = small(people=4, weights=replace(LOSS, priced_travel_place_s=1000.0))
    asked = choose_reserves(study_of(with_limits(season, Limit("cover", at_least=2))), plan)
    assert len(asked.reserves) == 2
    priced = choose_reserves(study_of(with_limits(season, Limit("cover", at_least=2, price_s=3.0))), plan)
    assert priced.reserves == ()
    assert priced.costs["limit:cover"] == pytest.approx(3.0 * 2 * 2)


def test_nobody_who_could_be_sent_is_told() -> None:
    season, plan = small(people=3)
    season = with_limits(cleared_only(season, a3="p1"), Limit("cover", at_least=1))
    travel = choose_reserves(study_of(season), plan)
    assert travel.status == "impossible"
    assert travel.notes == (
        "cover: P2 (p2) of Car 1 (c1) at Race 1 (r1) has 0 of 1 ways to be covered; nobody could be there",
    )


def test_one_in_training_never_covers() -> None:
    season, plan = small(people=3)
    learning = [replace(c, level="training") if c.athlete == "a3" else c for c in season.clearances]
    travel = choose_reserves(study_of(season.replace(clearances=tuple(learning))), plan)
    assert travel.reserves == ()


def test_an_absent_athlete_does_not_travel() -> None:
    season, plan = small(people=3)
    gone = season.with_absence(Absence("a3", FIRST_SUNDAY, FIRST_SUNDAY, "out"))
    assert choose_reserves(study_of(gone), plan).reserves == ()


def two_cars(important: float = 3.0, people: int = 4, **changes: Any) -> tuple[Season, Plan]:
    """Two cars, two positions: a1 and a2 on c1, which matters more, a3 and a4 on c2."""
    season = tiny_season(athletes=people, positions=2, cars=2, weights=LOSS, **changes)
    cars = {**season.cars, "c1": replace(season.cars["c1"], priority=important)}
    season = season.replace(cars=cars)
    return season, plan_of(season, "r1 c1 a1 a2", "r1 c2 a3 a4")


def test_a_starter_of_a_lesser_car_steps_over_and_his_own_seat_is_named_as_open() -> None:
    season, plan = two_cars()
    travel = choose_reserves(study_of(season), plan)
    seat, own = Seat("r1", "c1", "p1"), Seat("r1", "c2", "p1")
    chain = cover_of(travel, seat)
    assert [move.start for move in chain.moves] in ([own], [Seat("r1", "c2", "p2")])
    assert chain.open == chain.moves[-1].start
    assert cover_of(travel, own) == Cover(own, (), own)  # nobody is taken from the car that matters more


def test_equal_cars_do_not_rob_each_other() -> None:
    season, plan = two_cars(important=1.0)
    travel = choose_reserves(study_of(season), plan)
    assert all(cover.moves == () for cover in travel.cover)


def test_a_reserve_covers_the_seat_that_a_starter_leaves() -> None:
    """p2 of the important car is lost: a5 may not work it, but can take over from a3, who may."""
    season, plan = two_cars(people=5)
    season = cleared_only(season, a1="p1", a3="p1 p2", a4="p2", a5="p1")
    season = season.replace(weights=replace(LOSS, crew_change_s=50.0))  # no longer a chain than needed
    travel = choose_reserves(study_of(season), plan)
    seat = Seat("r1", "c1", "p2")
    chain = cover_of(travel, seat)
    assert travel.reserves == (Reserve("r1", "a5"),)
    assert chain.moves == (
        Move("a3", Seat("r1", "c2", "p1"), seat),
        Move("a5", None, Seat("r1", "c2", "p1")),
    )
    assert chain.open is None


def test_support_steps_over_the_wall_and_leaves_its_seat_empty() -> None:
    season, plan = small(people=2)
    stager = Position("p2", "Stager", place="support", filled="if_possible")
    season = season.replace(positions={**season.positions, "p2": stager})
    travel = choose_reserves(study_of(season), plan)
    seat, own = Seat("r1", "c1", "p1"), Seat("r1", "c1", "p2")
    assert cover_of(travel, seat) == Cover(seat, (Move("a2", own, seat),), own)
    assert travel.costs["absence"] < 0.02 * OPEN_SEAT_S


def test_an_athlete_at_another_race_there_that_day_covers_without_a_place() -> None:
    """Two races of one day at one site, hours apart: starters of one cover the other; not when the hours overlap."""
    season = tiny_season(athletes=4, positions=2, races=2, weights=LOSS)
    later = make_race(1, on=FIRST_SUNDAY, report=time(18), start=time(19), site="track-1", weekend="w1")
    season = season.replace(races={"r1": season.races["r1"], "r2": later})
    plan = plan_of(season, "r1 c1 a1 a2", "r2 c1 a3 a4")
    apart = choose_reserves(study_of(season), plan)
    assert apart.reserves == ()
    assert all(cover.open is None and cover.moves for cover in apart.cover)
    overlapping = season.replace(races={**season.races, "r2": replace(later, report=later.report - timedelta(hours=3))})
    both = choose_reserves(study_of(overlapping), plan)
    assert all(cover.moves == () for cover in both.cover)
    assert both.reserves == ()


def test_a_reserve_at_two_races_at_once_is_not_sent() -> None:
    season = tiny_season(athletes=5, positions=2, races=2, weights=LOSS)
    later = make_race(1, on=FIRST_SUNDAY)
    season = season.replace(races={"r1": season.races["r1"], "r2": replace(later, weekend="w1")})
    travel = choose_reserves(study_of(season), plan_of(season, "r1 c1 a1 a2", "r2 c1 a3 a4"))
    assert len(travel.reserves) == 1


def test_nights_away_bind_reserves_and_weekends_only_where_asked() -> None:
    season = tiny_season(athletes=3, positions=2, races=2, weights=LOSS)
    plan = plan_of(season, "r1 c1 a1 a2", "r2 c1 a1 a2")
    assert len(choose_reserves(study_of(season), plan).reserves) == 2
    weekends = Limit("weekends_in_a_row", at_most=1)
    assert len(choose_reserves(study_of(with_limits(season, weekends)), plan).reserves) == 2
    counted = with_limits(season, weekends, reserves_count=True)
    assert len(choose_reserves(study_of(counted), plan).reserves) == 1
    nights = Limit("travel_hours_in_days", at_most=8.0, days=14)
    assert len(choose_reserves(study_of(with_limits(season, nights)), plan).reserves) == 1


def test_pairs_and_those_to_be_kept_apart_stay_so() -> None:
    season, plan = small(people=3)
    apart = season.with_pin(Pin("apart", "a3", "they quarrel", other="a2"))
    travel = choose_reserves(study_of(apart), plan)
    assert cover_of(travel, Seat("r1", "c1", "p1")).moves == ()  # a2 stays on the car
    assert len(cover_of(travel, Seat("r1", "c1", "p2")).moves) == 1


def test_a_pin_that_names_a_car_of_another_race_ties_nobody_here() -> None:
    season, plan = small(people=3)
    season = season.replace(cars=season.cars | {"c9": replace(season.cars["c1"], id="c9")})
    for car, moves in (("c9", 1), ("c1", 0)):
        tied = season.with_pin(Pin("apart", "a3", "they quarrel", "a2", None, car))
        assert len(cover_of(choose_reserves(study_of(tied), plan), Seat("r1", "c1", "p1")).moves) == moves


def test_the_same_reserves_come_out_each_time() -> None:
    season, plan = random_case(5)
    first, again = (choose_reserves(study_of(season, 5), plan) for _ in range(2))
    assert first == again


def test_an_empty_seat_needs_no_cover() -> None:
    season, _ = small(people=3)
    stager = Position("p2", "Stager", place="support", filled="if_possible")
    season = season.replace(positions={**season.positions, "p2": stager})
    season = season.replace(clearances=(*season.clearances, Clearance("a3", "p2", "cleared")))
    travel = choose_reserves(study_of(season), plan_of(season, "r1 c1 a1 -"))
    assert [cover.seat.position for cover in travel.cover] == ["p1"]
