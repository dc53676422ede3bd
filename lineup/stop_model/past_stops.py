"""The whole stops of stops.csv whose crew is known, each next to what the model would have forecast for it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from lineup.choreography import seats_shown
from lineup.season import Season
from lineup.skills import SkillEstimates
from lineup.stop_model.bank import ServiceBank
from lineup.stop_model.stops import sample_service

Floats = NDArray[np.float64]
SPOILED, CREW_UNKNOWN, NOT_CLEARED = "spoiled", "crew not fully known", "someone without a clearance today"


@dataclass(frozen=True, slots=True)
class PastStop:
    """A stop that was timed, with the athlete in each filled position."""

    stop: str
    day: date
    setting: str
    service: str
    tire: str
    total_s: float
    crew: Mapping[str, str]


@dataclass(frozen=True)
class PastStops:
    """Timed stops in order of the file; `left_out` counts the others by reason."""

    stops: tuple[PastStop, ...]
    left_out: Mapping[str, int]


def past_stops(season: Season, since: date | None = None, before: date | None = None) -> PastStops:
    """Find the unspoiled stops whose whole crew is known from graded_stops.csv and worked.csv.

    A seat that need not be filled counts as empty where the grades show it: a graded task that is done only
    without it.
    """
    table = season.stops
    if since is not None:
        table = table[table["date"] >= pd.Timestamp(since)]
    if before is not None:
        table = table[table["date"] < pd.Timestamp(before)]
    grades = {str(stop): rows for stop, rows in season.grades.groupby("stop") if stop}
    worked: dict[tuple[str, str], dict[str, str]] = {}
    for duty in season.worked:
        if duty.car is not None and duty.position is not None:
            worked.setdefault((duty.race, duty.car), {})[duty.position] = duty.athlete
    found, left_out = [], Counter[str]()
    for row in table.to_dict("records"):
        if row["spoilers"]:
            left_out[SPOILED] += 1
            continue
        crew = _crew(season, row["service"], grades.get(row["stop"]), worked.get((row["race"], row["car"]), {}))
        if crew is None:
            left_out[CREW_UNKNOWN] += 1
            continue
        facts = (row["setting"], row["service"], row["tire"], float(row["total_s"]))
        found.append(PastStop(row["stop"], row["date"].date(), *facts, crew))
    return PastStops(tuple(found), dict(left_out))


def _crew(
    season: Season, service: str, grades: pd.DataFrame | None, worked: Mapping[str, str]
) -> dict[str, str] | None:
    """Athlete of each filled position of a stop, or None where a seat is not known."""
    choreography = season.choreographies[service]
    graded: dict[str, str] = {}
    done: set[str] = set()
    if grades is not None:
        graded = {str(p): str(a) for p, a in zip(grades["position"], grades["athlete"], strict=True) if p}
        done = set(grades["task"])
    _, empty = seats_shown(choreography, done)
    crew = {p: athlete for p, athlete in {**worked, **graded}.items() if p in choreography.positions and p not in empty}
    return crew if all(p in crew or p in empty for p in choreography.positions) else None


class Forecaster:
    """Samples each service, tire and setting once, and forecasts stops that were made."""

    def __init__(self, season: Season, estimates: SkillEstimates, seed: int = 1, scenarios: int = 1024) -> None:
        self._season = season
        self._estimates = estimates
        self._seed = seed
        self._scenarios = scenarios
        self._banks: dict[tuple[str, str, str], ServiceBank] = {}

    def forecast(self, stops: Sequence[PastStop]) -> tuple[list[PastStop], Floats, int]:
        """Forecast stops, leaving out those with someone in the crew who has no clearance today.

        Returns
        -------
        The stops that were forecast, their sampled seconds of shape (stops, scenarios), how many were left out.
        """
        kept, times = [], [np.empty((0, self._scenarios))]
        for stop in stops:
            bank = self._bank(stop)
            if all(athlete in bank.rows[position] for position, athlete in stop.crew.items()):
                kept.append(stop)
                times.append(bank.stop_times(bank.crew_row(stop.crew)))
        return kept, np.concatenate(times), len(stops) - len(kept)

    def _bank(self, stop: PastStop) -> ServiceBank:
        key = (stop.service, stop.tire, stop.setting)
        if key not in self._banks:
            service, tire, setting = key
            self._banks[key] = sample_service(
                self._season, self._estimates, service, tire, self._seed, self._scenarios, setting
            )
        return self._banks[key]
