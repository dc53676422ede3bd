"""Holds the tables against each other: what no single row can show to be wrong."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from lineup.read.notes import Notes
from lineup.read.rows import AthleteRow, CarRow, EntryRow, RaceRow, SiteRow, WorkedRow
from lineup.season import JourneyFact, Race, WorkedDuty


def check_weekends(file: str, rows: Sequence[RaceRow], notes: Notes) -> None:
    """Check that one weekend label is one ISO week, by the local day of report."""
    week_of: dict[str, tuple[int, int]] = {}
    label_of: dict[tuple[int, int], str] = {}
    for r in sorted(rows, key=lambda r: r.report):
        week = r.report.isocalendar()[:2]
        first = week_of.setdefault(r.weekend, week)
        if first != week:
            odd = f"stands for ISO week {_week(first)}, but this race is in {_week(week)}"
            notes.problem(file, r.row, "weekend", r.weekend, odd, "Give every ISO week a label of its own.")
            continue
        label = label_of.setdefault(week, r.weekend)
        if label != r.weekend:
            odd = f"is a second label for ISO week {_week(week)}"
            notes.problem(file, r.row, "weekend", r.weekend, odd, f"Write {label}, or correct the date of report.")


def _week(week: tuple[int, int]) -> str:
    return f"{week[0]}-W{week[1]:02d}"


def check_entries(
    file: str, rows: Sequence[EntryRow], races: Sequence[RaceRow], cars: Sequence[CarRow], notes: Notes
) -> None:
    """Check that a car races in its own series."""
    series_of_race = {r.race: r.series for r in races}
    series_of_car = {r.car: r.series for r in cars}
    for r in rows:
        if r.race in series_of_race and r.car in series_of_car:
            own, needed = series_of_car[r.car], series_of_race[r.race]
            if own != needed:
                odd = f"is of series {own}, but race {r.race} is of {needed}"
                notes.problem(file, r.row, "car", r.car, odd, "Correct the entry, or the series in cars.csv.")


def check_services(file: str, races: Sequence[RaceRow], served: frozenset[str], notes: Notes) -> None:
    """Check that every race expects some service; `served` are the races that services.csv names."""
    for r in races:
        if r.race not in served:
            mend = "Add a row to services.csv: the expected stops of each kind."
            notes.problem(file, r.row, "race", r.race, "has no services", mend)


def check_coordinates(
    file: str,
    rows: Sequence[SiteRow],
    athletes: Sequence[AthleteRow],
    races: Mapping[str, Race],
    worked: Iterable[WorkedDuty],
    journeys: Iterable[JourneyFact],
    notes: Notes,
) -> None:
    """Check that a site has both coordinates, or journeys.csv covers every journey to and from it."""
    placed = {r.site for r in rows if r.latitude is not None and r.longitude is not None}
    homes = {r.home: None for r in athletes}
    venues = {race.site: None for race in races.values()} | {duty.site: None for duty in worked}
    covered = {frozenset((j.start, j.end)) for j in journeys}
    for r in rows:
        if (r.latitude is None) != (r.longitude is None):
            empty = "latitude" if r.latitude is None else "longitude"
            notes.problem(file, r.row, empty, None, "is empty, though the other coordinate is given", "Give both.")
        elif r.site not in placed:
            ends = {**homes, **venues} if r.site in venues else venues if r.site in homes else {}
            open_ends = [end for end in ends if end != r.site and frozenset((r.site, end)) not in covered]
            if open_ends:
                more = f" and {len(open_ends) - 1} more" if len(open_ends) > 1 else ""
                odd = f"is empty, and journeys.csv has no journey between {r.site} and {open_ends[0]}{more}"
                notes.problem(file, r.row, "latitude", None, odd, "Give latitude and longitude, or the journeys.")


def check_worked(file: str, rows: Sequence[WorkedRow], worked: Sequence[WorkedDuty], notes: Notes) -> None:
    """Check that past duties of one athlete do not overlap."""
    row_of = {(row.athlete, row.race): row for row in rows}
    last: dict[str, WorkedDuty] = {}
    for duty in sorted(worked, key=lambda duty: duty.report):
        before = last.get(duty.athlete)
        if before is not None and duty.report < before.released:
            row = row_of[duty.athlete, duty.race]
            odd = f"begins before the duty of {before.race} (row {row_of[before.athlete, before.race].row}) is over"
            notes.warning(file, row.row, "report", row.report.isoformat(), odd, "Check both.")
        last[duty.athlete] = duty
