"""How far the share of stops inside their intervals may stray by luck alone, even when every forecast is right."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from lineup.season import Choreography, Season
from lineup.skills import SkillEstimates
from lineup.stop_model.network import Network
from lineup.stop_model.past_stops import PastStop
from lineup.stop_model.sampling import Points, Sampler, tasks_of
from lineup.stop_model.skill_guesses import guess_skills

Floats = NDArray[np.float64]


def places_by_luck(
    season: Season, estimates: SkillEstimates, stops: Sequence[PastStop], times: Floats, seed: int, worlds: int = 256
) -> Floats:
    """Where each stop would fall in its forecast, 0 quickest to 1 slowest, in worlds drawn from the forecasts.

    In one world an athlete has the same level and the same rates of misses in all his stops: what is not known of
    him makes them all slower or all quicker, so their shares stray further than those of so many independent stops.

    Parameters
    ----------
    times : sampled seconds of each stop's forecast, shape (stops, scenarios).

    Returns
    -------
    Shape (stops, worlds).
    """
    ordered = np.sort(times, axis=1)
    places = np.empty((len(stops), worlds))
    for number, stop in enumerate(stops):
        luck = np.random.default_rng([seed, number])
        played = _play(season.choreographies[stop.service], estimates, stop, luck, worlds, seed)
        places[number] = np.searchsorted(ordered[number], played) / ordered.shape[1]
    return places


def _play(
    choreography: Choreography,
    estimates: SkillEstimates,
    stop: PastStop,
    luck: np.random.Generator,
    worlds: int,
    seed: int,
) -> Floats:
    """Seconds of one stop in each world, shape (worlds,); `luck` is of this stop, `seed` of what all stops share."""
    seconds: dict[str, Floats] = {}
    crew: Mapping[str, str] = {"": "", **stop.crew}
    for position, athlete in crew.items():
        tasks = tasks_of(choreography, position)
        if not tasks:
            continue
        guesses = guess_skills(estimates, athlete, position, tasks, worlds, seed)
        points = Points(
            day={task.id: luck.standard_normal(worlds) for task in tasks},
            level=guesses.level,
            miss={(task.id, miss): luck.random(worlds) for task in tasks for miss in task.misses},
            rates=guesses.rates,
        )
        drawn = Sampler(choreography, estimates, stop.tire, points, stop.setting).draw(position, [athlete])
        seconds |= {task.id: own for task, own in zip(tasks, drawn.seconds[0], strict=True)}
    network = Network(choreography, frozenset(p for p in choreography.positions if p not in stop.crew))
    durations = np.array([seconds.get(task.id, np.zeros(worlds)) for task in choreography.tasks])
    return network.stop_time(network.finish(durations))
