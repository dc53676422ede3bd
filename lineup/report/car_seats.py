"""What the sheet of a car says of each seat: who has it, who steps in, what is new or pinned."""

from __future__ import annotations

from dataclasses import dataclass

from lineup.pins import bears_on
from lineup.plan import Cover
from lineup.report.cover_words import cover_words
from lineup.report.party import name_of
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
    unknown = "" if not paper.plan.cover else "nobody on site"  # a plan made by hand says nothing of cover
    steps = unknown if cover is None else cover_words(season, cover)
    return SeatLine(position.name, name, steps, ", ".join(notes), changed or name == "OPEN")
