"""The frozen facts of a season, as the season folder states them, in SI units and UTC.

Nothing here computes a decision. Copies with a change come from `Season.replace` and the few named shortcuts;
a season is never edited.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from functools import cached_property
from typing import Any, Literal, Self, TypeVar
from zoneinfo import ZoneInfo

import pandas as pd

from lineup.limits import Limits

Key = TypeVar("Key", bound=Hashable)
Fact = TypeVar("Fact")
Group = Literal["lead", "regular", "developing", "candidate"]
PinKind = Literal["must", "never", "pair", "apart"]

GRADE_COLUMNS = (
    "row",  # row in graded_stops.csv, as a spreadsheet counts
    "date",  # datetime64[s]
    "setting",  # race, practice, tryout
    "service",
    "tire",
    "athlete",  # "" where the row grades what car and driver do
    "position",  # "" where the row grades what car and driver do
    "task",
    "seconds",  # own time, waiting for others excluded; NaN where a finish mark could not be turned into one
    "stop",  # "" where unknown
    "race",
    "car",
    "misses",  # tuple of miss ids, repeats allowed
    "spoilers",  # tuple of spoilers of the whole stop, copied from stops.csv
)
STOP_COLUMNS = ("row", "stop", "date", "setting", "service", "tire", "total_s", "race", "car", "spoilers")


@dataclass(frozen=True, slots=True)
class Site:
    """A place: a race track, a shop, a home base. Degrees; `None` where journeys.csv covers every journey."""

    id: str
    name: str
    time_zone: str
    latitude: float | None = None
    longitude: float | None = None


@dataclass(frozen=True, slots=True)
class Position:
    """One place in a crew. `filled` is "always" or "if_possible"; `place` is "over_wall" or "support"."""

    id: str
    name: str
    place: Literal["over_wall", "support"] = "over_wall"
    filled: Literal["always", "if_possible"] = "always"
    min_height_m: float | None = None


@dataclass(frozen=True, slots=True)
class Athlete:
    """A pit-crew member. `home` is a site id; `drives` means: drives to the site in person."""

    id: str
    name: str
    home: str
    group: Group = "regular"
    height_m: float | None = None
    mass_kg: float | None = None
    drives: bool = False
    email: str | None = None


@dataclass(frozen=True, slots=True)
class Clearance:
    """The coach's word that an athlete may work a position; `series` None holds for all."""

    athlete: str
    position: str
    level: Literal["cleared", "training"]
    since: date | None = None
    series: str | None = None


@dataclass(frozen=True, slots=True)
class Car:
    """A car of the organisation. `slowest_s`: the mean stop of its slowest service stays at or below this."""

    id: str
    series: str
    priority: float
    home: str
    name: str = ""
    slowest_s: float | None = None


@dataclass(frozen=True, slots=True)
class Race:
    """A race at a site. `report`, `start` and `released` are aware, in UTC."""

    id: str
    weekend: str
    series: str
    site: str
    report: datetime
    start: datetime
    released: datetime
    tire: str
    name: str = ""
    travel_places: int | None = None


@dataclass(frozen=True, slots=True, order=True)
class Entry:
    """A car in a race."""

    race: str
    car: str


@dataclass(frozen=True, slots=True, order=True)
class Seat:
    """One position of an entry."""

    race: str
    car: str
    position: str

    @property
    def entry(self) -> Entry:
        """The entry this seat belongs to."""
        return Entry(self.race, self.car)


@dataclass(frozen=True, slots=True)
class Task:
    """One piece of a choreography. `position` None: car and driver do it.

    `split` is the skill it draws on (the task's own id unless given); `seconds` the nominal time.
    """

    id: str
    name: str
    position: str | None
    after: tuple[str, ...]
    split: str
    seconds: float
    misses: tuple[str, ...] = ()
    load: bool = False
    early: bool = False
    only_with: str | None = None
    only_without: str | None = None
    release: bool = False


@dataclass(frozen=True)
class Choreography:
    """The tasks of one service, in an order in which every task follows what it waits for."""

    service: str
    name: str
    tasks: tuple[Task, ...]

    @cached_property
    def positions(self) -> tuple[str, ...]:
        """Every position the choreography names, in order of first mention."""
        named = (p for t in self.tasks for p in (t.position, t.only_with, t.only_without) if p is not None)
        return tuple(dict.fromkeys(named))


@dataclass(frozen=True, slots=True)
class Miss:
    """A named slip: seconds it costs the stop, seconds it costs the race as a penalty, or both."""

    id: str
    name: str
    loss_s: float = 0.0
    penalty_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Absence:
    """A spell in which an athlete is out, or may work some positions only. Never a diagnosis.

    `last_day` None: open. Days are local days at the race's site, both ends included.
    """

    athlete: str
    first_day: date
    last_day: date | None
    status: Literal["out", "only"]
    positions: tuple[str, ...] = ()
    kind: Literal["medical", "personal", "discipline", "other"] = "other"
    entered_by: str = ""

    def touches(self, first: date, last: date) -> bool:
        """Whether the spell holds on any day from first to last, both included."""
        return self.first_day <= last and (self.last_day is None or first <= self.last_day)


@dataclass(frozen=True, slots=True)
class Pin:
    """A decision taken by hand, with its reason.

    A pin matches a seat when `race`, `car` and `position`, as far as it names them, are those of the seat; it matches
    a race that has at least one such seat. At every race it matches:

    - must: the athlete works one of the matching seats.
    - never: the athlete works none of them.
    - pair: the athlete and `other` work the same car, whichever, or neither works.
    - apart: they never work the same car, whichever.

    For the last two, `race`, `car` and `position` say at which races the pin holds, not on which car or in which seat:
    there it looks at every seat. At a race without a matching seat a pin says nothing.
    """

    kind: PinKind
    athlete: str
    reason: str
    other: str | None = None
    race: str | None = None
    car: str | None = None
    position: str | None = None

    def matches(self, seat: Seat) -> bool:
        """Whether the pin speaks of this seat; what it leaves open matches everything."""
        return (
            self.race in (None, seat.race) and self.car in (None, seat.car) and self.position in (None, seat.position)
        )


@dataclass(frozen=True, slots=True)
class WorkedDuty:
    """A duty before the block; times aware, in UTC. Car and position where known."""

    athlete: str
    race: str
    site: str
    report: datetime
    released: datetime
    car: str | None = None
    position: str | None = None


@dataclass(frozen=True, slots=True)
class JourneyFact:
    """A journey that overrides the computed one, one way."""

    start: str
    end: str
    hours: float
    mode: Literal["road", "air"]


@dataclass(frozen=True, slots=True)
class Weights:
    """What each wish costs, in seconds of stop time. Every default is zero: nothing is priced unless asked.

    `tail` is λ, the weight of the tail mean of the worst `tail_share` of stops. `absence_chance` is the chance
    that a starter is lost, per race. With `keep_chance` above zero a change from the standing crew counts its
    gain only when it is at least this likely to be real.
    """

    crew_change_s: float = 0.0
    not_standing_s: float = 0.0
    travel_hour_s: float = 0.0
    uneven_s: float = 0.0
    development_start_s: float = 0.0
    priced_travel_place_s: float = 0.0
    absence_chance: float = 0.02
    tail: float = 0.0
    tail_share: float = 0.1
    keep_chance: float = 0.0


@dataclass(frozen=True, eq=False)
class Season:
    """Every fact of one season.

    `grades` has the columns `GRADE_COLUMNS`, `stops` the columns `STOP_COLUMNS`. Mappings are keyed by id, in
    file order; `races` in order of report. `fingerprints` maps each part of the inputs to the sha256 of its
    canonical data.
    """

    athletes: Mapping[str, Athlete]
    positions: Mapping[str, Position]
    sites: Mapping[str, Site]
    cars: Mapping[str, Car]
    races: Mapping[str, Race]
    entries: tuple[Entry, ...]
    service_counts: Mapping[str, Mapping[str, float]]
    choreographies: Mapping[str, Choreography]
    clearances: tuple[Clearance, ...] = ()
    misses: Mapping[str, Miss] = field(default_factory=dict)
    grades: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(GRADE_COLUMNS)))
    stops: pd.DataFrame = field(default_factory=lambda: pd.DataFrame(columns=list(STOP_COLUMNS)))
    absences: tuple[Absence, ...] = ()
    pins: tuple[Pin, ...] = ()
    standing: Mapping[tuple[str, str], str] = field(default_factory=dict)
    worked: tuple[WorkedDuty, ...] = ()
    journeys: tuple[JourneyFact, ...] = ()
    limits: Limits = field(default_factory=Limits)
    weights: Weights = field(default_factory=Weights)
    fingerprints: Mapping[str, str] = field(default_factory=dict)

    def replace(self, **changes: Any) -> Self:
        """Return a copy with some facts changed."""
        return replace(self, **changes)

    def with_pin(self, *pins: Pin) -> Self:
        """Return a copy with pins added."""
        return self.replace(pins=(*self.pins, *pins))

    def with_absence(self, *absences: Absence) -> Self:
        """Return a copy with absences added."""
        return self.replace(absences=(*self.absences, *absences))

    def with_clearance(self, *clearances: Clearance) -> Self:
        """Return a copy with clearances added."""
        return self.replace(clearances=(*self.clearances, *clearances))

    @cached_property
    def weekends(self) -> tuple[str, ...]:
        """Weekend labels in order of time."""
        return tuple(dict.fromkeys(race.weekend for race in self.races.values()))

    @cached_property
    def cars_in(self) -> Mapping[str, tuple[str, ...]]:
        """Cars entered in each race, in file order."""
        return {race: tuple(e.car for e in self.entries if e.race == race) for race in self.races}

    @cached_property
    def _positions_of_race(self) -> Mapping[str, tuple[str, ...]]:
        named: dict[str, tuple[str, ...]] = {}
        for race in self.races:
            services = self.service_counts.get(race, {})
            mentioned = {p for s in services for p in self.choreographies[s].positions}
            named[race] = tuple(p for p in self.positions if p in mentioned)
        return named

    def positions_of(self, race: str) -> tuple[str, ...]:
        """Positions an entry of this race has seats for, in the order of positions.csv."""
        return self._positions_of_race[race]

    def seats(self, race: str, car: str) -> tuple[Seat, ...]:
        """Seats of one entry."""
        return tuple(Seat(race, car, position) for position in self.positions_of(race))

    def races_of(self, weekends: tuple[str, ...]) -> tuple[Race, ...]:
        """Races of these weekends, in order of report."""
        return tuple(race for race in self.races.values() if race.weekend in weekends)

    def zone(self, site: str) -> ZoneInfo:
        """Time zone of a site."""
        return ZoneInfo(self.sites[site].time_zone)

    def local(self, moment: datetime, site: str) -> datetime:
        """Return the same moment on the site's clock."""
        return moment.astimezone(self.zone(site))

    def duty_days(self, race: str) -> tuple[date, date]:
        """First and last local day of a duty in this race."""
        facts = self.races[race]
        return self.local(facts.report, facts.site).date(), self.local(facts.released, facts.site).date()

    @cached_property
    def iso_weeks(self) -> Mapping[str, tuple[int, int]]:
        """ISO year and week of each race, by the local day of its report."""
        return {race: self.duty_days(race)[0].isocalendar()[:2] for race in self.races}

    @cached_property
    def clearances_of(self) -> Mapping[tuple[str, str], tuple[Clearance, ...]]:
        """Clearances by (athlete, position)."""
        return _grouped(((c.athlete, c.position), c) for c in self.clearances)

    @cached_property
    def absences_of(self) -> Mapping[str, tuple[Absence, ...]]:
        """Absences by athlete."""
        return _grouped((absence.athlete, absence) for absence in self.absences)

    @cached_property
    def pins_of(self) -> Mapping[str, tuple[Pin, ...]]:
        """Pins by the athlete they name first."""
        return _grouped((pin.athlete, pin) for pin in self.pins)

    def clearance_level(self, athlete: str, position: str, race: str) -> Literal["cleared", "training"] | None:
        """Best clearance of an athlete for a position that holds at this race, or None."""
        series, day = self.races[race].series, self.duty_days(race)[0]
        rows = self.clearances_of.get((athlete, position), ())
        levels = {c.level for c in rows if c.series in (None, series) and (c.since is None or c.since <= day)}
        return "cleared" if "cleared" in levels else "training" if levels else None

    def label(self, kind: str, key: str) -> str:
        """Name and id of a thing, as messages show it: "Ana Lind (ana-lind)"."""
        name: str = getattr(self, kind)[key].name
        return f"{name} ({key})" if name and name != key else key


def _grouped(pairs: Iterable[tuple[Key, Fact]]) -> dict[Key, tuple[Fact, ...]]:
    found: dict[Key, list[Fact]] = {}
    for key, fact in pairs:
        found.setdefault(key, []).append(fact)
    return {key: tuple(facts) for key, facts in found.items()}
