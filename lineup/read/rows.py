"""The columns of every table: one model per file, a field per column; a field with a default may be missing or empty.

`key` names the columns that must not repeat; `one_of` the columns of which a file holds at most one,
`any_of` those of which it holds at least one.
"""

from __future__ import annotations

from typing import Annotated, ClassVar, Final, Literal

from pydantic import BaseModel, ConfigDict, Field

from lineup.read.cells import (
    AthleteId,
    CarId,
    Centimetres,
    CostSeconds,
    Count,
    Day,
    Degrees90,
    Degrees180,
    Email,
    Hours,
    Inches,
    JourneyHours,
    Kilograms,
    LocalTime,
    PastCarId,
    PastRaceId,
    Places,
    PositionId,
    PositiveSeconds,
    Pounds,
    Priority,
    RaceId,
    Ref,
    Seconds,
    SeriesId,
    ServiceId,
    Setting,
    SiteId,
    Slug,
    Slugs,
    Text,
    Texts,
    YesNo,
    Zone,
)

METRES_IN_INCH: Final = 0.0254  # exact: international yard and pound agreement, 1959
KILOGRAMS_IN_POUND: Final = 0.45359237  # exact: the same agreement


def metres(centimetres: float | None, inches: float | None) -> float | None:
    """Return a length in metres, to the micrometre, from whichever is given."""
    if centimetres is not None:
        return round(centimetres / 100, 6)
    return None if inches is None else round(inches * METRES_IN_INCH, 6)


class Row(BaseModel):
    """A row of a table; `row` counts as a spreadsheet shows it."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)
    key: ClassVar[tuple[str, ...]] = ()
    one_of: ClassVar[tuple[tuple[str, str], ...]] = ()
    any_of: ClassVar[tuple[str, ...]] = ()
    row: int = Field(exclude=True)


class AthleteRow(Row):
    """athletes.csv."""

    key = ("athlete",)
    one_of = (("height_cm", "height_in"), ("mass_kg", "mass_lb"))
    athlete: Slug
    name: Text
    home: SiteId
    group: Literal["lead", "regular", "developing", "candidate"]
    height_cm: Centimetres | None = None
    height_in: Inches | None = None
    mass_kg: Kilograms | None = None
    mass_lb: Pounds | None = None
    drives: YesNo = False
    email: Email | None = None

    @property
    def height_m(self) -> float | None:
        """Height in metres."""
        return metres(self.height_cm, self.height_in)

    @property
    def mass(self) -> float | None:
        """Mass in kilograms."""
        if self.mass_lb is not None:
            return round(self.mass_lb * KILOGRAMS_IN_POUND, 6)
        return self.mass_kg


class PositionRow(Row):
    """positions.csv."""

    key = ("position",)
    one_of = (("min_height_cm", "min_height_in"),)
    position: Slug
    name: Text
    place: Literal["over_wall", "support"]
    filled: Literal["always", "if_possible"] = "always"
    min_height_cm: Centimetres | None = None
    min_height_in: Inches | None = None

    @property
    def min_height_m(self) -> float | None:
        """Least height in metres."""
        return metres(self.min_height_cm, self.min_height_in)


class ClearanceRow(Row):
    """clearances.csv."""

    key = ("athlete", "position", "level", "series")
    athlete: AthleteId
    position: PositionId
    level: Literal["cleared", "training"]
    since: Day | None = None
    series: SeriesId | None = None


class SiteRow(Row):
    """sites.csv."""

    key = ("site",)
    site: Slug
    name: Text
    time_zone: Zone
    latitude: Degrees90 | None = None
    longitude: Degrees180 | None = None


class CarRow(Row):
    """cars.csv."""

    key = ("car",)
    car: Slug
    series: Slug
    priority: Priority
    home: SiteId
    name: Text | None = None
    slowest_s: PositiveSeconds | None = None


class RaceRow(Row):
    """races.csv."""

    key = ("race",)
    race: Slug
    weekend: Text
    series: Slug
    site: SiteId
    report: LocalTime
    start: LocalTime
    hours: Hours
    tire: Slug
    name: Text | None = None
    travel_places: Places | None = None


class EntryRow(Row):
    """entries.csv."""

    key = ("race", "car")
    race: RaceId
    car: CarId


class ServiceRow(Row):
    """services.csv."""

    key = ("race", "service")
    race: RaceId
    service: ServiceId
    count: Count


class MissRow(Row):
    """misses.csv."""

    key = ("miss",)
    miss: Slug
    name: Text
    loss_s: CostSeconds
    penalty_s: CostSeconds


class StopRow(Row):
    """stops.csv."""

    key = ("stop",)
    stop: Slug
    date: Day
    setting: Setting
    service: ServiceId
    tire: Slug
    total_s: PositiveSeconds
    race: PastRaceId | None = None
    car: PastCarId | None = None
    spoilers: Texts = ()


class GradeRow(Row):
    """graded_stops.csv; what must not be empty follows from the task."""

    any_of = ("seconds", "finish_s")
    date: Day
    setting: Setting
    service: ServiceId
    tire: Slug
    athlete: AthleteId | None
    position: PositionId | None
    task: Slug
    seconds: Seconds | None = None
    finish_s: Seconds | None = None
    stop: Slug | None = None
    race: PastRaceId | None = None
    car: PastCarId | None = None
    misses: Annotated[Slugs, Ref("misses")] = ()


class AvailabilityRow(Row):
    """availability.csv."""

    key = ("athlete", "first_day", "last_day", "status")
    athlete: AthleteId
    first_day: Day
    last_day: Day | None = None
    status: Literal["out", "only"]
    positions: Annotated[Slugs, Ref("positions")] = ()
    kind: Literal["medical", "personal", "discipline", "other"]
    entered_by: Text | None = None


class PinRow(Row):
    """pins.csv."""

    key = ("pin", "athlete", "other", "race", "car", "position")
    pin: Literal["must", "never", "pair", "apart"]
    athlete: AthleteId
    other: AthleteId | None = None
    race: RaceId | None = None
    car: CarId | None = None
    position: PositionId | None = None
    reason: Text


class StandingRow(Row):
    """standing_crews.csv."""

    key = ("car", "position")
    car: CarId
    position: PositionId
    athlete: AthleteId


class WorkedRow(Row):
    """worked.csv; its races may be of an earlier season."""

    key = ("athlete", "race")
    athlete: AthleteId
    race: Slug
    site: SiteId
    report: LocalTime
    released: LocalTime
    car: CarId | None = None
    position: PositionId | None = None


class JourneyRow(Row):
    """journeys.csv."""

    key = ("start", "to")
    start: SiteId = Field(alias="from")
    to: SiteId
    hours: JourneyHours
    mode: Literal["road", "air"]


TABLES: Final[dict[str, type[Row]]] = {
    "sites": SiteRow,
    "positions": PositionRow,
    "athletes": AthleteRow,
    "clearances": ClearanceRow,
    "cars": CarRow,
    "races": RaceRow,
    "entries": EntryRow,
    "services": ServiceRow,
    "misses": MissRow,
    "stops": StopRow,
    "graded_stops": GradeRow,
    "availability": AvailabilityRow,
    "pins": PinRow,
    "standing_crews": StandingRow,
    "worked": WorkedRow,
    "journeys": JourneyRow,
}
OPTIONAL_TABLES: Final = frozenset({"misses", "stops", "availability", "pins", "standing_crews", "worked", "journeys"})
