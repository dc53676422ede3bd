"""One athlete's duties of a weekend, as a link on a phone shows them: car, position and who with."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from lineup.plan import Plan
from lineup.report.party import car_name, name_of, position_name
from lineup.season import Season


@dataclass(frozen=True, slots=True)
class Duty:
    """A race to work, or to travel to as a reserve (car and position are empty then).

    `crew` names the others on the same car with their positions; for a reserve, the other reserves.
    """

    race: str
    car: str
    position: str
    crew: tuple[str, ...]


def duties_of(season: Season, plan: Plan, weekend: str, athlete: str) -> Iterator[Duty]:
    """Yield an athlete's duties of a weekend in order of report."""
    for race in season.races_of((weekend,)):
        seats = [a for a in plan.assignments if a.race == race.id and a.athlete == athlete]
        for seat in seats:
            crew = plan.crew(race.id, seat.car)
            others = [p for p in season.positions if p in crew and crew[p] != athlete]
            names = tuple(f"{name_of(season, crew[p])} ({position_name(season, p).lower()})" for p in others)
            yield Duty(race.id, car_name(season, seat.car), position_name(season, seat.position), names)
        party = [r.athlete for r in plan.reserves if r.race == race.id]
        if athlete in party and not seats:
            yield Duty(race.id, "", "", tuple(f"{name_of(season, a)} (reserve)" for a in party if a != athlete))
