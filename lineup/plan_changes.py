"""Which seats change hands between two plans."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import asdict, dataclass

from lineup.plan import Plan
from lineup.season import Seat


@dataclass(frozen=True, slots=True, order=True)
class SeatChange:
    """A seat whose athlete differs; None: empty before, or after."""

    seat: Seat
    before: str | None
    after: str | None


def change_to_dict(change: SeatChange) -> dict[str, str | None]:
    """Return the JSON form of a seat that changes hands."""
    return {**asdict(change.seat), "before": change.before, "after": change.after}


def seat_changes(before: Plan, after: Plan, races: Collection[str] | None = None) -> tuple[SeatChange, ...]:
    """Return the seats whose athlete differs, in order; of some races where asked."""
    seats = sorted(before.by_seat.keys() | after.by_seat.keys())
    pairs = ((seat, before.athlete_in(seat), after.athlete_in(seat)) for seat in seats)
    return tuple(SeatChange(s, b, a) for s, b, a in pairs if b != a and (races is None or s.race in races))
