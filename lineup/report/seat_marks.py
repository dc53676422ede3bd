"""What is worth a mark beside a name in a crew: pinned, new in the seat, away from the standing crew, learning."""

from __future__ import annotations

from collections.abc import Iterator

from lineup.pins import bears_on
from lineup.plan import Plan
from lineup.season import Season, Seat


def seat_marks(season: Season, plan: Plan, seat: Seat) -> tuple[str, ...]:
    """Return the marks of one filled seat, in words; none for an empty one."""
    athlete = plan.athlete_in(seat)
    return () if athlete is None else tuple(_marks(season, plan, seat, athlete))


def held_before(season: Season, plan: Plan, seat: Seat) -> str | None:
    """Return who held the seat at the car's last race of the plan before this one; None where there is none."""
    earlier = [race for race in season.races if seat.car in season.cars_in[race] and plan.crew(race, seat.car)]
    if seat.race not in earlier or earlier.index(seat.race) == 0:
        return None
    return plan.athlete_in(Seat(earlier[earlier.index(seat.race) - 1], seat.car, seat.position))


def _marks(season: Season, plan: Plan, seat: Seat, athlete: str) -> Iterator[str]:
    kinds = {pin.kind for pin in season.pins if bears_on(season, pin, athlete, seat)}
    if "must" in kinds:
        yield "pinned"
    if kinds & {"pair", "apart"}:
        yield "tied by a pin"
    before = held_before(season, plan, seat)
    if before is not None and before != athlete:
        yield "new in the seat"
    if season.standing.get((seat.car, seat.position), athlete) != athlete:
        yield "not the standing crew"
    if season.clearance_level(athlete, seat.position, seat.race) == "training":
        yield "in training"
    if season.athletes[athlete].group in ("developing", "candidate"):
        yield season.athletes[athlete].group
