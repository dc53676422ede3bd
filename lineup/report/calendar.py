"""Calendars (.ics, RFC 5545) per athlete and per car: report and race times on the site's clock."""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final, Literal, get_args

from icalendar import Calendar, Event

from lineup.errors import InputError
from lineup.plan import Plan
from lineup.report.party import car_name, name_of, position_name
from lineup.report.plain import file_name, one_line
from lineup.report.time_zone import zone_rules
from lineup.safe_files import write_whole
from lineup.season import Race, Season

# namespace of this package's UIDs: any fixed UUID serves (RFC 4122, version 5 names)
NAMESPACE: Final = uuid.UUID("8c0a2f1e-5d0b-5e0f-9d58-6a1c3e7b9f42")
PRODUCT: Final = "-//lineup//weekend rosters//EN"
CARE: Final = "Nobody drives tired. The sanctioning body's rules, local codes and licensed practice come first."

Part = Literal["report", "race"]
PARTS: Final[tuple[Part, ...]] = get_args(Part)


@dataclass(frozen=True, slots=True)
class Issue:
    """What tells one edition of a calendar from another.

    Attributes
    ----------
    key : names the organisation or its store in every UID; the same for every edition.
    sequence : rises with every edition, the revision's number for one; 0 for a first draft.
    stamped_at : aware moment at which this edition was made (DTSTAMP).
    """

    key: str
    sequence: int
    stamped_at: datetime

    def __post_init__(self) -> None:
        if self.stamped_at.tzinfo is None:
            raise InputError(f"the time {self.stamped_at.isoformat()} does not say its offset from UTC")
        if not 0 <= self.sequence < 2**31:
            raise InputError(f"the sequence of a calendar lies between 0 and 2147483647, not {self.sequence}")


@dataclass(frozen=True, slots=True)
class Duty:
    """One appointment of an owner (an athlete or a car) at a race."""

    owner: str
    race: str
    title: str
    text: str
    cancelled: bool = False


def write_calendars(
    folder: Path | str, season: Season, plan: Plan, issue: Issue, *, earlier: Iterable[Plan] = ()
) -> tuple[Path, ...]:
    """Write one calendar per athlete with a duty and one per car; return their paths.

    `earlier` are the plans that were given out before: whoever had a duty there and has none now gets it cancelled.

    Raises
    ------
    InputError
        When the folder cannot be written to.
    """
    folder, before = Path(folder), tuple(earlier)
    athletes = _owners((plan, *before), "athlete", season.athletes)
    cars = _owners((plan, *before), "car", season.cars)
    files = {f"{file_name('athlete', a)}.ics": athlete_calendar(season, plan, a, issue, before) for a in athletes}
    files |= {f"{file_name('car', c)}.ics": car_calendar(season, plan, c, issue, before) for c in cars}
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, content in files.items():
            write_whole(folder / name, content)
    except OSError as error:
        raise InputError(f"{folder}: cannot be written ({error.strerror or error})") from None
    return tuple(folder / name for name in files)


def athlete_calendar(season: Season, plan: Plan, athlete: str, issue: Issue, earlier: Iterable[Plan] = ()) -> bytes:
    """Return the calendar of one athlete: the own duties and nobody else's."""
    now = list(_duties_of_athlete(season, plan, athlete))
    gone = _cancelled(now, (duty for old in earlier for duty in _duties_of_athlete(season, old, athlete)))
    return _calendar(season, name_of(season, athlete), [*now, *gone], issue)


def car_calendar(season: Season, plan: Plan, car: str, issue: Issue, earlier: Iterable[Plan] = ()) -> bytes:
    """Return the calendar of one car: its races with their crews."""
    now = list(_duties_of_car(season, plan, car))
    gone = _cancelled(now, (duty for old in earlier for duty in _duties_of_car(season, old, car)))
    return _calendar(season, car_name(season, car), [*now, *gone], issue)


def _duties_of_athlete(season: Season, plan: Plan, athlete: str) -> Iterator[Duty]:
    owner = f"athlete/{athlete}"
    for a in plan.assignments:
        if a.athlete == athlete and a.race in season.races:
            seat = f"{position_name(season, a.position)}, {car_name(season, a.car)}"
            others = [f"{position_name(season, p)}: {name_of(season, w)}" for p, w in plan.crew(a.race, a.car).items()]
            yield Duty(owner, a.race, seat, "Crew: " + "; ".join(others))
    for r in plan.reserves:
        if r.athlete == athlete and r.race in season.races:
            yield Duty(owner, r.race, "Reserve", "Travels as a reserve")


def _duties_of_car(season: Season, plan: Plan, car: str) -> Iterator[Duty]:
    for race in dict.fromkeys(a.race for a in plan.assignments if a.car == car and a.race in season.races):
        crew = plan.crew(race, car)
        ordered = [p for p in season.positions if p in crew] + [p for p in crew if p not in season.positions]
        names = [f"{position_name(season, p)}: {name_of(season, crew[p])}" for p in ordered]
        yield Duty(f"car/{car}", race, car_name(season, car), "Crew: " + "; ".join(names))


def _cancelled(now: Iterable[Duty], before: Iterable[Duty]) -> list[Duty]:
    kept = {duty.race for duty in now}
    gone = {duty.race: duty for duty in before if duty.race not in kept}
    return [Duty(d.owner, d.race, d.title, "No longer planned", cancelled=True) for d in gone.values()]


def _owners(plans: Iterable[Plan], field: Literal["athlete", "car"], order: Iterable[str]) -> list[str]:
    named: set[str] = set()
    for plan in plans:
        named |= {getattr(a, field) for a in plan.assignments}
        named |= {r.athlete for r in plan.reserves} if field == "athlete" else set()
    return [key for key in order if key in named]


def _calendar(season: Season, title: str, duties: Iterable[Duty], issue: Issue) -> bytes:
    duties = tuple(duties)
    if not duties:  # a calendar without a component is none (RFC 5545, 3.6)
        raise InputError(f"{title} has no duty in this plan: there is no calendar to write")
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("x-wr-calname", one_line(title))
    for zone, years in _zones(season, duties).items():
        calendar.add_component(zone_rules(zone, min(years), max(years)))
    for duty in sorted(duties, key=lambda d: (season.races[d.race].report, d.owner)):
        for part in PARTS:
            event = _event(season, season.races[duty.race], duty, part, issue)
            if event is not None:
                calendar.add_component(event)
    return bytes(calendar.to_ical())


def _zones(season: Season, duties: Iterable[Duty]) -> dict[str, set[int]]:
    """Return the zones of the duties' sites, with the years in which their rules are needed."""
    zones: dict[str, set[int]] = {}
    for duty in duties:
        race = season.races[duty.race]
        years = {season.local(moment, race.site).year for moment in (race.report, race.released)}
        zones.setdefault(season.sites[race.site].time_zone, set()).update(years)
    return zones


def _event(season: Season, race: Race, duty: Duty, part: Part, issue: Issue) -> Event | None:
    """Return the time from report to start, or the race from start to release; None where it takes no time."""
    begin, end = (race.report, race.start) if part == "report" else (race.start, race.released)
    if end <= begin:
        return None
    name = one_line(race.name or race.id)
    event = Event()
    event.add("uid", f"{uuid.uuid5(NAMESPACE, '/'.join((issue.key, duty.owner, race.id, part)))}@lineup")
    event.add("dtstamp", issue.stamped_at.astimezone(UTC).replace(microsecond=0))
    event.add("sequence", issue.sequence)
    event.add("dtstart", _clock(season, race, begin))
    event.add("dtend", _clock(season, race, end))
    event.add("summary", one_line(f"{'Report' if part == 'report' else 'Race'}: {name} ({duty.title})"))
    event.add("location", one_line(season.sites[race.site].name))
    event.add("description", one_line(f"{duty.text}. {CARE}"))
    event.add("status", "CANCELLED" if duty.cancelled else "CONFIRMED")
    event.add("transp", "TRANSPARENT" if duty.cancelled else "OPAQUE")
    return event


def _clock(season: Season, race: Race, moment: datetime) -> datetime:
    """Return a moment on the site's clock, or in UTC where that clock shows it for the second time.

    RFC 5545, 3.3.5: a local time that occurs twice means the first one.
    """
    local = season.local(moment, race.site)
    return moment.astimezone(UTC) if local.fold else local
