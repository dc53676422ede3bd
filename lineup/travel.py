"""How long a journey between two sites takes, and by road or air."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal
from weakref import WeakKeyDictionary

from geographiclib.geodesic import Geodesic

from lineup.errors import InputError
from lineup.limits import JourneyRules
from lineup.season import JourneyFact, Season, Site


@dataclass(frozen=True, slots=True)
class Journey:
    """Door to door, one way; `computed` False where journeys.csv says it."""

    hours: float
    mode: Literal["road", "air"]
    computed: bool


_KNOWN: WeakKeyDictionary[Season, dict[tuple[str, str], Journey]] = WeakKeyDictionary()


def journey(season: Season, start: str, end: str) -> Journey:
    """Journey between two sites: from journeys.csv, else computed from coordinates.

    Raises
    ------
    InputError
        Where journeys.csv has no such journey and a site has no coordinates.
    """
    known = _KNOWN.get(season)
    if known is None:
        known = _KNOWN[season] = _stated(season.journeys)
    found = known.get((start, end))
    if found is None:
        if start == end:
            found = Journey(0.0, "road", False)
        else:
            km = distance_km(season.sites[start], season.sites[end])
            found = computed_journey(km, season.limits.journeys)
        known[start, end] = found
    return found


def computed_journey(km: float, rules: JourneyRules) -> Journey:
    """Road up to a distance, air beyond it, airports and the ways to and from them included."""
    road_km = km * rules.road_detour
    if road_km <= rules.road_at_most_km:
        return Journey(road_km / rules.road_km_h, "road", True)
    return Journey(rules.air_overhead_h + km / rules.air_km_h, "air", True)


def distance_km(start: Site, end: Site) -> float:
    """Geodesic distance on WGS 84 (Karney, Algorithms for geodesics, J. Geodesy 87, 2013).

    Raises
    ------
    InputError
        Where a site has no coordinates.
    """
    for site in (start, end):
        if site.latitude is None or site.longitude is None:
            raise InputError(
                f"the journey from {start.name} ({start.id}) to {end.name} ({end.id}) is not known: give {site.id} a "
                "latitude and longitude in sites.csv, or the hours in journeys.csv"
            )
    line = Geodesic.WGS84.Inverse(start.latitude, start.longitude, end.latitude, end.longitude, Geodesic.DISTANCE)
    return float(line["s12"]) / 1000.0


def _stated(facts: tuple[JourneyFact, ...]) -> dict[tuple[str, str], Journey]:
    """Journeys of journeys.csv; a way back that is not stated takes as long as the way out."""
    ways = {(fact.end, fact.start): fact for fact in facts} | {(fact.start, fact.end): fact for fact in facts}
    return {
        (start, end): Journey(0.0 if start == end else fact.hours, fact.mode, False)
        for (start, end), fact in ways.items()
    }
