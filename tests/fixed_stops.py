"""A season whose sampled stops are written by hand, so that every cost can be worked out on paper."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from lineup.season import Season
from lineup.stop_model.stops import ServiceBank, StopModel
from tests.builders import tiny_season

# seconds of each athlete's one task, the same at both positions, in four sampled stops
SECONDS = {
    "a1": (4.0, 4.0, 4.0, 8.0),
    "a2": (5.0, 5.0, 5.0, 5.0),
    "a3": (6.0, 3.0, 6.0, 6.0),
    "a4": (7.0, 7.0, 7.0, 7.0),
}
PENALTY_S = {"a1": 0.5, "a2": 0.0, "a3": 0.25, "a4": 0.0}


def fixed_season(**changes: Any) -> Season:
    """Two positions that work side by side, four athletes, two cars of priority 3 and 1, two races, 5 stops each."""
    season = tiny_season(positions=2, cars=2, races=2, grades=2)
    c1, c2 = season.cars.values()
    cars = {"c1": type(c1)("c1", "cup", 3.0, "shop", "Car 1"), "c2": type(c2)("c2", "cup", 1.0, "shop", "Car 2")}
    return season.replace(cars=cars).replace(**changes)


def fixed_model(season: Season, seconds: Mapping[str, tuple[float, ...]] = SECONDS) -> StopModel:
    """Sampled stops of the service "four" as `seconds` says, whoever is cleared."""
    choreography = season.choreographies["four"]
    cleared = {(c.athlete, c.position) for c in season.clearances}
    athletes = {p: tuple(a for a in season.athletes if (a, p) in cleared) for p in choreography.positions}
    times = {p: np.array([[seconds[a]] for a in athletes[p]]) for p in choreography.positions}
    count = len(next(iter(seconds.values())))
    bank = ServiceBank(
        service="four",
        tire="plain",
        choreography=choreography,
        athletes=athletes,
        durations=times,
        car=np.zeros((0, count)),
        clean={p: np.ones((len(athletes[p]), count), dtype=np.bool_) for p in choreography.positions},
        penalty_s={p: np.array([PENALTY_S[a] for a in athletes[p]]) for p in choreography.positions},
    )
    return StopModel({("four", "plain"): bank}, seed=1, scenarios=count)
