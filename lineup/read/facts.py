"""Turns sound rows into the facts of a season: SI units, UTC moments, nothing for empty cells."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from lineup.read.clock import hours, utc_moment
from lineup.read.notes import Notes
from lineup.read.rows import (
    AthleteRow,
    AvailabilityRow,
    CarRow,
    ClearanceRow,
    JourneyRow,
    MissRow,
    PinRow,
    PositionRow,
    RaceRow,
    ServiceRow,
    SiteRow,
    WorkedRow,
)
from lineup.season import (
    Absence,
    Athlete,
    Car,
    Clearance,
    JourneyFact,
    Miss,
    Pin,
    Position,
    Race,
    Site,
    WorkedDuty,
)


def athletes(rows: Sequence[AthleteRow]) -> dict[str, Athlete]:
    """Athletes by id."""
    return {r.athlete: Athlete(r.athlete, r.name, r.home, r.group, r.height_m, r.mass, r.drives, r.email) for r in rows}


def positions(rows: Sequence[PositionRow]) -> dict[str, Position]:
    """Positions by id."""
    return {r.position: Position(r.position, r.name, r.place, r.filled, r.min_height_m) for r in rows}


def clearances(rows: Sequence[ClearanceRow]) -> tuple[Clearance, ...]:
    """Clearances in file order."""
    return tuple(Clearance(r.athlete, r.position, r.level, r.since, r.series) for r in rows)


def sites(rows: Sequence[SiteRow]) -> dict[str, Site]:
    """Sites by id."""
    return {r.site: Site(r.site, r.name, r.time_zone, r.latitude, r.longitude) for r in rows}


def cars(rows: Sequence[CarRow]) -> dict[str, Car]:
    """Cars by id."""
    return {r.car: Car(r.car, r.series, r.priority, r.home, r.name or "", r.slowest_s) for r in rows}


def misses(rows: Sequence[MissRow]) -> dict[str, Miss]:
    """Misses by id."""
    return {r.miss: Miss(r.miss, r.name, r.loss_s, r.penalty_s) for r in rows}


def races(file: str, rows: Sequence[RaceRow], zones: Mapping[str, str], notes: Notes) -> dict[str, Race]:
    """Races by id, in order of report; a local time that its clock does not have is noted."""
    found = []
    for r in rows:
        if r.site not in zones:
            continue
        report = _moment(file, r.row, "report", r.report, zones[r.site], notes)
        start = _moment(file, r.row, "start", r.start, zones[r.site], notes)
        if report is None or start is None:
            continue
        if report > start:
            notes.problem(file, r.row, "report", r.report.isoformat(), "is after the start", "Correct report or start.")
            continue
        end = start + hours(r.hours)
        found.append(
            Race(r.race, r.weekend, r.series, r.site, report, start, end, r.tire, r.name or "", r.travel_places)
        )
    return {race.id: race for race in sorted(found, key=lambda race: (race.report, race.id))}


def worked(file: str, rows: Sequence[WorkedRow], zones: Mapping[str, str], notes: Notes) -> tuple[WorkedDuty, ...]:
    """Past duties in file order; a local time that its clock does not have is noted."""
    found = []
    for r in rows:
        if r.site not in zones:
            continue
        report = _moment(file, r.row, "report", r.report, zones[r.site], notes)
        released = _moment(file, r.row, "released", r.released, zones[r.site], notes)
        if report is None or released is None:
            continue
        if report >= released:
            shown = r.released.isoformat()
            notes.problem(file, r.row, "released", shown, "is not after report", "Correct report or released.")
            continue
        found.append(WorkedDuty(r.athlete, r.race, r.site, report, released, r.car, r.position))
    return tuple(found)


def _moment(file: str, row: int, column: str, local: datetime, zone: str, notes: Notes) -> datetime | None:
    try:
        return utc_moment(local, zone)
    except ValueError as error:
        notes.problem(file, row, column, local.isoformat(), str(error), "Give a time before or after the change.")
        return None


def service_counts(rows: Sequence[ServiceRow]) -> dict[str, dict[str, float]]:
    """Count the expected stops by race and service."""
    counts: dict[str, dict[str, float]] = {}
    for r in rows:
        counts.setdefault(r.race, {})[r.service] = r.count
    return counts


def absences(file: str, rows: Sequence[AvailabilityRow], notes: Notes) -> tuple[Absence, ...]:
    """Absences in file order."""
    for r in rows:
        if r.last_day is not None and r.last_day < r.first_day:
            notes.problem(file, r.row, "last_day", r.last_day, "is before first_day", "Correct one of them.")
        if r.status == "only" and not r.positions:
            mend = "Name the positions still allowed, or write out."
            notes.problem(file, r.row, "positions", None, "is empty, though status is only", mend)
        if r.status == "out" and r.positions:
            mend = "Clear it, or write only."
            notes.problem(file, r.row, "positions", ";".join(r.positions), "is given, though status is out", mend)
    return tuple(
        Absence(r.athlete, r.first_day, r.last_day, r.status, r.positions, r.kind, r.entered_by or "") for r in rows
    )


def pins(file: str, rows: Sequence[PinRow], notes: Notes) -> tuple[Pin, ...]:
    """Pins in file order."""
    for r in rows:
        if r.pin in ("must", "never"):
            if r.other is not None:
                notes.problem(file, r.row, "other", r.other, f"does not go with {r.pin}", "Clear it.")
            continue
        if r.other is None:
            notes.problem(file, r.row, "other", None, f"is empty, though pin is {r.pin}", "Name the other athlete.")
        if r.other == r.athlete:
            notes.problem(file, r.row, "other", r.other, "is the same athlete", "Name another athlete.")
    return tuple(Pin(r.pin, r.athlete, r.reason, r.other, r.race, r.car, r.position) for r in rows)


def journeys(file: str, rows: Sequence[JourneyRow], notes: Notes) -> tuple[JourneyFact, ...]:
    """Journeys as given; one to the same site says nothing."""
    for r in rows:
        if r.start == r.to and r.hours:
            notes.problem(file, r.row, "hours", r.hours, "is not 0 from a site to itself", "Leave the row out.")
    return tuple(JourneyFact(r.start, r.to, r.hours, r.mode) for r in rows if r.start != r.to)
