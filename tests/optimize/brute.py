"""Every lineup of a tiny season, priced by `Pricer` and checked without the optimiser."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product
from math import prod

from lineup.plan import Assignment
from lineup.problem import Problem
from lineup.season import Season, Seat


def every_lineup(problem: Problem) -> Iterator[tuple[Assignment, ...]]:
    """All lineups that keep every hard rule."""
    races = [list(_race_lineups(problem, race.id)) for race in problem.races]
    for choice in product(*races):
        lineup = tuple(a for part in choice for a in part)
        if _keeps_schedules(problem, lineup):
            yield lineup


def size(problem: Problem) -> int:
    """Number of ways to fill the seats race by race, schedules not yet looked at."""
    return prod(sum(1 for _ in _race_lineups(problem, race.id)) for race in problem.races)


def best_lineup(problem: Problem) -> tuple[float, tuple[Assignment, ...]] | None:
    """The cheapest lineup and its value, or None where there is none."""
    priced = ((problem.pricer.value(lineup), lineup) for lineup in every_lineup(problem))
    return min(priced, default=None, key=lambda pair: pair[0])


def _race_lineups(problem: Problem, race: str) -> Iterator[tuple[Assignment, ...]]:
    seats = [seat for seat in problem.seats if seat.race == race]
    options: list[list[str | None]] = [
        [*problem.eligible[seat], *([None] if problem.season.positions[seat.position].filled == "if_possible" else [])]
        for seat in seats
    ]
    for choice in product(*options):
        busy = [athlete for athlete in choice if athlete is not None]
        if len(set(busy)) == len(busy):
            crew = dict(zip(seats, choice, strict=True))
            if _keeps_pins(problem.season, race, crew) and _keeps_race(problem, race, crew):
                yield tuple(Assignment(s.race, s.car, s.position, a) for s, a in crew.items() if a is not None)


def _keeps_pins(season: Season, race: str, crew: dict[Seat, str | None]) -> bool:
    car_of = {athlete: seat.car for seat, athlete in crew.items() if athlete is not None}
    for pin in season.pins:
        matching = [
            seat
            for seat in crew
            if pin.race in (None, race) and pin.car in (None, seat.car) and pin.position in (None, seat.position)
        ]
        if not matching:
            continue
        one, two = car_of.get(pin.athlete), car_of.get(pin.other or "")
        if pin.kind == "must" and pin.athlete not in [crew[seat] for seat in matching]:
            return False
        if pin.kind == "pair" and one != two:
            return False
        if pin.kind == "apart" and one is not None and one == two:
            return False
    return True


def _keeps_race(problem: Problem, race: str, crew: dict[Seat, str | None]) -> bool:
    facts, limit = problem.season.races[race], problem.season.limits.get("travel_places")
    starters = sum(athlete is not None for athlete in crew.values())
    places = facts.travel_places if facts.travel_places is not None else limit and limit.at_most
    if places is not None and starters > places and (limit is None or limit.hard):
        return False
    return all(
        _slowest_mean(problem, race, car, crew) <= (problem.season.cars[car].slowest_s or float("inf"))
        for car in problem.season.cars_in[race]
    )


def _slowest_mean(problem: Problem, race: str, car: str, crew: dict[Seat, str | None]) -> float:
    filled = {seat.position: athlete for seat, athlete in crew.items() if seat.car == car and athlete is not None}
    return max(float(bank.stop_times(bank.crew_row(filled)[None]).mean()) for bank, _ in problem.services(race))


def _keeps_schedules(problem: Problem, lineup: tuple[Assignment, ...]) -> bool:
    return not any(
        problem.rules.assess(athlete, tuple(a.race for a in lineup if a.athlete == athlete)).breaches
        for athlete in problem.starters
    )
