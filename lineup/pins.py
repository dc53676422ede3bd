"""At which races a pin holds, on which seats it bears, and how both are said."""

from __future__ import annotations

from lineup.season import Pin, Season, Seat


def matches_race(season: Season, pin: Pin, race: str) -> bool:
    """Whether a race has any seat that a pin speaks of; see `Pin` for what holds there."""
    return (
        pin.race in (None, race)
        and (pin.car is None or pin.car in season.cars_in[race])
        and (pin.position is None or pin.position in season.positions_of(race))
        and bool(season.cars_in[race] and season.positions_of(race))
    )


def bears_on(season: Season, pin: Pin, athlete: str, seat: Seat) -> bool:
    """Whether a pin is among the reasons why an athlete sits in a seat."""
    if pin.kind in ("pair", "apart"):
        return athlete in (pin.athlete, pin.other) and matches_race(season, pin, seat.race)
    return pin.kind == "must" and pin.athlete == athlete and pin.matches(seat)


def pin_place(season: Season, pin: Pin) -> str:
    """Say which seats a pin speaks of: at which races it holds, for a pair or apart."""
    if pin.kind in ("pair", "apart"):
        return _pair_races(season, pin) or "at every race"
    parts = [
        "any position" if pin.position is None else season.label("positions", pin.position),
        "" if pin.car is None else f"on car {season.label('cars', pin.car)}",
        "" if pin.race is None else f"at {season.label('races', pin.race)}",
    ]
    return " ".join(part for part in parts if part)


def pair_rule(season: Season, pin: Pin) -> str:
    """Say what a pair or apart pin asks of its two athletes, and at which races."""
    rule = "work the same car or not at all" if pin.kind == "pair" else "never work the same car"
    return " ".join(part for part in (rule, _pair_races(season, pin)) if part)


def _pair_races(season: Season, pin: Pin) -> str:
    """Races at which a pair or apart holds; nothing where it names none."""
    where = "" if pin.race is None else f"at {season.label('races', pin.race)}"
    named = [
        "" if pin.car is None else f"car {season.label('cars', pin.car)}",
        "" if pin.position is None else f"a {season.label('positions', pin.position)}",
    ]
    having = " and ".join(part for part in named if part)
    return " ".join(part for part in (where, f"where there is {having}" if having else "") if part)
