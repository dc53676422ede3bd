"""Random tiny seasons with sampled stops that do not add up over positions, for tests against brute force."""

from __future__ import annotations

from datetime import date, time, timedelta

import numpy as np

from lineup.limits import JourneyRules, Limit, Limits
from lineup.problem import Problem, build
from lineup.season import Absence, Clearance, Pin, Position, Season, Site, Task, Weights
from lineup.settings import Settings
from lineup.stop_model.stops import ServiceBank, StopModel
from tests.builders import FIRST_SUNDAY, ZONE, make_race, tiny_season

QUICK = Settings(time_s=20.0, scenarios=16, workers=1, tolerance=0.0)


def random_bank(season: Season, service: str, tire: str, scenarios: int, rng: np.random.Generator) -> ServiceBank:
    """A bank whose athletes differ in mean and in spread, each on his own luck."""
    choreography = season.choreographies[service]
    able = {
        p: tuple(dict.fromkeys(c.athlete for c in season.clearances if c.position == p)) for p in choreography.positions
    }
    shape = {p: (len(able[p]), sum(t.position == p for t in choreography.tasks)) for p in choreography.positions}
    mean = {p: rng.uniform(1.0, 4.0, shape[p]) for p in shape}
    durations = {p: mean[p][..., None] + rng.exponential(1.0, (*shape[p], scenarios)) for p in shape}
    car = rng.uniform(0.5, 2.0, (sum(t.position is None for t in choreography.tasks), scenarios))
    return ServiceBank(
        service,
        tire,
        choreography,
        able,
        durations,
        car,
        {p: np.ones((shape[p][0], scenarios), dtype=bool) for p in shape},
        {p: rng.uniform(0.0, 0.3, shape[p][0]) for p in shape},
    )


def random_model(season: Season, scenarios: int, rng: np.random.Generator) -> StopModel:
    """One random bank per service and tire."""
    tires = {race.tire for race in season.races.values()}
    banks = {
        (service, tire): random_bank(season, service, tire, scenarios, rng)
        for service in season.choreographies
        for tire in tires
    }
    return StopModel(banks, 1, scenarios)


def make_problem(season: Season, seed: int = 1, settings: Settings = QUICK, model: StopModel | None = None) -> Problem:
    """Build the problem of a whole season with a random model."""
    rng = np.random.default_rng(seed)
    return build(season, model or random_model(season, settings.scenarios, rng), season.weekends, settings)


def _tasks(rng: np.random.Generator, optional: bool) -> tuple[Task, ...]:
    wait = ("do-p1",) if rng.random() < 0.5 else ()
    tasks = [
        Task("do-p1", "One", "p1", (), "do-p1", 4.0, release=True),
        Task("do-p2", "Two", "p2", wait, "do-p2", 4.0, release=True),
        Task("flow", "Flow", None, (), "flow", 3.0, release=True),
    ]
    if optional:
        tasks += [
            Task("do-p3", "Three", "p3", (), "do-p3", 1.0, release=True),
            Task("extra", "Extra", "p2", ("do-p2",), "extra", 1.5, only_without="p3", release=True),
        ]
    return tuple(tasks)


def random_season(seed: int, *, limits: bool = True, small: bool = True) -> Season:
    """A season of one or two cars, two or three races and four or five athletes, everything drawn from the seed."""
    rng = np.random.default_rng(seed)
    optional = bool(rng.random() < 0.3)
    names = ["p1", "p2", "p3"] if optional else ["p1", "p2"]
    cars = 1 if small and (optional or rng.random() < 0.5) else 2
    races = int(rng.integers(2, 4))
    people = int(rng.integers(2 * cars + 1, 2 * cars + 3))
    season = tiny_season(
        athletes=people, positions=names, cars=cars, races=races, shape=_tasks(rng, optional), grades=0
    )
    season = season.replace(
        races=_races(season, rng),
        sites={**season.sites, "annex": Site("annex", "Annex", ZONE, 36.0, -95.0)},
        clearances=_clearances(season, names, rng),
        positions={p: Position(p, p, filled="if_possible" if p == "p3" else "always") for p in names},
        cars={c.id: type(c)(c.id, c.series, float(rng.uniform(0.5, 2.0)), c.home) for c in season.cars.values()},
        athletes={
            a.id: type(a)(a.id, a.name, "annex" if rng.random() < 0.3 else "shop", _group(rng), 1.8)
            for a in season.athletes.values()
        },
        service_counts={race: {"four": float(rng.integers(2, 7))} for race in season.races},
        standing={("c1", "p1"): "a1"} if rng.random() < 0.5 else {},
        weights=_weights(rng),
    )
    if rng.random() < 0.3:
        season = season.with_absence(Absence("a1", FIRST_SUNDAY, FIRST_SUNDAY, "out"))
    if rng.random() < 0.4:
        season = season.with_pin(_pin(season, rng, np.random.default_rng((seed, 1))))
    return season.replace(limits=_limits(rng)) if limits else season


def _group(rng: np.random.Generator) -> str:
    return "developing" if rng.random() < 0.3 else "regular"


def _races(season: Season, rng: np.random.Generator) -> dict:
    """Sundays in a row, now and then a Saturday before or a week off."""
    made, day = {}, FIRST_SUNDAY
    for i in range(len(season.races)):
        report = time(8) if rng.random() < 0.5 else time(14)
        made[f"r{i + 1}"] = make_race(i, on=day, report=report, start=time(18))
        step = rng.choice([1, 7, 7, 14])
        if day.weekday() == 6 and step == 1:
            step = 6
        day += timedelta(days=int(step))
    weeks: dict[tuple[int, int], str] = {}
    for key, race in made.items():
        week = date.fromordinal(season.local(race.report, race.site).toordinal()).isocalendar()[:2]
        label = weeks.setdefault(week, f"w{len(weeks) + 1}")
        made[key] = type(race)(*[label if f == "weekend" else getattr(race, f) for f in race.__slots__])
    return made


def _clearances(season: Season, names: list[str], rng: np.random.Generator) -> tuple[Clearance, ...]:
    rows = [Clearance(a, p, "cleared") for a in season.athletes for p in names if rng.random() < 0.7]
    held = {(c.athlete, c.position) for c in rows}
    return (*rows, *(Clearance(a, "p1", "cleared") for a in season.athletes if (a, "p1") not in held))


def _weights(rng: np.random.Generator) -> Weights:
    def maybe(most: float) -> float:
        return float(rng.uniform(0, most)) if rng.random() < 0.5 else 0.0

    return Weights(
        crew_change_s=maybe(2.0),
        not_standing_s=maybe(1.0),
        travel_hour_s=maybe(0.3),
        uneven_s=maybe(1.0),
        development_start_s=maybe(1.0),
        tail=maybe(1.0),
        tail_share=0.3,
    )


def _pin(season: Season, rng: np.random.Generator, own: np.random.Generator) -> Pin:
    """Draw a pin; `own` says where a pair or apart holds, so that all that is drawn after it stays the same."""
    kind = rng.choice(["must", "never", "pair", "apart"])
    race = "r1" if rng.random() < 0.5 else None
    if kind in ("must", "never"):
        return Pin(str(kind), "a1", "a reason", None, race, None, "p1")
    car, position = own.choice([*season.cars, ""]), own.choice(["p1", "p2", ""])
    return Pin(str(kind), "a1", "a reason", "a2", race, str(car) or None, str(position) or None)


def _limits(rng: np.random.Generator) -> Limits:
    def price() -> float | None:
        return float(rng.uniform(0.5, 3.0)) if rng.random() < 0.4 else None

    every = (
        Limit("rest_hours", at_least=float(rng.integers(8, 14)), price_s=price()),
        Limit("weekends_in_a_row", at_most=int(rng.integers(1, 3)), price_s=price()),
        Limit("races_per_weekend", at_most=1, price_s=price()),
        Limit("races_in_days", at_most=int(rng.integers(1, 3)), days=15, price_s=price()),
        Limit("nights_away_in_days", at_most=int(rng.integers(0, 3)), days=10, price_s=price()),
        Limit("travel_hours_in_days", at_most=float(rng.integers(4, 30)), days=10, price_s=price()),
        Limit("weekly_rest_hours", at_least=float(rng.integers(30, 150)), price_s=price()),
        Limit("starts", at_most=2, price_s=price()),
        Limit("travel_places", at_most=int(rng.integers(3, 6)), price_s=price()),
    )
    return Limits(
        {limit.name: limit for limit in every if rng.random() < 0.25},
        journeys=JourneyRules(home_rest_h=float(rng.integers(6, 60)), night_away_h=float(rng.choice([0.0, 3.0, 12.0]))),
    )
