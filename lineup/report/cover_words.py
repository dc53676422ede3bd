"""Who steps in for whom, said in one line: the chain of moves and the seat it leaves open."""

from __future__ import annotations

from lineup.plan import Cover, Move, Plan
from lineup.report.party import car_name, name_of, position_name
from lineup.season import Season, Seat


def cover_words(season: Season, cover: Cover) -> str:
    """Return the chain of moves that fills a seat if its starter is lost; "nobody" where there is none."""
    steps = [f"{name_of(season, m.athlete)} ({_origin(season, m, cover.seat)})" for m in cover.moves if m.end]
    if not steps:
        return "nobody"
    chain = ", then ".join(steps)
    return chain if cover.open is None else f"{chain}; leaves open: {seat_words(season, cover.open)}"


def uncovered(season: Season, plan: Plan) -> tuple[Seat, ...]:
    """Return the filled seats, of those that must be, which nobody on site could take over."""
    covered = {cover.seat for cover in plan.cover if cover.moves}
    must = {position.id for position in season.positions.values() if position.filled == "always"}
    return tuple(a.seat for a in plan.assignments if a.position in must and a.seat not in covered)


def seat_words(season: Season, seat: Seat) -> str:
    """Return a seat without its race: "fueler on Ember"."""
    return f"{position_name(season, seat.position).lower()} on {car_name(season, seat.car)}"


def _origin(season: Season, move: Move, seat: Seat) -> str:
    if move.start is None:
        return "reserve"
    same_car = move.start.car == seat.car
    return position_name(season, move.start.position).lower() if same_car else seat_words(season, move.start)
