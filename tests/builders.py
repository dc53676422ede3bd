"""Tiny seasons for tests: `tiny_season` makes one in memory; `write_season` and `write_workbook` write any season.

`tiny_season()` has 3 positions, 4 athletes cleared for all of them, 1 car, 1 race and 1 service ("four") whose tasks
run side by side, with grades drawn from a seed. Ask for more with its keywords, then refine with `season.replace(...)`.
Names count from 1: athletes a1, a2, …; cars c1, …; races r1, … (one per Sunday from 2026-04-05, weekends w1, …, at
track-1, track-2, …); positions p1, … unless named; the task of position p is "do-p".
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from pathlib import Path
from typing import Any, Literal
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import tomlkit
import xlsxwriter

from lineup.limits import DrivingRules, JourneyRules, Limit, Limits
from lineup.season import (
    GRADE_COLUMNS,
    STOP_COLUMNS,
    Athlete,
    Car,
    Choreography,
    Clearance,
    Entry,
    Position,
    Race,
    Season,
    Site,
    Task,
    Weights,
)

FIRST_SUNDAY = date(2026, 4, 5)
ZONE = "America/New_York"
HEADERS = {  # of tables that are needed, though they may have no rows
    "clearances": ("athlete", "position", "level"),
    "entries": ("race", "car"),
    "graded_stops": ("date", "setting", "service", "tire", "athlete", "position", "task", "seconds"),
}


def tiny_season(
    *,
    athletes: int = 4,
    positions: int | Sequence[str] = 3,
    cars: int = 1,
    races: int = 1,
    shape: Literal["parallel", "chained"] | Sequence[Task] = "parallel",
    grades: int = 6,
    own: Callable[[str, str], float] | Mapping[tuple[str, str], float] | None = None,
    noise: float = 0.05,
    count: float = 5,
    seed: int = 1,
    **changes: Any,
) -> Season:
    """Make a season in memory.

    Parameters
    ----------
    shape : "parallel" (nobody waits), "chained" (each position waits for the one before), or the tasks themselves.
    grades : practice grades of each (athlete, task).
    own : true seconds of (athlete, position): a mapping or a function; what it does not say is drawn around 4 s.
    noise : spread of ln seconds from stop to stop.
    count : expected stops per car and race.
    changes : any field of `Season`, put in last.
    """
    names = [f"p{i + 1}" for i in range(positions)] if isinstance(positions, int) else list(positions)
    crew = {f"a{i + 1}": Athlete(f"a{i + 1}", f"Athlete {i + 1}", "shop", height_m=1.80) for i in range(athletes)}
    tasks = simple_tasks(names, shape) if isinstance(shape, str) else tuple(shape)
    starts = {f"r{i + 1}": make_race(i) for i in range(races)}
    garage = {f"c{i + 1}": Car(f"c{i + 1}", "cup", 1.0, "shop", f"Car {i + 1}") for i in range(cars)}
    facts: dict[str, Any] = {
        "athletes": crew,
        "positions": {p: Position(p, p.replace("-", " ").capitalize()) for p in names},
        "sites": make_sites(races),
        "cars": garage,
        "races": starts,
        "entries": tuple(Entry(race, car) for race in starts for car in garage),
        "service_counts": {race: {"four": count} for race in starts},
        "choreographies": {"four": Choreography("four", "Four tires", tasks)},
        "clearances": tuple(Clearance(a, p, "cleared") for a in crew for p in names),
        "grades": make_grades(crew, tasks, grades, own, noise, seed),
        "stops": stop_table([]),
    }
    return Season(**(facts | changes))


def simple_tasks(positions: Sequence[str], shape: str) -> tuple[Task, ...]:
    """One task per position, all side by side, or each waiting for the one before."""
    chained = shape == "chained"
    return tuple(
        Task(
            id=f"do-{p}",
            name=f"Work of {p}",
            position=p,
            after=(f"do-{positions[i - 1]}",) if chained and i else (),
            split=f"do-{p}",
            seconds=4.0,
            release=not chained or i == len(positions) - 1,
        )
        for i, p in enumerate(positions)
    )


def make_sites(races: int) -> dict[str, Site]:
    """One shop and one track per race, each about 300 km further away."""
    sites = {"shop": Site("shop", "The shop", ZONE, 35.0, -80.0)}
    for i in range(races):
        sites[f"track-{i + 1}"] = Site(f"track-{i + 1}", f"Track {i + 1}", ZONE, 35.0, -80.0 - 3.3 * (i + 1))
    return sites


def make_race(
    index: int, *, on: date | None = None, report: time = time(8), start: time = time(13), **changes: Any
) -> Race:
    """Race r{index + 1}, on a Sunday unless a day is given; released 4 h after the start."""
    day = on or FIRST_SUNDAY + timedelta(weeks=index)
    begins = utc(datetime.combine(day, start))
    race = Race(
        id=f"r{index + 1}",
        weekend=f"w{index + 1}",
        series="cup",
        site=f"track-{index + 1}",
        report=utc(datetime.combine(day, report)),
        start=begins,
        released=begins + timedelta(hours=4),
        tire="plain",
        name=f"Race {index + 1}",
    )
    return replace(race, **changes)


def utc(local: datetime, zone: str = ZONE) -> datetime:
    """Turn a local clock time into an aware UTC moment."""
    return local.replace(tzinfo=ZoneInfo(zone)).astimezone(UTC)


def make_grades(
    athletes: Iterable[str],
    tasks: Iterable[Task],
    each: int,
    own: Callable[[str, str], float] | Mapping[tuple[str, str], float] | None,
    noise: float,
    seed: int,
) -> pd.DataFrame:
    """Practice grades, one a day up to the day before the first race."""
    rng = np.random.default_rng(seed)
    rows: list[dict[str, Any]] = []
    for athlete in athletes:
        for task in tasks:
            who, where = (athlete, task.position) if task.position else ("", "")
            said = own(who, where) if callable(own) else (own or {}).get((who, where))
            true = said if said is not None else task.seconds * float(np.exp(0.05 * rng.standard_normal()))
            for number in range(each):
                seconds = true * float(np.exp(noise * rng.standard_normal()))
                rows.append(grade_row(who, where, task.id, seconds, on=FIRST_SUNDAY - timedelta(days=each - number)))
    return grade_table(rows)


def grade_row(
    athlete: str, position: str, task: str, seconds: float, *, on: date = FIRST_SUNDAY, **more: Any
) -> dict[str, Any]:
    """One row of `Season.grades`; `more` overrides any column."""
    row: dict[str, Any] = dict.fromkeys(GRADE_COLUMNS, "") | {"setting": "practice", "service": "four", "tire": "plain"}
    row |= {"athlete": athlete, "position": position, "task": task, "seconds": seconds, "misses": (), "spoilers": ()}
    return row | {"date": pd.Timestamp(on)} | more


def stop_row(stop: str, total_s: float, *, on: date = FIRST_SUNDAY, **more: Any) -> dict[str, Any]:
    """One row of `Season.stops`; `more` overrides any column."""
    row: dict[str, Any] = {"stop": stop, "date": pd.Timestamp(on), "setting": "practice", "service": "four"}
    row |= {"tire": "plain", "total_s": total_s, "race": "", "car": "", "spoilers": ()}
    return row | more


def grade_table(rows: Sequence[Mapping[str, Any]]) -> pd.DataFrame:
    """Turn rows into the table `Season.grades` holds, numbered as a spreadsheet counts."""
    return _table(rows, GRADE_COLUMNS, "seconds")


def stop_table(rows: Sequence[Mapping[str, Any]]) -> pd.DataFrame:
    """Turn rows into the table `Season.stops` holds, numbered as a spreadsheet counts."""
    return _table(rows, STOP_COLUMNS, "total_s")


def _table(rows: Sequence[Mapping[str, Any]], columns: Sequence[str], number: str) -> pd.DataFrame:
    numbered = [{**row, "row": i + 2} for i, row in enumerate(rows)]
    table = pd.DataFrame(numbered, columns=list(columns))
    text = {name: "str" for name in columns if name not in ("misses", "spoilers")}
    return table.astype(text | {"row": "int64", "date": "datetime64[s]", number: "float64"})


# ---------------------------------------------------------------------------------------------- season -> folder


def write_season(season: Season, folder: Path) -> Path:
    """Write a season as a folder, as a user would have written it."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, rows in season_rows(season).items():
        if rows or name in HEADERS:
            write_csv(folder / f"{name}.csv", rows, HEADERS.get(name, ()))
    (folder / "choreography").mkdir(exist_ok=True)
    for name, document in season_documents(season).items():
        (folder / name).write_text(tomlkit.dumps(document), encoding="utf-8")
    return folder


def write_csv(path: Path, rows: Sequence[Mapping[str, Any]], header: Sequence[str] = ()) -> None:
    """Write rows as CSV; None becomes an empty cell, `header` stands where there are no rows."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]) if rows else header)
        writer.writeheader()
        writer.writerows(rows)


def write_workbook(season: Season, path: Path) -> Path:
    """Write a season as one .xlsx, numbers and dates as a spreadsheet holds them."""
    sheets = {name: rows for name, rows in season_rows(season).items() if rows or name in HEADERS}
    sheets["choreography"] = []
    for name, document in season_documents(season).items():
        if name.startswith("choreography/"):
            service = Path(name).stem
            rows = [{"service": service, "service_name": document["name"]} | _flat(task) for task in document["task"]]
            sheets["choreography"] += rows
        else:
            lines = [{"key": key, "value": _toml_text(value)} for key, value in document.items()]
            sheets[name.removesuffix(".toml")] = lines
    with xlsxwriter.Workbook(path) as book:
        day = book.add_format({"num_format": "yyyy-mm-dd"})
        moment = book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"})
        for name, rows in sheets.items():
            sheet = book.add_worksheet(name)
            columns = list(dict.fromkeys(column for row in rows for column in row)) or list(HEADERS[name])
            sheet.write_row(0, 0, columns)
            for number, row in enumerate(rows, start=1):
                for place, column in enumerate(columns):
                    value = row.get(column)
                    if column in ("report", "start", "released"):
                        sheet.write_datetime(number, place, datetime.fromisoformat(str(value)), moment)
                    elif isinstance(value, date):
                        sheet.write_datetime(number, place, value, day)
                    elif isinstance(value, str):
                        sheet.write_string(number, place, value)
                    else:
                        sheet.write(number, place, value)
    return path


def _flat(task: Mapping[str, Any]) -> dict[str, Any]:
    """Write the keys of a task as cells of a sheet."""
    flags = {True: "yes", False: "no"}
    return {
        key: ";".join(value) if isinstance(value, list) else flags[value] if isinstance(value, bool) else value
        for key, value in task.items()
    }


def _toml_text(value: Any) -> Any:
    """Write a value as TOML does on the right of `=`; plain numbers stay numbers."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        return value
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_toml_text(inside)}" for key, inside in value.items()) + " }"
    return tomlkit.item(value).as_string()


def season_rows(season: Season) -> dict[str, list[dict[str, Any]]]:
    """Every table of a season as the rows of its file, by name without ending."""

    def local(moment: datetime, site: str) -> str:
        return season.local(moment, site).replace(tzinfo=None).isoformat()

    return {
        "athletes": [
            {"athlete": a.id, "name": a.name, "home": a.home, "group": a.group, "mass_kg": a.mass_kg}
            | {"height_cm": _cm(a.height_m), "drives": "yes" if a.drives else "no", "email": a.email}
            for a in season.athletes.values()
        ],
        "positions": [
            {"position": p.id, "name": p.name, "place": p.place, "filled": p.filled}
            | {"min_height_cm": _cm(p.min_height_m)}
            for p in season.positions.values()
        ],
        "clearances": [
            {"athlete": c.athlete, "position": c.position, "level": c.level, "since": c.since, "series": c.series}
            for c in season.clearances
        ],
        "sites": [
            {"site": s.id, "name": s.name, "time_zone": s.time_zone, "latitude": s.latitude, "longitude": s.longitude}
            for s in season.sites.values()
        ],
        "cars": [
            {"car": c.id, "series": c.series, "priority": c.priority, "home": c.home, "name": c.name}
            | {"slowest_s": c.slowest_s}
            for c in season.cars.values()
        ],
        "races": [
            {"race": r.id, "weekend": r.weekend, "series": r.series, "site": r.site, "report": local(r.report, r.site)}
            | {"start": local(r.start, r.site), "hours": (r.released - r.start) / timedelta(hours=1), "tire": r.tire}
            | {"name": r.name, "travel_places": r.travel_places}
            for r in season.races.values()
        ],
        "entries": [{"race": e.race, "car": e.car} for e in season.entries],
        "services": [
            {"race": race, "service": service, "count": count}
            for race, counts in season.service_counts.items()
            for service, count in counts.items()
        ],
        "misses": [
            {"miss": m.id, "name": m.name, "loss_s": m.loss_s, "penalty_s": m.penalty_s} for m in season.misses.values()
        ],
        "stops": _frame_rows(season.stops, STOP_COLUMNS),
        "graded_stops": _frame_rows(season.grades, GRADE_COLUMNS),
        "availability": [
            {"athlete": a.athlete, "first_day": a.first_day, "last_day": a.last_day, "status": a.status}
            | {"positions": ";".join(a.positions), "kind": a.kind, "entered_by": a.entered_by}
            for a in season.absences
        ],
        "pins": [
            {"pin": p.kind, "athlete": p.athlete, "other": p.other, "race": p.race, "car": p.car}
            | {"position": p.position, "reason": p.reason}
            for p in season.pins
        ],
        "standing_crews": [
            {"car": car, "position": position, "athlete": athlete}
            for (car, position), athlete in season.standing.items()
        ],
        "worked": [
            {"athlete": w.athlete, "race": w.race, "site": w.site, "report": local(w.report, w.site)}
            | {"released": local(w.released, w.site), "car": w.car, "position": w.position}
            for w in season.worked
        ],
        "journeys": [{"from": j.start, "to": j.end, "hours": j.hours, "mode": j.mode} for j in season.journeys],
    }


def season_documents(season: Season) -> dict[str, dict[str, Any]]:
    """Every TOML file of a season, by its path in the folder."""
    documents: dict[str, dict[str, Any]] = {
        f"choreography/{name}.toml": {"name": c.name, "task": [_task_table(task) for task in c.tasks]}
        for name, c in season.choreographies.items()
    }
    if season.limits != Limits():
        documents["limits.toml"] = _limits_table(season.limits)
    if season.weights != Weights():
        documents["weights.toml"] = _changed(season.weights, Weights())
    return documents


def _task_table(task: Task) -> dict[str, Any]:
    who: dict[str, Any] = {"position": task.position} if task.position else {"car": True}
    plain = {"id": task.id, "name": task.name, "after": list(task.after), "split": task.split, "seconds": task.seconds}
    flags = {flag: True for flag in ("load", "early", "release") if getattr(task, flag)}
    only = {key: getattr(task, key) for key in ("only_with", "only_without") if getattr(task, key)}
    return plain | who | flags | only | ({"misses": list(task.misses)} if task.misses else {})


def _limits_table(limits: Limits) -> dict[str, Any]:
    table: dict[str, Any] = {name: _limit_value(limit) for name, limit in limits.by_name.items()}
    if limits.reserves_count:
        table["reserves_count"] = True
    journeys = _changed(limits.journeys, JourneyRules())
    return table | ({"journeys": journeys} if journeys else {})


def _limit_value(limit: Limit) -> Any:
    keys = ("at_most", "at_least", "days", "price_s")
    table = {key: getattr(limit, key) for key in keys if getattr(limit, key) is not None}
    if limit.driving is not None:
        table |= _changed(limit.driving, DrivingRules())
    return next(iter(table.values())) if len(table) == 1 and "price_s" not in table else table


def _changed(record: Any, default: Any) -> dict[str, Any]:
    fields = type(record).__dataclass_fields__
    return {name: getattr(record, name) for name in fields if getattr(record, name) != getattr(default, name)}


def _frame_rows(table: pd.DataFrame, columns: Sequence[str]) -> list[dict[str, Any]]:
    kept = [c for c in columns if c != "row" and not (c == "spoilers" and "misses" in columns)]
    known = table[table["seconds"].notna()] if "seconds" in table else table  # an own time that is not known
    rows = [dict(zip(kept, values, strict=True)) for values in known[kept].itertuples(index=False)]
    for row in rows:
        row["date"] = row["date"].date()
        row |= {key: ";".join(row[key]) for key in ("misses", "spoilers") if key in row}
    return rows


def _cm(metres: float | None) -> float | None:
    return None if metres is None else round(metres * 100, 6)
