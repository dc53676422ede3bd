"""Who may not be put into a seat even in an emergency: nobody without clearance, nobody who is unavailable."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from lineup.plan_changes import SeatChange
from lineup.season import Absence, Season, Seat
from lineup.store.changes import label, seat_text


def unfit(season: Season, changes: Iterable[SeatChange]) -> Iterator[str]:
    """Name every new seat whose athlete has no clearance for it, or is unavailable on its days.

    The kind of an absence is never told: "unavailable" is all that leaves the season folder.
    """
    for change in changes:
        athlete, seat = change.after, change.seat
        if athlete is None:
            continue
        who = label(season, "athletes", athlete)
        if season.clearance_level(athlete, seat.position, seat.race) is None:
            yield f"{who} has no clearance for {seat_text(season, seat)}"
        if any(_stops(season, absence, seat) for absence in season.absences if absence.athlete == athlete):
            yield f"{who} is unavailable for {seat_text(season, seat)}"


def _stops(season: Season, absence: Absence, seat: Seat) -> bool:
    if not absence.touches(*season.duty_days(seat.race)):
        return False
    return absence.status == "out" or seat.position not in absence.positions
