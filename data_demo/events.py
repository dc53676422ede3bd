"""Where and when: invented sites and races, past races, journeys, limits and weights."""

from __future__ import annotations

SITES = (  # site, name, time_zone, latitude, longitude
    ("wrenfield", "Wrenfield shop", "America/New_York", "35.58", "-80.77"),
    ("callow-bend", "Callow Bend shop", "America/Chicago", "36.31", "-86.95"),
    ("quarry-hill", "Quarry Hill", "America/New_York", "40.21", "-82.64"),
    ("marrow-lake", "Marrow Lake Speedway", "America/New_York", "28.87", "-81.69"),
    ("thornquist", "Thornquist Oval", "America/New_York", "33.21", "-84.36"),
    ("bramble-gulch", "Bramble Gulch Ring", "America/Chicago", "31.17", "-97.46"),
    ("fallow-mile", "Fallow Mile", "America/New_York", "36.88", "-78.61"),
    ("copperfell", "Copperfell Park", "America/Phoenix", "33.02", "-112.61"),
    ("kestrel-basin", "Kestrel Basin", "America/Los_Angeles", "36.47", "-115.22"),
    ("tollander-flats", "Tollander Flats", "America/Chicago", "35.71", "-86.28"),
    ("bellwether", "Bellwether Ring", "America/Denver", "39.46", "-104.71"),
    ("harrow-creek", "Harrow Creek", "America/Detroit", "42.19", "-84.52"),
)

CARS = (  # car, series, priority, home, name, slowest_s
    ("ember", "cairn", "3", "wrenfield", "Ember", "13.5"),
    ("slate", "cairn", "2.5", "wrenfield", "Slate", "13.8"),
    ("heron", "linnet", "1.5", "callow-bend", "Heron", ""),
    ("otter", "linnet", "1", "callow-bend", "Otter", ""),
)

RACES = (  # race, weekend, series, site, report, start, hours, tire, name, travel_places
    ("marrow-linnet", "2026-w09", "linnet", "marrow-lake", "2026-02-28T08:00", "2026-02-28T14:00", "4", "lined",
     "Marrow Lake 200", "18"),
    ("marrow-cairn", "2026-w09", "cairn", "marrow-lake", "2026-03-01T08:30", "2026-03-01T15:00", "5", "lined",
     "Marrow Lake 400", "20"),
    ("bramble-linnet", "2026-w10", "linnet", "bramble-gulch", "2026-03-07T12:00", "2026-03-07T18:30", "4", "unlined",
     "Bramble Gulch 180", "18"),
    ("bramble-cairn", "2026-w10", "cairn", "bramble-gulch", "2026-03-08T10:00", "2026-03-08T15:00", "4.5", "unlined",
     "Bramble Gulch 350", "20"),
    ("fallow-linnet", "2026-w11", "linnet", "fallow-mile", "2026-03-14T08:00", "2026-03-14T14:00", "3.5", "unlined",
     "Fallow 150", "18"),
    ("copperfell-cairn", "2026-w11", "cairn", "copperfell", "2026-03-15T08:00", "2026-03-15T13:00", "4.5", "lined",
     "Copperfell 312", "20"),
    ("thornquist-cairn", "2026-w12", "cairn", "thornquist", "2026-03-22T09:00", "2026-03-22T15:00", "5", "lined",
     "Thornquist 400", "20"),
    ("kestrel-linnet", "2026-w13", "linnet", "kestrel-basin", "2026-03-28T08:00", "2026-03-28T13:30", "4", "lined",
     "Kestrel 200", "18"),
    ("kestrel-cairn", "2026-w13", "cairn", "kestrel-basin", "2026-03-29T07:30", "2026-03-29T12:30", "4.5", "lined",
     "Kestrel 350", "20"),
    ("tollander-linnet", "2026-w15", "linnet", "tollander-flats", "2026-04-11T08:00", "2026-04-11T14:00", "3.5",
     "lined", "Tollander 180", "18"),
    ("fallow-cairn", "2026-w15", "cairn", "fallow-mile", "2026-04-12T10:00", "2026-04-12T15:00", "4.5", "unlined",
     "Fallow 300", "19"),
    ("bellwether-linnet", "2026-w16", "linnet", "bellwether", "2026-04-18T08:00", "2026-04-18T12:00", "2.5", "lined",
     "Bellwether 140", "18"),
    ("bellwether-cairn", "2026-w16", "cairn", "bellwether", "2026-04-18T15:00", "2026-04-18T18:30", "3.5", "lined",
     "Bellwether 300", "20"),
    ("harrow-linnet", "2026-w17", "linnet", "harrow-creek", "2026-04-25T09:00", "2026-04-25T15:00", "4", "lined",
     "Harrow Creek 200", ""),
    ("harrow-cairn", "2026-w17", "cairn", "harrow-creek", "2026-04-26T08:30", "2026-04-26T14:00", "4.5", "lined",
     "Harrow Creek 400", "20"),
)  # fmt: skip

COUNTS = {"cairn": {"four-tires": "6", "two-tires": "1.5", "fuel-only": "1"},
          "linnet": {"four-tires": "4", "two-tires": "1", "fuel-only": "0.5"}}  # fmt: skip

# Races before the block: race, series, site, day, tire, report, released (None: too long ago for worked.csv).
PAST_RACES = (
    ("past-harrow", "both", "harrow-creek", "2025-09-14", "lined", None, None),
    ("past-bellwether", "both", "bellwether", "2025-09-28", "lined", None, None),
    ("past-tollander", "both", "tollander-flats", "2025-10-05", "unlined", None, None),
    ("past-kestrel", "both", "kestrel-basin", "2025-10-19", "lined", None, None),
    ("past-fallow", "both", "fallow-mile", "2025-10-26", "unlined", None, None),
    ("past-copperfell", "both", "copperfell", "2025-11-09", "lined", None, None),
    ("past-marrow", "cairn", "marrow-lake", "2026-02-15", "lined", "2026-02-15T09:00", "2026-02-15T20:30"),
    ("past-thornquist-linnet", "linnet", "thornquist", "2026-02-21", "lined", "2026-02-21T10:00", "2026-02-21T20:00"),
    ("past-thornquist-cairn", "cairn", "thornquist", "2026-02-22", "lined", "2026-02-22T09:00", "2026-02-22T20:00"),
)

PRACTICE_DAYS = (
    "2025-09-10", "2025-09-24", "2025-10-15", "2025-11-05", "2025-11-19", "2025-12-03", "2025-12-10", "2025-12-17",
    "2026-01-07", "2026-01-14", "2026-01-21", "2026-01-28", "2026-02-04", "2026-02-11", "2026-02-18", "2026-02-25",
)  # fmt: skip
TRYOUT_DAY = "2026-01-10"

JOURNEYS = (  # from, to, hours, mode: the organisation's own charter, quicker than a computed journey
    ("wrenfield", "marrow-lake", "3", "air"),
    ("wrenfield", "bramble-gulch", "4.2", "air"),
    ("wrenfield", "copperfell", "5.8", "air"),
    ("copperfell", "wrenfield", "5.1", "air"),
    ("wrenfield", "kestrel-basin", "5.9", "air"),
    ("kestrel-basin", "wrenfield", "5.2", "air"),
    ("wrenfield", "bellwether", "4.8", "air"),
    ("wrenfield", "harrow-creek", "3.1", "air"),
    ("callow-bend", "kestrel-basin", "5.4", "air"),
    ("callow-bend", "bellwether", "4.3", "air"),
)

LIMITS_TOML = """\
# Travel and rest limits of this invented organisation. A bare number is hard; with a price, each unit beyond costs
# that many seconds. The sanctioning body's rules and local codes come first.

preset = "49 CFR 395.5"  # binds whoever drives to the site
rest_hours = 11
duty_hours = { at_most = 12, price_s = 1.5 }
weekly_rest_hours = 35
rolling_rest_hours = { at_least = 24, days = 7 }
races_per_weekend = 2
weekends_in_a_row = 5
races_in_days = { at_most = 6, days = 28 }
nights_away_in_days = { at_most = 8, days = 28, price_s = 0.5 }
travel_hours_in_days = { at_most = 36, days = 28, price_s = 0.1 }
travel_places = 17
cover = { at_least = 1, price_s = 6.0 }  # priced: where both series race far apart, somebody may be hard to cover
starts = { at_most = 10, price_s = 2.0 }
recent_grades = { at_least = 5, days = 150 }
height = { price_s = 1.0 }
reserves_count = false
"""

WEIGHTS_TOML = """\
# What each wish costs, in seconds of stop time: nobody is benched for a hundredth of a second.

crew_change_s = 0.8
not_standing_s = 0.5
travel_hour_s = 0.02
uneven_s = 0.05
development_start_s = 0.4
priced_travel_place_s = 0.5
absence_chance = 0.02
tail = 0.2
tail_share = 0.1
keep_chance = 0.8
"""
