"""Random small seasons with one rule switched on, or several, tight enough to bind; everything drawn from a seed."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, time, timedelta
from typing import Any

import numpy as np

from lineup.limits import JourneyRules, Limit
from lineup.season import Absence, Entry, Pin, Position, Race, Season, Site, Task, WorkedDuty
from lineup.stop_model.stops import ServiceBank, StopModel
from tests.builders import FIRST_SUNDAY, ZONE, grade_row, grade_table, tiny_season, utc

Change = Callable[[Season, np.random.Generator], Season]
POSITIONS = ("p1", "p2", "p3")


def base(rng: np.random.Generator, scenarios: int) -> tuple[Season, StopModel]:
    """Six or seven athletes, two cars, three races in two or three weekends; now and then a third position."""
    names = POSITIONS if rng.random() < 0.3 else POSITIONS[:2]
    races, day = {}, FIRST_SUNDAY - timedelta(days=1)
    for i in range(3):
        report = time(int(rng.integers(7, 15)))
        races[f"r{i + 1}"] = _race(i, datetime.combine(day, report), hours=float(rng.integers(5, 12)))
        day += timedelta(days=int(rng.choice([1, 7] if day.weekday() == 5 else [6, 13])))
    weeks = {race.report.isocalendar()[:2]: f"w{i + 1}" for i, race in reversed(list(enumerate(races.values())))}
    races = {name: replace(race, weekend=weeks[race.report.isocalendar()[:2]]) for name, race in races.items()}
    season = tiny_season(
        athletes=int(rng.integers(6, 8)), positions=names, cars=2, races=3, grades=0, shape=_tasks(rng, names)
    )
    season = season.replace(
        races=races,
        sites=season.sites | {"annex": Site("annex", "Annex", ZONE, 36.0, -95.0)},
        positions={p: Position(p, p, filled="if_possible" if p == "p3" else "always") for p in names},
        cars={c.id: replace(c, priority=float(rng.uniform(0.5, 2))) for c in season.cars.values()},
        clearances=tuple(c for c in season.clearances if rng.random() < 0.85),
        entries=tuple(e for e in season.entries if e != Entry("r2", "c2") or rng.random() < 0.5),
        athletes={
            a.id: replace(a, home="annex" if rng.random() < 0.3 else "shop", height_m=float(rng.uniform(1.6, 2.0)))
            for a in season.athletes.values()
        },
        service_counts={race: {"four": float(rng.integers(2, 7))} for race in races},
    )
    return season, StopModel({("four", "plain"): shared_luck(season, "four", scenarios, rng)}, 1, scenarios)


def shared_luck(season: Season, service: str, scenarios: int, rng: np.random.Generator) -> ServiceBank:
    """Sampled stops in which athletes share the luck of a task, which hits some harder than others."""
    choreography = season.choreographies[service]
    able = {
        p: tuple(a for a in season.athletes if any((c.athlete, c.position) == (a, p) for c in season.clearances))
        for p in choreography.positions
    }
    durations = {}
    for p, athletes in able.items():
        shape = (len(athletes), sum(task.position == p for task in choreography.tasks), 1)
        luck = rng.exponential(1.0, (1, shape[1], scenarios))
        durations[p] = rng.uniform(1.0, 4.0, shape) + rng.uniform(0.2, 2.0, shape) * luck
    car = rng.uniform(0.5, 6.0, (sum(task.position is None for task in choreography.tasks), scenarios))
    clean = {p: np.ones((len(athletes), scenarios), dtype=bool) for p, athletes in able.items()}
    penalty_s = {p: rng.uniform(0.0, 0.3, len(athletes)) for p, athletes in able.items()}
    return ServiceBank(service, "plain", choreography, able, durations, car, clean, penalty_s)


def _race(index: int, report: datetime, hours: float) -> Race:
    begin = utc(report)
    site = f"track-{index + 1}" if index != 1 else "track-1"
    return Race(f"r{index + 1}", "", "cup", site, begin, begin, begin + timedelta(hours=hours), "plain", "")


def _tasks(rng: np.random.Generator, names: Sequence[str]) -> tuple[Task, ...]:
    """Side by side or waiting for each other; the third position may stay empty and takes work over when filled."""
    wait = ("do-p1",) if rng.random() < 0.5 else ()
    tasks = [
        Task("do-p1", "One", "p1", (), "do-p1", 4.0, release=True),
        Task("do-p2", "Two", "p2", wait, "do-p2", 4.0, release=True),
        Task("flow", "Flow", None, (), "flow", 3.0, release=True),
    ]
    if "p3" in names:
        tasks += [
            Task("do-p3", "Three", "p3", (), "do-p3", 1.0, release=True),
            Task("last", "Last", "p1", ("do-p1", "do-p2"), "last", 1.0, only_with="p3", release=True),
            Task("extra", "Extra", "p2", ("do-p1", "do-p2"), "extra", 1.5, only_without="p3", release=True),
        ]
    return tuple(tasks)


# ------------------------------------------------------------------------------------------------------------ switches


def limit(name: str, low: float, high: float, *, whole: bool = True, side: str = "at_most", days: int = 0) -> Change:
    """A limit with a number drawn between two; hard, or with a price."""

    def change(season: Season, rng: np.random.Generator) -> Season:
        figure = float(rng.integers(low, high + 1) if whole else rng.uniform(low, high))
        price = None if rng.random() < 0.4 else float(rng.uniform(0.3, 3.0))
        facts: dict[str, Any] = {side: figure, "days": days or None, "price_s": price}
        return with_limit(season, Limit(name, **facts))

    return change


def with_limit(season: Season, bound: Limit) -> Season:
    return season.replace(limits=replace(season.limits, by_name={**season.limits.by_name, bound.name: bound}))


def weight(name: str, most: float) -> Change:
    return lambda season, rng: season.replace(
        weights=replace(season.weights, **{name: float(rng.uniform(0.1, most))})  # type: ignore[arg-type]
    )


def pin(kind: str) -> Change:
    def change(season: Season, rng: np.random.Generator) -> Season:
        race = str(rng.choice(["r1", "r2", "r3"])) if rng.random() < 0.6 else None
        if kind in ("pair", "apart"):
            one, two = rng.permutation(list(season.athletes))[:2]
            car = str(rng.choice(list(season.cars))) if rng.random() < 0.4 else None
            place = str(rng.choice(list(season.positions))) if rng.random() < 0.4 else None
            return season.with_pin(Pin(kind, str(one), "why not", str(two), race, car, place))  # type: ignore[arg-type]
        row = season.clearances[int(rng.integers(len(season.clearances)))]
        car = str(rng.choice(list(season.cars))) if rng.random() < 0.5 else None
        place = row.position if rng.random() < 0.6 else None
        return season.with_pin(Pin(kind, row.athlete, "why not", None, race, car, place))  # type: ignore[arg-type]

    return change


def height(season: Season, rng: np.random.Generator) -> Season:
    need = float(rng.uniform(1.6, 1.8))
    season = season.replace(positions=season.positions | {"p2": replace(season.positions["p2"], min_height_m=need)})
    return season if rng.random() < 0.5 else with_limit(season, Limit("height", price_s=float(rng.uniform(0.1, 2))))


def availability(season: Season, rng: np.random.Generator) -> Season:
    for athlete in rng.permutation(list(season.athletes))[:2]:
        first = FIRST_SUNDAY + timedelta(days=int(rng.integers(-3, 12)))
        last = None if rng.random() < 0.3 else first + timedelta(days=int(rng.integers(0, 8)))
        kind = ("only", (str(rng.choice(list(season.positions))),)) if rng.random() < 0.5 else ("out", ())
        season = season.with_absence(Absence(str(athlete), first, last, *kind))  # type: ignore[arg-type]
    return season


def clearance(season: Season, rng: np.random.Generator) -> Season:
    """Training, other series, cleared later: for some rows; one athlete in training is pinned to his seat."""
    rows, pinned = [], None
    for row in season.clearances:
        draw = rng.random()
        if draw < 0.12:
            row = replace(row, level="training")
            pinned = pinned or row
        elif draw < 0.2:
            row = replace(row, series="another")
        elif draw < 0.3:
            row = replace(row, since=FIRST_SUNDAY + timedelta(days=3))
        rows.append(row)
    season = season.replace(clearances=tuple(rows))
    return season if pinned is None else season.with_pin(
        Pin("must", pinned.athlete, "learns", None, "r2", None, pinned.position)
    )  # fmt: skip


def history(season: Season, rng: np.random.Generator) -> Season:
    """The weekend before, and days before it: who worked where."""
    rows = []
    for i, days in enumerate((8, 3)):
        report = utc(datetime.combine(FIRST_SUNDAY - timedelta(days=days), time(10)))
        people = rng.permutation(list(season.athletes))[:4]
        for n, athlete in enumerate(people):
            where = (f"c{1 + n // 2}", f"p{1 + n % 2}") if rng.random() < 0.8 else (None, None)
            rows.append(WorkedDuty(str(athlete), f"h{i}", "track-3", report, report + timedelta(hours=9), *where))
    return season.replace(worked=tuple(rows))


def standing(season: Season, rng: np.random.Generator) -> Season:
    crews = {(c, p): str(rng.choice(list(season.athletes))) for c in season.cars for p in season.positions}
    return weight("not_standing_s", 2.0)(season.replace(standing=crews), rng)


def developing(season: Season, rng: np.random.Generator) -> Season:
    people = {
        a.id: replace(a, group="developing" if rng.random() < 0.5 else "regular") for a in season.athletes.values()
    }
    return weight("development_start_s", 2.0)(season.replace(athletes=people), rng)


def recent_grades(season: Season, rng: np.random.Generator) -> Season:
    rows = []
    for n, row in enumerate(season.clearances):
        for k in range(int(rng.integers(0, 4))):
            on = FIRST_SUNDAY - timedelta(days=int(rng.integers(1, 12)))
            stop = f"s{n}-{k}"
            rows.append(grade_row(row.athlete, row.position, f"do-{row.position}", 4.0, on=on, stop=stop))
    return limit("recent_grades", 1, 2, side="at_least", days=14)(season.replace(grades=grade_table(rows)), rng)


def slowest(season: Season, rng: np.random.Generator) -> Season:
    cars = {c.id: replace(c, slowest_s=float(rng.uniform(5.0, 9.0))) for c in season.cars.values()}
    return season.replace(cars=cars)


def places(season: Season, rng: np.random.Generator) -> Season:
    """One or two places fewer than both cars have seats; a race may say its own number."""
    seats, races = 2 * len(season.positions), dict(season.races)
    if rng.random() < 0.4:
        races["r1"] = replace(races["r1"], travel_places=int(rng.integers(seats - 2, seats + 1)))
    return limit("travel_places", seats - 2, seats - 1)(season.replace(races=races), rng)


def tail(season: Season, rng: np.random.Generator) -> Season:
    share, part = float(rng.choice([0.1, 0.3, 0.5])), float(rng.uniform(0.1, 1.0))
    return season.replace(weights=replace(season.weights, tail=part, tail_share=share))


def journeys(season: Season, rng: np.random.Generator) -> Season:
    """When athletes go home between races, with a price on travel."""
    rules = JourneyRules(home_rest_h=float(rng.integers(6, 60)), night_away_h=float(rng.choice([0.0, 3.0, 12.0])))
    weights = replace(season.weights, travel_hour_s=season.weights.travel_hour_s or 0.3)
    return season.replace(limits=replace(season.limits, journeys=rules), weights=weights)


def two_services(season: Season, rng: np.random.Generator) -> Season:
    """A second service, of one position only."""
    own = (Task("splash", "Splash", "p1", (), "splash", 2.0, release=True),)
    short = replace(season.choreographies["four"], service="short", tasks=own)
    counts = {race: {**row, "short": float(rng.integers(1, 4))} for race, row in season.service_counts.items()}
    return season.replace(choreographies=season.choreographies | {"short": short}, service_counts=counts)


SWITCHES: Mapping[str, Change] = {
    "rest_hours": limit("rest_hours", 8, 20, side="at_least"),
    "duty_hours": limit("duty_hours", 6, 11),
    "weekly_rest_hours": limit("weekly_rest_hours", 100, 150, side="at_least"),
    "rolling_rest_hours": limit("rolling_rest_hours", 30, 70, side="at_least", days=5),
    "races_per_weekend": limit("races_per_weekend", 1, 1),
    "weekends_in_a_row": limit("weekends_in_a_row", 1, 2),
    "races_in_days": limit("races_in_days", 1, 2, days=10),
    "nights_away_in_days": limit("nights_away_in_days", 0, 2, days=10),
    "travel_hours_in_days": limit("travel_hours_in_days", 6, 30, days=10),
    "starts_most": limit("starts", 1, 2),
    "starts_least": limit("starts", 1, 2, side="at_least"),
    "travel_places": places,
    "must": pin("must"),
    "never": pin("never"),
    "pair": pin("pair"),
    "apart": pin("apart"),
    "height": height,
    "availability": availability,
    "clearance": clearance,
    "slowest": slowest,
    "recent_grades": recent_grades,
    "crew_changes": weight("crew_change_s", 3.0),
    "history": history,
    "standing": standing,
    "uneven": weight("uneven_s", 2.0),
    "developing": developing,
    "travel": weight("travel_hour_s", 0.4),
    "journeys": journeys,
    "tail": tail,
    "two_services": two_services,
}

# Limits and costs added later, by name: a season drawn from a seed stays what it was.
LATER: Mapping[str, Change] = {}


def turn_of(seed: int) -> str:
    """The switch whose turn it is."""
    return list(SWITCHES)[seed % len(SWITCHES)]


def switched(
    seed: int, scenarios: int = 6, chance: float = 0.1, without: str | None = None, later: str | None = None
) -> tuple[Season, StopModel]:
    """The season of a seed, with its sampled stops: the rule whose turn it is, and each other one now and then.

    Parameters
    ----------
    later : one of LATER that joins them.
    chance : of every other rule.
    without : a rule that is left out, everything else being the same.
    """
    rng = np.random.default_rng(seed)
    names = [name for name in SWITCHES if (name == turn_of(seed)) | (rng.random() < chance)]
    season, model = base(rng, scenarios)
    for number, (name, switch) in enumerate({**SWITCHES, **LATER}.items()):
        if name in (*names, later) and name != without:
            season = switch(season, np.random.default_rng((seed, number)))
    banks = dict(model.banks)
    if "short" in season.choreographies:
        banks["short", "plain"] = shared_luck(season, "short", scenarios, rng)
    return season, StopModel(banks, 1, scenarios)
