"""Is one crew really faster than another: its stop under many guesses at everyone's true skills."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from lineup.choreography import places
from lineup.season import Season
from lineup.skills import SkillEstimates
from lineup.stop_model.blend import blend
from lineup.stop_model.network import Network
from lineup.stop_model.sampling import Points, Sampler, sobol_points, tasks_of
from lineup.stop_model.skill_guesses import guess_skills

Floats = NDArray[np.float64]
ROWS_KEPT = 64  # sampled athletes kept for the next crew: about a megabyte and a half each


@dataclass(frozen=True, slots=True)
class Work:
    """Stops that a crew has to make: how many (or how heavily weighted) of a service on one kind of tire."""

    service: str
    tire: str
    crew: Mapping[str, str]
    count: float = 1.0


def chance_above_zero(draws: Floats) -> float:
    """Share of draws, shape (n,), above zero; those at zero count half, so that no difference is no evidence."""
    return float(np.mean(draws > 0) + np.mean(draws == 0) / 2)


@dataclass(eq=False)
class CrewChances:
    """Times crews under many guesses at the athletes' true skills, so that the chance of a gain can be counted.

    A guess is one draw of every athlete's level in every split and of the rate of every miss. Draws of different
    athletes are independent; one athlete keeps his in every crew and service. Under each guess the expected stop is
    taken over `stops` Sobol points of luck. `tail` and `tail_share` blend mean and tail mean as a plan's cost does.
    """

    season: Season
    estimates: SkillEstimates
    seed: int = 1
    guesses: int = 512
    stops: int = 64
    tail: float = 0.0
    tail_share: float = 0.1
    _known: dict[tuple[str, str, frozenset[tuple[str, str]]], Floats] = field(default_factory=dict, init=False)

    def __post_init__(self) -> None:
        self._row = lru_cache(maxsize=ROWS_KEPT)(self._sample)

    def seconds(self, work: Sequence[Work]) -> Floats:
        """Return the expected seconds of all the work under each guess, shape (guesses,)."""
        total = np.zeros(self.guesses)
        for stops in work:
            total += stops.count * self._stop(stops)
        return total

    def _stop(self, work: Work) -> Floats:
        """Blended seconds of one stop under each guess, shape (guesses,)."""
        positions = self.season.choreographies[work.service].positions
        crew = {p: work.crew[p] for p in positions if p in work.crew}
        key = (work.service, work.tire, frozenset(crew.items()))
        if key not in self._known:
            self._known[key] = blend(self._times(work.service, work.tire, crew), self.tail, self.tail_share)
        return self._known[key]

    def _times(self, service: str, tire: str, crew: Mapping[str, str]) -> Floats:
        """Stop times, shape (guesses, stops)."""
        choreography = self.season.choreographies[service]
        drawn = {
            position: self._row(service, tire, position, athlete)
            for position, athlete in {"": "", **crew}.items()
            if tasks_of(choreography, position)
        }
        network = Network(choreography, frozenset(p for p in choreography.positions if p not in crew))
        durations = (
            drawn[position or ""][rank] if exists else np.zeros(1)
            for (position, rank), exists in zip(places(choreography), network.exists, strict=True)
        )
        times = network.stop_time(network.finishes(durations))
        return np.broadcast_to(times, (self.guesses * self.stops,)).reshape(self.guesses, self.stops)

    def _sample(self, service: str, tire: str, position: str, athlete: str) -> Floats:
        """Seconds of one athlete's tasks in a position, shape (tasks, guesses · stops)."""
        choreography = self.season.choreographies[service]
        points = self._points(sobol_points(choreography, self.seed, self.stops), service, position, athlete)
        seconds: Floats = Sampler(choreography, self.estimates, tire, points).draw(position, [athlete]).seconds[0]
        return seconds

    def _points(self, luck: Points, service: str, position: str, athlete: str) -> Points:
        """Each guess at one athlete's skills with the luck of each stop, shape (guesses · stops,)."""
        tasks = tasks_of(self.season.choreographies[service], position)
        guesses = guess_skills(self.estimates, athlete, position, tasks, self.guesses, self.seed).each(self.stops)
        return Points(
            day={task.id: np.tile(luck.day[task.id], self.guesses) for task in tasks},
            level=guesses.level,
            miss={(t.id, miss): np.tile(luck.miss[t.id, miss], self.guesses) for t in tasks for miss in t.misses},
            rates=guesses.rates,
        )
