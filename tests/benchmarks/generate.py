"""Seasons of any size with sampled stops made straight from true skills, so that only the optimiser is measured."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm, qmc

from lineup.limits import Limit, Limits
from lineup.season import (
    Absence,
    Athlete,
    Car,
    Choreography,
    Clearance,
    Entry,
    Position,
    Season,
    Site,
    Task,
    Weights,
)
from lineup.stop_model.stops import ServiceBank, StopModel
from tests.builders import FIRST_SUNDAY, make_race

POSITIONS = ("front", "rear", "jack", "carrier", "fueler")
ZONE = "America/New_York"
MISS_CHANCE = 0.04
MISS_LOSS_S = 1.5


def _task(id: str, position: str | None, after: str, seconds: float, release: bool = False) -> Task:
    return Task(id, id, position, tuple(after.split()), id, seconds, release=release)


FOUR = Choreography(
    "four",
    "Four tires and fuel",
    (
        _task("jack-right", "jack", "", 1.9),
        _task("front-off", "front", "", 1.8),
        _task("rear-off", "rear", "", 1.9),
        _task("carry-right", "carrier", "", 2.0),
        _task("front-on", "front", "jack-right front-off carry-right", 1.6),
        _task("rear-on", "rear", "jack-right rear-off carry-right", 1.6),
        _task("jack-left", "jack", "jack-right front-on rear-on", 2.1),
        _task("front-off-left", "front", "front-on", 2.2),
        _task("rear-off-left", "rear", "rear-on", 2.2),
        _task("carry-left", "carrier", "carry-right", 3.6),
        _task("front-on-left", "front", "jack-left front-off-left carry-left", 1.5),
        _task("rear-on-left", "rear", "jack-left rear-off-left carry-left", 1.5),
        _task("drop", "jack", "jack-left front-on-left rear-on-left", 0.5, release=True),
        _task("plug", "fueler", "", 1.6),
        _task("flow", None, "plug", 5.6),
        _task("unplug", "fueler", "flow", 0.8, release=True),
    ),
)
TWO = Choreography(
    "two",
    "Two tires",
    (
        *FOUR.tasks[:6],
        _task("drop-right", "jack", "jack-right front-on rear-on", 0.6, release=True),
        _task("splash", "fueler", "", 2.4, release=True),
    ),
)


def make_season(athletes: int, cars: int, weekends: int, seed: int = 1, row: int = 3, change_s: float = 0.5) -> Season:
    """One series, one race a weekend; five positions, a quarter of the athletes cleared for a second one."""
    rng = np.random.default_rng(seed)
    people = {
        f"a{i:02d}": Athlete(f"a{i:02d}", f"Athlete {i}", "shop" if rng.random() < 0.8 else "annex")
        for i in range(athletes)
    }
    clearances = []
    for i, athlete in enumerate(people):
        own = i % len(POSITIONS)
        clearances.append(Clearance(athlete, POSITIONS[own], "cleared"))
        if rng.random() < 0.25:
            other = (own + int(rng.integers(1, len(POSITIONS)))) % len(POSITIONS)
            clearances.append(Clearance(athlete, POSITIONS[other], "cleared"))
    garage = {
        f"c{i}": Car(f"c{i}", "cup", float(np.round(np.exp(0.3 * rng.standard_normal()), 2)), "shop")
        for i in range(cars)
    }
    races = {f"r{i + 1}": make_race(i) for i in range(weekends)}
    sites = {"shop": Site("shop", "Shop", ZONE, 35.0, -80.0), "annex": Site("annex", "Annex", ZONE, 36.5, -82.0)}
    for i in range(weekends):
        where = (33.0 + 8 * rng.random(), -76.0 - 12 * rng.random())
        sites[f"track-{i + 1}"] = Site(f"track-{i + 1}", f"Track {i + 1}", ZONE, *map(float, where))
    return Season(
        athletes=people,
        positions={p: Position(p, p.capitalize()) for p in POSITIONS},
        sites=sites,
        cars=garage,
        races=races,
        entries=tuple(Entry(race, car) for race in races for car in garage),
        service_counts={race: {"four": float(rng.integers(4, 8)), "two": float(rng.integers(1, 3))} for race in races},
        choreographies={"four": FOUR, "two": TWO},
        clearances=tuple(clearances),
        absences=_absences(rng, list(people), weekends),
        limits=Limits(
            {
                "rest_hours": Limit("rest_hours", at_least=11),
                "weekends_in_a_row": Limit("weekends_in_a_row", at_most=row),
            }
        ),
        weights=Weights(crew_change_s=change_s, travel_hour_s=0.02),
    )


def _absences(rng: np.random.Generator, athletes: list[str], weekends: int) -> tuple[Absence, ...]:
    found = []
    for athlete in athletes:
        if rng.random() < 0.15:
            first = FIRST_SUNDAY + timedelta(weeks=int(rng.integers(0, weekends)), days=-3)
            found.append(Absence(athlete, first, first + timedelta(days=int(rng.integers(4, 12))), "out"))
    return tuple(found)


def make_model(season: Season, scenarios: int = 2000, seed: int = 1) -> StopModel:
    """Banks sampled from true skills by scrambled Sobol points; all athletes of a task share its luck."""
    tires = {race.tire for race in season.races.values()}
    banks = {
        (service, tire): make_bank(season, choreography, tire, scenarios, seed)
        for service, choreography in season.choreographies.items()
        for tire in tires
    }
    return StopModel(banks, seed, scenarios)


def make_bank(season: Season, choreography: Choreography, tire: str, scenarios: int, seed: int) -> ServiceBank:
    """One bank: ln seconds = ln nominal + skill of the athlete + uncertainty of the estimate + luck; rare slips."""
    able = {
        p: tuple(dict.fromkeys(c.athlete for c in season.clearances if c.position == p)) for p in choreography.positions
    }
    names = sorted({task.id for c in season.choreographies.values() for task in c.tasks})
    points = qmc.Sobol(3 * len(names), seed=seed, scramble=True).random_base2(int(np.ceil(np.log2(scenarios))))
    uniforms = {name: points[:scenarios, 3 * i : 3 * i + 3].T for i, name in enumerate(names)}
    durations: dict[str, list[NDArray[np.float64]]] = {p: [] for p in choreography.positions}
    slips = {p: np.zeros((len(able[p]), scenarios), dtype=bool) for p in choreography.positions}
    car = []
    for task in choreography.tasks:
        luck, doubt, slip = uniforms[task.id]
        if task.position is None:
            car.append(task.seconds * np.exp(0.04 * norm.ppf(luck)))
            continue
        skill, spread, chance = _skills(able[task.position], task.id)
        log = np.log(task.seconds) + skill + 0.015 * norm.ppf(doubt) + spread * norm.ppf(luck)
        missed = slip < chance
        slips[task.position] |= missed
        durations[task.position].append(np.exp(log) + MISS_LOSS_S * missed)
    return ServiceBank(
        choreography.service,
        tire,
        choreography,
        able,
        {p: np.stack(tasks, axis=1) for p, tasks in durations.items()},
        np.array(car).reshape(len(car), scenarios),
        {p: ~slipped for p, slipped in slips.items()},
        {p: np.zeros(len(able[p])) for p in choreography.positions},
    )


def _skills(athletes: tuple[str, ...], task: str) -> tuple[NDArray[np.float64], ...]:
    """Skill, spread and chance of a slip, shape (athletes, 1) each; the same whatever service asks."""
    rows = []
    for athlete in athletes:
        rng = np.random.default_rng([ord(c) for c in f"{athlete}/{task}"])
        overall = np.random.default_rng([ord(c) for c in athlete]).standard_normal()
        rows.append(
            (
                0.05 * overall + 0.04 * rng.standard_normal(),
                0.06 * np.exp(0.3 * rng.standard_normal()),
                MISS_CHANCE * rng.random(),
            )
        )
    return tuple(np.array(rows).T[:, :, None])


def first_day(season: Season) -> date:
    """First day of the season."""
    return season.duty_days(next(iter(season.races)))[0]
