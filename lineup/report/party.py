"""Who travels to a race and who is unavailable for it. The kind of an absence never leaves the season folder."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from lineup.plan import Plan
from lineup.report.plain import latin
from lineup.season import Season


def travellers(plan: Plan, races: Collection[str] | None = None) -> frozenset[tuple[str, str]]:
    """Return (race, athlete) of everybody who travels, starters and reserves; of some races where asked."""
    pairs = {(a.race, a.athlete) for a in plan.assignments} | {(r.race, r.athlete) for r in plan.reserves}
    return frozenset(pair for pair in pairs if races is None or pair[0] in races)


def unavailable(season: Season, races: Iterable[str]) -> tuple[str, ...]:
    """Return the athletes who are out on a day of one of these races, in the order of the athletes file."""
    days = [season.duty_days(race) for race in races]
    out = {a.athlete for a in season.absences if a.status == "out" and any(a.touches(*span) for span in days)}
    return tuple(athlete for athlete in season.athletes if athlete in out)


def name_of(season: Season, athlete: str) -> str:
    """Return an athlete's name, with the id where another bears the same or a printed sheet could not show it."""
    facts = season.athletes.get(athlete)
    if facts is None:
        return athlete
    alike = sum(other.name == facts.name for other in season.athletes.values())
    clear = alike == 1 and latin(facts.name)
    return facts.name if clear else f"{facts.name} ({athlete})".strip()


def car_name(season: Season, car: str) -> str:
    """Return a car's name, or its id where it has none."""
    return season.cars[car].name or car if car in season.cars else car


def position_name(season: Season, position: str) -> str:
    """Return a position's name, or its id where the season no longer has it."""
    return season.positions[position].name if position in season.positions else position
