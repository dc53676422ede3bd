"""Seasons written as a timetable: one athlete, and one race for each spell of duty."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any, Literal

from lineup.limits import Limits, limits_from_toml
from lineup.season import Entry, JourneyFact, Race, Season, Site, WorkedDuty
from tests.builders import ZONE, tiny_season, utc

ANN = "a1"
Spell = tuple[str, str, str]  # site, report and released on the site's clock


def limits_of(**keys: Any) -> Limits:
    """Limits as limits.toml would give them, free of problems."""
    limits, problems = limits_from_toml(keys)
    assert problems == []
    return limits


def timetable(
    spells: Sequence[Spell],
    *,
    past: Sequence[Spell] = (),
    hours: Mapping[tuple[str, str], float] | None = None,
    mode: Literal["road", "air"] = "road",
    zones: Mapping[str, str] | None = None,
    drives: bool = False,
    **keys: Any,
) -> Season:
    """Make a season of races r1, r2, … with these spells of duty for athlete a1, who lives at "shop".

    Parameters
    ----------
    past : spells of worked.csv, as races h1, h2, …
    hours : journeys, both ways; those not said take 1 h. `mode` is that of all of them.
    zones : time zones of sites; those not said are in New York's.
    keys : limits.toml.
    """
    names = dict.fromkeys(["shop", *(site for site, *_ in (*spells, *past)), *(zones or {})])
    sites = {name: Site(name, name.title(), (zones or {}).get(name, ZONE)) for name in names}
    ways = {(a, b): 1.0 for a in names for b in names if a < b} | dict(hours or {})
    races = {f"r{i + 1}": _race(f"r{i + 1}", sites, spell) for i, spell in enumerate(spells)}
    base = tiny_season(athletes=2, positions=1)
    ann = replace(base.athletes[ANN], drives=drives)
    return base.replace(
        athletes=base.athletes | {ANN: ann},
        sites=sites,
        races=races,
        entries=tuple(Entry(race, "c1") for race in races),
        service_counts={race: {"four": 5.0} for race in races},
        worked=tuple(WorkedDuty(ANN, f"h{i + 1}", s, *_times(sites, (s, *t))) for i, (s, *t) in enumerate(past)),
        journeys=tuple(JourneyFact(a, b, h, mode) for (a, b), h in ways.items()),
        limits=limits_of(**keys),
    )


def _race(name: str, sites: Mapping[str, Site], spell: Spell) -> Race:
    report, released = _times(sites, spell)
    year, week, _ = datetime.fromisoformat(spell[1]).isocalendar()
    label = f"{year}-w{week:02d}"
    return Race(name, label, "cup", spell[0], report, report, released, "plain", f"Race {name[1:]}")


def _times(sites: Mapping[str, Site], spell: Sequence[str]) -> tuple[datetime, datetime]:
    zone = sites[spell[0]].time_zone
    return utc(datetime.fromisoformat(spell[1]), zone), utc(datetime.fromisoformat(spell[2]), zone)
