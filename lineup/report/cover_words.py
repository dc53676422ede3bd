"""Who steps in for whom, said in one line: the chain of moves and the seat it leaves open."""

from __future__ import annotations

from lineup.plan import Cover, Plan
from lineup.report.party import car_name, name_of, position_name
from lineup.season import Season, Seat


def cover_words(season: Season, cover: Cover) -> str:
    """Return the chain of moves that fills a seat if its starter is lost."""
    parts = [f"{name_of(season, m.athlete)} from {_from(season, m.start)}" for m in cover.moves if m.end is not None]
    words = ", then ".join(parts) or "nobody"
    return f"{words}; leaves open: {seat_words(season, cover.open)}" if cover.open is not None else words


def uncovered(plan: Plan) -> tuple[Seat, ...]:
    """Return the filled seats that nobody on site could take over."""
    covered = {cover.seat for cover in plan.cover}
    return tuple(a.seat for a in plan.assignments if a.seat not in covered)


def seat_words(season: Season, seat: Seat) -> str:
    """Return a seat without its race: "Ember, fueler"."""
    return f"{car_name(season, seat.car)}, {position_name(season, seat.position).lower()}"


def _from(season: Season, seat: Seat | None) -> str:
    return "the reserves" if seat is None else seat_words(season, seat)
