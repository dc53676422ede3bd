"""What the sheet of a car says of each seat: who has it, who steps in, what is new or pinned."""

from __future__ import annotations

from dataclasses import dataclass

from lineup.eligibility import bears_on
from lineup.plan import Cover, Move
from lineup.report.party import car_name, name_of, position_name
from lineup.report.stamp import Paper
from lineup.season import Race, Season, Seat


@dataclass(frozen=True, slots=True)
class SeatLine:
    """One row of the table."""

    position: str
    athlete: str
    cover: str
    notes: str
    changed: bool


def seat_lines(season: Season, paper: Paper, race: Race, car: str) -> tuple[SeatLine, ...]:
    """Return the rows of a car's table at one race."""
    covers = {cover.seat: cover for cover in paper.plan.cover}
    return tuple(_seat_line(season, paper, seat, covers.get(seat)) for seat in season.seats(race.id, car))


def _seat_line(season: Season, paper: Paper, seat: Seat, cover: Cover | None) -> SeatLine:
    athlete = paper.plan.athlete_in(seat)
    position = season.positions[seat.position]
    name = name_of(season, athlete) if athlete else ("OPEN" if position.filled == "always" else "not filled")
    notes = []
    changed = paper.earlier is not None and paper.earlier.athlete_in(seat) != athlete
    if changed:
        notes.append("new")
    if athlete and any(bears_on(season, pin, athlete, seat) for pin in season.pins):
        notes.append("pinned")
    if athlete and season.clearance_level(athlete, seat.position, seat.race) == "training":
        notes.append("in training")
    return SeatLine(position.name, name, cover_text(season, cover), ", ".join(notes), changed or name == "OPEN")


def cover_text(season: Season, cover: Cover | None) -> str:
    """Return a chain of moves in words: who steps in, from where, and what stays open."""
    if cover is None:
        return ""
    steps = [f"{name_of(season, m.athlete)} {_origin(season, m, cover.seat)}".strip() for m in cover.moves if m.end]
    if cover.open is not None:
        steps.append(f"open: {position_name(season, cover.open.position)}, {car_name(season, cover.open.car)}")
    return "; ".join(steps)


def _origin(season: Season, move: Move, seat: Seat) -> str:
    if move.start is None:
        return "(reserve)"
    position = position_name(season, move.start.position)
    return f"({position})" if move.start.car == seat.car else f"({position}, {car_name(season, move.start.car)})"
