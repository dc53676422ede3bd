"""Distances against published tests, and how journeys follow from them."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import pytest

from lineup.errors import InputError
from lineup.limits import JourneyRules, Limits
from lineup.season import JourneyFact, Site
from lineup.travel import Journey, computed_journey, distance_km, journey
from tests.builders import tiny_season

REFERENCE = Path(__file__).parents[2] / "shared" / "reference"
EARTH_KM = 6371.0088  # mean radius, IUGG


def site(name: str, latitude: float | None, longitude: float | None) -> Site:
    return Site(name, name.title(), "UTC", latitude, longitude)


def great_circle_km(a: Site, b: Site) -> float:
    """Haversine on a sphere."""
    assert a.latitude is not None and b.latitude is not None and a.longitude is not None and b.longitude is not None
    f1, f2 = math.radians(a.latitude), math.radians(b.latitude)
    half = math.sin((f2 - f1) / 2) ** 2
    half += math.cos(f1) * math.cos(f2) * math.sin(math.radians(b.longitude - a.longitude) / 2) ** 2
    return 2 * EARTH_KM * math.asin(math.sqrt(half))


def rows(name: str) -> list[dict[str, str]]:
    if not (REFERENCE / name).exists():
        pytest.skip(f"{name} is not at hand")
    with (REFERENCE / name).open(encoding="utf-8") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


def test_a_line_of_latitude_by_hand() -> None:
    # Karney 2013, table 2: from the equator, one degree of longitude is a * pi / 180, a = 6378137 m (WGS 84).
    assert distance_km(site("a", 0, 0), site("b", 0, 1)) == pytest.approx(6378.137 * math.pi / 180, abs=1e-9)
    # quarter meridian of WGS 84: 10 001.965729 km
    assert distance_km(site("a", 0, 0), site("b", 90, 0)) == pytest.approx(10001.965729, abs=1e-6)


def test_great_circles_stay_near() -> None:
    a, b = site("a", 35.35, -80.68), site("b", 37.59, -77.42)
    assert distance_km(a, b) == pytest.approx(great_circle_km(a, b), rel=0.0035)


# Karney, Test set for geodesics (2010), WGS 84: latitude and longitude of both ends, metres
GEODTEST = (
    (35.60777, -139.44815, -11.17491, -69.95921, 8935244.56048183),
    (55.52454, 106.05087, 77.03196, 197.18234, 4105086.171392441),
    (-21.97856, 142.59065, 41.84138, 98.56635, 8394328.894657671),
    (-66.99028, 112.2363, -12.70631, 285.90344, 11150344.231208025),
)


@pytest.mark.parametrize(("lat1", "lon1", "lat2", "lon2", "metres"), GEODTEST)
def test_published_geodesics(lat1: float, lon1: float, lat2: float, lon2: float, metres: float) -> None:
    a, b = site("a", lat1, lon1), site("b", lat2, lon2)
    assert distance_km(a, b) == pytest.approx(metres / 1000, abs=1e-6)
    assert great_circle_km(a, b) == pytest.approx(metres / 1000, rel=0.0035)


def test_the_whole_test_set() -> None:
    for row in rows("geodtest20_wgs84.csv"):
        ends = site("a", float(row["lat1"]), float(row["lon1"])), site("b", float(row["lat2"]), float(row["lon2"]))
        assert distance_km(*ends) == pytest.approx(float(row["s12"]) / 1000, abs=1e-6)


def test_vincenty_on_older_ellipsoids() -> None:
    # Vincenty, Survey Review XXIII (1975), table II; his ellipsoids differ from WGS 84 by less than 0.05 %
    for row in rows("vincenty1975_tableII.csv"):
        ends = site("a", degrees(row["lat1_dms"]), 0.0), site("b", degrees(row["lat2_dms"]), degrees(row["L_dms"]))
        assert distance_km(*ends) == pytest.approx(float(row["s_m"]) / 1000, rel=0.0005)


def degrees(dms: str) -> float:
    d, m, s = dms.split()
    return math.copysign(abs(float(d)) + float(m) / 60 + float(s) / 3600, -1 if d.startswith("-") else 1)


# ------------------------------------------------------------------------------------------------------- journeys


def test_road_up_to_a_distance_then_air() -> None:
    rules = JourneyRules(road_km_h=80, road_detour=1.25, road_at_most_km=400, air_km_h=600, air_overhead_h=4)
    assert computed_journey(320, rules) == Journey(5.0, "road", True)  # 400 km of road
    assert computed_journey(330, rules) == Journey(4 + 330 / 600, "air", True)
    assert computed_journey(1200, rules) == Journey(6.0, "air", True)


def test_journeys_csv_overrides_both_ways_unless_both_are_given() -> None:
    season = tiny_season(races=2)
    one = season.replace(journeys=(JourneyFact("shop", "track-1", 2.5, "air"),))
    assert journey(one, "shop", "track-1") == journey(one, "track-1", "shop") == Journey(2.5, "air", False)
    both = one.replace(journeys=(*one.journeys, JourneyFact("track-1", "shop", 3.5, "road")))
    assert journey(both, "shop", "track-1") == Journey(2.5, "air", False)
    assert journey(both, "track-1", "shop") == Journey(3.5, "road", False)
    assert journey(both, "shop", "track-2").computed


def test_a_site_to_itself_takes_no_time() -> None:
    season = tiny_season()
    bare = season.replace(sites={key: Site(key, s.name, s.time_zone) for key, s in season.sites.items()})
    assert journey(bare, "shop", "shop").hours == 0


def test_an_unknown_journey_says_what_to_give() -> None:
    season = tiny_season()
    sites = season.sites | {"track-1": Site("track-1", "Track 1", "UTC")}
    with pytest.raises(InputError, match=r"from The shop \(shop\) to Track 1 \(track-1\).*latitude.*journeys.csv"):
        journey(season.replace(sites=sites), "shop", "track-1")


def test_rules_of_limits_toml_are_used() -> None:
    season = tiny_season()
    slow = season.replace(limits=Limits(journeys=JourneyRules(road_km_h=42.5)))
    assert journey(slow, "shop", "track-1").hours == pytest.approx(2 * journey(season, "shop", "track-1").hours)
