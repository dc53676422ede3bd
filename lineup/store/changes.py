"""Who moved between two plans: seats whose athlete differs, people who join or leave a trip."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from lineup.plan import Plan
from lineup.plan_changes import SeatChange
from lineup.report.party import travellers
from lineup.season import Season, Seat


@dataclass(frozen=True, slots=True, order=True)
class TripChange:
    """An athlete who joins the people who travel to a race, or leaves them."""

    race: str
    athlete: str
    joins: bool


def races_of(season: Season, weekend: str) -> frozenset[str]:
    """Return the ids of a weekend's races."""
    return frozenset(race.id for race in season.races_of((weekend,)))


def trip_changes(before: Plan, after: Plan, races: Collection[str] | None = None) -> tuple[TripChange, ...]:
    """Return who joins or leaves which trip; of some races where asked."""
    old, new = travellers(before, races), travellers(after, races)
    joins = [TripChange(race, athlete, True) for race, athlete in new - old]
    return tuple(sorted(joins + [TripChange(race, athlete, False) for race, athlete in old - new]))


def label(season: Season, kind: str, key: str | None) -> str:
    """Name and id of a thing, or the bare id where the season no longer has it."""
    if key is None:
        return "nobody"
    return season.label(kind, key) if key in getattr(season, kind) else key


def seat_text(season: Season, seat: Seat) -> str:
    """Return a seat in words: race, car, position."""
    parts = (("races", seat.race), ("cars", seat.car), ("positions", seat.position))
    return ", ".join(label(season, kind, key) for kind, key in parts)


def change_text(season: Season, change: SeatChange) -> str:
    """Return a seat change as one sentence."""
    after, before = label(season, "athletes", change.after), label(season, "athletes", change.before)
    return f"{seat_text(season, change.seat)}: {after} instead of {before}"


def trip_text(season: Season, change: TripChange) -> str:
    """Return a trip change as one sentence."""
    verb = "joins" if change.joins else "no longer travels to"
    return f"{label(season, 'athletes', change.athlete)} {verb} {label(season, 'races', change.race)}"


def change_texts(season: Season, changes: Iterable[SeatChange | TripChange]) -> tuple[str, ...]:
    """Return each change as one sentence."""
    return tuple(change_text(season, c) if isinstance(c, SeatChange) else trip_text(season, c) for c in changes)
