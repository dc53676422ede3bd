"""Warns of pins that no plan can keep, or that say nothing: the plan itself then names the clash and its repairs."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

from lineup.read.notes import Notes
from lineup.read.rows import PinRow
from lineup.season import Pin, Season, Seat

Seats = dict[str, frozenset[Seat]]  # by race; races without one are left out


@dataclass(frozen=True)
class _Placed:
    """A pin, its row and the seats it speaks of."""

    row: int
    pin: Pin
    seats: Seats


def warn_of_odd_pins(season: Season, file: str, rows: Sequence[PinRow], notes: Notes) -> None:
    """Look at every pin alone, then at every two."""
    placed = [_Placed(row.row, pin, matching_seats(season, pin)) for row, pin in zip(rows, season.pins, strict=True)]
    for one in placed:
        for column, value, odd, mend in _alone(season, one.pin, one.seats):
            notes.warning(file, one.row, column, value, odd, mend)
    for first, second in combinations(placed, 2):
        clash = _clash(first, second)
        if clash is not None:
            notes.warning(file, second.row, "pin", second.pin.kind, clash, "Take one of the two out.")


def matching_seats(season: Season, pin: Pin) -> Seats:
    """Seats a pin speaks of, by race."""
    found = {}
    for race in season.races if pin.race is None else (pin.race,):
        seats = frozenset(seat for car in season.cars_in[race] for seat in season.seats(race, car) if pin.matches(seat))
        if seats:
            found[race] = seats
    return found


def _alone(season: Season, pin: Pin, seats: Seats) -> Iterator[tuple[str, str, str, str]]:
    """Tell what is odd about one pin: column, value, what, mend."""
    if not seats:
        yield "pin", pin.kind, "matches no seat of any race, so it says nothing", "Correct race, car or position."
    if pin.kind in ("pair", "apart"):
        for column, value, have in (("car", pin.car, "car"), ("position", pin.position, "position")):
            if value is not None:
                odd = f"says only at which races this {pin.kind} holds: where there is this {have}, but then on any car"
                yield column, value, odd, "Clear it, unless that is meant."
    if pin.kind != "must":
        return
    for race, there in seats.items():
        levels = [season.clearance_level(pin.athlete, seat.position, race) for seat in there]
        if "cleared" not in levels and not (pin.position and "training" in levels):
            odd = f"is not cleared for any seat this pin matches at race {race}"
            yield "athlete", pin.athlete, odd, "Add a clearance, or take the pin out."
            break
    for race, there in seats.items():
        days = season.duty_days(race)
        absence = next((a for a in season.absences_of.get(pin.athlete, ()) if a.touches(*days)), None)
        if absence is not None and not {seat.position for seat in there} & set(absence.positions):
            state = f"may work {', '.join(absence.positions)} only" if absence.positions else "is out"
            odd = f"{state} at race {race}, by availability.csv"
            yield "athlete", pin.athlete, odd, "Correct the spell, or take the pin out."
            break


def _clash(first: _Placed, second: _Placed) -> str | None:
    """Say why two pins cannot both be kept, or None; only what is certain counts."""
    kinds = {first.pin.kind, second.pin.kind}
    races = [race for race in first.seats if race in second.seats]
    if kinds == {"pair", "apart"} and races:
        same = {first.pin.athlete, first.pin.other} == {second.pin.athlete, second.pin.other}
        where = "at all" if len(races) == max(len(first.seats), len(second.seats)) else f"at {', '.join(races)}"
        return f"with row {first.row} this keeps both athletes from working {where}" if same else None
    if "must" not in kinds or not kinds <= {"must", "never"}:
        return None
    clash = next(filter(None, (_clash_at(race, first, second) for race in races)), None)
    return clash and f"no plan can keep this and row {first.row}: {clash}"


def _clash_at(race: str, first: _Placed, second: _Placed) -> str | None:
    here, there = first.seats[race], second.seats[race]
    same_athlete, both_must = first.pin.athlete == second.pin.athlete, first.pin.kind == second.pin.kind
    if same_athlete and both_must and not here & there:
        return f"at race {race} they want one athlete in two seats"
    if same_athlete and not both_must and not (here - there if first.pin.kind == "must" else there - here):
        return f"at race {race} every seat that one wants the other forbids"
    if not same_athlete and both_must and len(here | there) == 1:
        return f"at race {race} they want two athletes in one seat"
    return None
