"""A plan as rows: the tables that the workbook and the CSV files share."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from lineup.plan import Plan
from lineup.report.cover_words import cover_words
from lineup.report.party import car_name, name_of, position_name, travellers
from lineup.season import Race, Season

Value = str | float | int | None
ASSIGNMENT_COLUMNS: Final = ("race", "car", "position", "athlete")
RESERVE_COLUMNS: Final = ("race", "athlete")


@dataclass(frozen=True, slots=True)
class Rows:
    """One table: a name, its column heads, its rows."""

    name: str
    heads: tuple[str, ...]
    rows: tuple[tuple[Value, ...], ...]


def block_rows(season: Season, plan: Plan) -> tuple[Rows, ...]:
    """Return every table of a plan, the assignments first."""
    return (
        assignments(season, plan),
        reserves(season, plan),
        travel(season, plan),
        cover(season, plan),
        forecasts(season, plan),
        costs(plan),
    )


def assignments(season: Season, plan: Plan) -> Rows:
    """Return one row per filled seat; the first four columns are ids and read back into assignments."""
    heads = (
        *ASSIGNMENT_COLUMNS,
        "athlete_name",
        "position_name",
        "car_name",
        "race_name",
        "weekend",
        "report",
        "start",
    )
    rows = []
    for a in sorted(plan.assignments, key=lambda a: (_order(season, a.race), a.car, _place(season, a.position))):
        names = (name_of(season, a.athlete), position_name(season, a.position), car_name(season, a.car))
        rows.append((a.race, a.car, a.position, a.athlete, *names, *_race_facts(season, a.race)))
    return Rows("assignments", heads, tuple(rows))


def reserves(season: Season, plan: Plan) -> Rows:
    """Return one row per reserve; the first two columns are ids and read back into reserves."""
    heads = (*RESERVE_COLUMNS, "athlete_name", "race_name", "weekend", "report", "start")
    ordered = sorted(plan.reserves, key=lambda r: (_order(season, r.race), r.athlete))
    rows = [(r.race, r.athlete, name_of(season, r.athlete), *_race_facts(season, r.race)) for r in ordered]
    return Rows("reserves", heads, tuple(rows))


def travel(season: Season, plan: Plan) -> Rows:
    """Return one row per person and race travelled to."""
    heads = ("race", "athlete", "athlete_name", "home", "role", "race_name", "weekend", "report", "start")
    starters = {(a.race, a.athlete) for a in plan.assignments}
    rows = []
    for race, athlete in sorted(travellers(plan), key=lambda pair: (_order(season, pair[0]), pair[1])):
        home = season.athletes[athlete].home if athlete in season.athletes else ""
        role = "starter" if (race, athlete) in starters else "reserve"
        rows.append((race, athlete, name_of(season, athlete), home, role, *_race_facts(season, race)))
    return Rows("travel", heads, tuple(rows))


def cover(season: Season, plan: Plan) -> Rows:
    """Return one row per seat: who steps in if its starter is lost."""
    rows = [(c.seat.race, c.seat.car, c.seat.position, cover_words(season, c)) for c in plan.cover]
    return Rows("cover", ("race", "car", "position", "if_lost"), tuple(rows))


def forecasts(season: Season, plan: Plan) -> Rows:
    """Return one row per entry and service, seconds and shares."""
    heads = ("race", "car", "service", "mean_s", "median_s", "p90_s", "tail_mean_s", "clean_share")
    ordered = sorted(plan.entries, key=lambda e: (_order(season, e.race), e.car, e.service))
    rows = [(e.race, e.car, e.service, e.mean_s, e.median_s, e.p90_s, e.tail_mean_s, e.clean_share) for e in ordered]
    return Rows("forecasts", heads, tuple(rows))


def costs(plan: Plan) -> Rows:
    """Return one row per cost and their sum, weighted seconds."""
    rows = [(name, value) for name, value in plan.costs.items()]
    return Rows("costs", ("cost", "seconds"), (*rows, *([("value", plan.value_s)] if plan.value_s is not None else [])))


def local_text(season: Season, race: Race, moment: datetime) -> str:
    """Return a moment on the site's clock with its offset, ISO 8601."""
    return season.local(moment, race.site).isoformat(timespec="minutes")


def _race_facts(season: Season, race: str) -> tuple[str, str, str, str]:
    if race not in season.races:
        return race, "", "", ""
    facts = season.races[race]
    times = (local_text(season, facts, facts.report), local_text(season, facts, facts.start))
    return facts.name or race, facts.weekend, *times


def _order(season: Season, race: str) -> int:
    return _index(season.races, race)


def _place(season: Season, position: str) -> int:
    return _index(season.positions, position)


def _index(known: Iterable[str], key: str) -> int:
    keys: Sequence[str] = tuple(known)
    return keys.index(key) if key in keys else len(keys)
