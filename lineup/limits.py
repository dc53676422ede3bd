"""Travel and rest limits as data: one record each, with its number, where it comes from, hard or priced."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

# name -> (what is limited, unit, takes a window of days)
KNOWN_LIMITS: Final[Mapping[str, tuple[str, str, bool]]] = {
    "rest_hours": ("hours between released and the next report, the journey left out", "h", False),
    "duty_hours": ("longest span of duties in one day at one site", "h", False),
    "weekly_rest_hours": ("longest rest in each ISO week", "h", False),
    "rolling_rest_hours": ("longest rest in every window of days", "h", True),
    "races_per_weekend": ("races worked in one weekend", "races", False),
    "weekends_in_a_row": ("consecutive weekends with a duty", "weekends", False),
    "races_in_days": ("races worked in a window of days", "races", True),
    "nights_away_in_days": ("nights away from home in a window of days", "nights", True),
    "travel_hours_in_days": ("hours of travel in a window of days", "h", True),
    "travel_places": ("people who can travel to a race", "places", False),
    "cover": ("ways to cover each seat on site", "ways", False),
    "starts": ("starts in the block", "starts", False),
    "recent_grades": ("graded stops lately, to start in a position", "stops", True),
    "height": ("metres below the position's height", "m", False),
    "driving_hours": ("hours at the wheel, for athletes who drive", "h", False),
}


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit. `price_s` None: hard; otherwise each unit beyond costs that many seconds.

    `at_most`, `at_least` and `days` are None where the limit does not have them.
    """

    name: str
    at_most: float | None = None
    at_least: float | None = None
    days: int | None = None
    price_s: float | None = None
    source: str = "limits.toml"
    preset: str | None = None

    @property
    def hard(self) -> bool:
        """Whether breaking it is forbidden rather than priced."""
        return self.price_s is None


@dataclass(frozen=True, slots=True)
class JourneyRules:
    """How a journey is computed from coordinates where journeys.csv has none.

    Road up to `road_at_most_km` of road distance (great-circle distance times `road_detour`), air beyond:
    `air_overhead_h` covers both airports and the drive to and from them.
    """

    road_km_h: float = 85.0
    road_detour: float = 1.2
    road_at_most_km: float = 450.0
    air_km_h: float = 700.0
    air_overhead_h: float = 3.0
    home_rest_h: float = 12.0
    night_away_h: float = 3.0


@dataclass(frozen=True, slots=True)
class Limits:
    """The limits that bind, by name; a limit that is not named does not bind."""

    by_name: Mapping[str, Limit] = field(default_factory=dict)
    reserves_count: bool = False
    journeys: JourneyRules = field(default_factory=JourneyRules)

    def get(self, name: str) -> Limit | None:
        """Return the limit of this name, or None where it does not bind."""
        return self.by_name.get(name)
