"""Warns of pins that no plan can keep, or that say nothing: the plan itself then names the clash and its repairs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations
from typing import Any

from lineup.read.notes import Notes
from lineup.season import Absence, Pin, Season, Seat


def warn_of_odd_pins(season: Season, file: str, rows: Sequence[Any], notes: Notes) -> None:
    """Look at every pin alone, then at every two of the same athletes."""
    pins = list(zip(rows, season.pins, strict=True))
    for row, pin in pins:
        for column, value, odd, mend in _alone(season, pin):
            notes.warning(file, row.row, column, value, odd, mend)
    for (first_row, first), (row, second) in combinations(pins, 2):
        clash = _clash(season, first, second)
        if clash is not None:
            message = f"no plan can keep this and row {first_row.row}: {clash}"
            notes.warning(file, row.row, "pin", second.kind, message, "Take one of the two out.")


def matching_seats(season: Season, pin: Pin) -> dict[str, tuple[Seat, ...]]:
    """Seats a must or never pin speaks of, by race; races without one are left out."""
    found = {}
    for race in season.races if pin.race is None else (pin.race,):
        cars = [car for car in season.cars_in[race] if pin.car in (None, car)]
        places = [place for place in season.positions_of(race) if pin.position in (None, place)]
        if cars and places:
            found[race] = tuple(Seat(race, car, place) for car in cars for place in places)
    return found


def _alone(season: Season, pin: Pin) -> Iterator[tuple[str, str, str, str]]:
    seats = matching_seats(season, pin)
    if not seats:
        yield "pin", pin.kind, "matches no seat of any race, so it says nothing", "Correct race, car or position."
    if pin.kind != "must":
        return
    for race, places in seats.items():
        named = {seat.position for seat in places}
        levels = {place: season.clearance_level(pin.athlete, place, race) for place in named}
        if not any(level == "cleared" or (level and pin.position) for level in levels.values()):
            odd = f"is not cleared for any seat this pin matches at race {race}"
            yield "athlete", pin.athlete, odd, "Add a clearance, or take the pin out."
            break
    for race in seats:
        absence = next((a for a in season.absences if a.athlete == pin.athlete and _touches(season, a, race)), None)
        left = {p for seat in seats[race] for p in (seat.position,)} & set(absence.positions if absence else ())
        if absence is not None and not left:
            odd = f"is {absence.status} at race {race}, by availability.csv" + (
                f" for {', '.join(absence.positions)} alone" if absence.positions else ""
            )
            yield "athlete", pin.athlete, odd, "Correct the spell, or take the pin out."
            break


def _touches(season: Season, absence: Absence, race: str) -> bool:
    first, last = season.duty_days(race)
    return absence.first_day <= last and (absence.last_day is None or first <= absence.last_day)


def _clash(season: Season, first: Pin, second: Pin) -> str | None:
    """Say why two pins cannot both be kept, or None; only what is certain counts."""
    kinds = {first.kind, second.kind}
    if kinds == {"pair", "apart"}:
        same = {first.athlete, first.other} == {second.athlete, second.other}
        if same and (first.race is None or second.race is None or first.race == second.race):
            return "one wants the two together, the other apart"
    if "must" not in kinds or not kinds <= {"must", "never"}:
        return None
    wanted, other = matching_seats(season, first), matching_seats(season, second)
    for race in wanted.keys() & other.keys():
        here, there = set(wanted[race]), set(other[race])
        if first.athlete == second.athlete and kinds == {"must"} and not here & there:
            return f"at race {race} they want one athlete in different seats"
        if first.athlete == second.athlete and kinds == {"must", "never"}:
            free = here - there if first.kind == "must" else there - here
            if not free:
                return f"at race {race} every seat one wants is forbidden by the other"
        if first.athlete != second.athlete and kinds == {"must"} and len(here | there) == 1:
            return f"at race {race} they want two athletes in one seat"
    return None
