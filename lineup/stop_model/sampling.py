"""Sampled stops of one athlete at a time: random points shared by everyone, turned into seconds by the estimates."""

from __future__ import annotations

import math
import zlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri
from scipy.stats import qmc

from lineup.errors import InputError
from lineup.season import Choreography, Task
from lineup.skills import SkillEstimates, SplitEstimate, shared_doubt

Floats = NDArray[np.float64]
SMALLEST = 2.0**-31  # keeps a point off 0, where a normal deviate has no end; none of the points reaches 1
MOST_MISSES = 50  # of one kind in one task: beyond any stop worth forecasting


@dataclass(frozen=True, eq=False)
class Points:
    """Random points of one service, the same for every athlete; each array has shape (scenarios,).

    Attributes
    ----------
    day : by task, standard normal: the luck of the day.
    level : by (position, split), standard normal: what is not known of an athlete's level in that split; with split
        "", what is not known of his level in the position altogether. Position "" is the car.
    miss : by (task, miss), uniform: how often it happens.
    rates : by (position, miss), expected count per execution, where it was drawn; elsewhere counts are drawn with
        the uncertainty of the rate folded in.
    """

    day: Mapping[str, Floats]
    level: Mapping[tuple[str, str], Floats]
    miss: Mapping[tuple[str, str], Floats]
    rates: Mapping[tuple[str, str], Floats] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class Drawn:
    """Sampled stops of some athletes in one position, shape (athletes, tasks of the position, scenarios) each.

    `seconds` includes `lost`, the seconds that misses cost directly; `slips` says where there was a miss.
    """

    seconds: Floats
    lost: Floats
    slips: NDArray[np.bool_]


def tasks_of(choreography: Choreography, position: str) -> list[Task]:
    """Tasks of a position in choreography order; "" is the car."""
    return [task for task in choreography.tasks if (task.position or "") == position]


def sobol_points(choreography: Choreography, seed: int, scenarios: int) -> Points:
    """Scrambled Sobol points of a service.

    Dimensions are handed out in the order of sorted names, so the points of a service depend on the seed and its
    own tasks, splits and misses alone, not on who could work them or on any other service.
    """
    keys = sorted(_keys(choreography))
    rng = np.random.default_rng([seed, zlib.crc32(choreography.service.encode())])
    sobol = qmc.Sobol(len(keys), scramble=True, rng=rng)
    points = sobol.random_base2(math.ceil(math.log2(scenarios)))[:scenarios]
    return _points(keys, np.ascontiguousarray(points.T))


def random_points(choreography: Choreography, seed: int, scenarios: int) -> Points:
    """Plain random points of a service: independent of each other, for checks."""
    keys = sorted(_keys(choreography))
    return _points(keys, np.random.default_rng(seed).random((len(keys), scenarios)))


def _keys(choreography: Choreography) -> set[tuple[str, ...]]:
    keys: set[tuple[str, ...]] = set()
    for task in choreography.tasks:
        position = task.position or ""
        keys |= {("day", task.id), ("level", position, task.split), ("level", position, "")}
        keys |= {("miss", task.id, miss) for miss in task.misses}
    return keys


def _points(keys: Sequence[tuple[str, ...]], uniforms: Floats) -> Points:
    """Sort rows of uniforms, shape (keys, scenarios), by what they are for."""
    day: dict[str, Floats] = {}
    level: dict[tuple[str, str], Floats] = {}
    miss: dict[tuple[str, str], Floats] = {}
    for key, uniform in zip(keys, np.maximum(uniforms, SMALLEST), strict=True):
        match key:
            case ("day", task):
                day[task] = ndtri(uniform)
            case ("level", position, split):
                level[position, split] = ndtri(uniform)
            case (_, task, name):
                miss[task, name] = uniform
    return Points(day, level, miss)


@dataclass(frozen=True, eq=False)
class Sampler:
    """Turns the points of a service into the stops of athletes, on one kind of tire, in one setting.

    A clean time is exp(x) or x, with x = mean + sd · level point + spread · day point + tire + setting, where the
    level points of one position's splits hang together as far as the athlete is unknown: see `shared_doubt`. The number
    of times a miss happens comes from its own uniform point through the inverse of its distribution; each time
    costs the miss's loss. After a miss, the athlete's later log-scale tasks of the same stop take his pace factor
    longer. Everything of a stop is settled here, before anyone is chosen for it.

    A miss in a task that only exists with some seats filled or empty slows later tasks only where they exist under
    the same conditions: what such tasks do to others would otherwise depend on who is chosen.
    """

    choreography: Choreography
    estimates: SkillEstimates
    tire: str
    points: Points
    setting: str = "race"

    def draw(self, position: str, athletes: Sequence[str]) -> Drawn:
        """Sample the stops of some athletes in one position; position "" with athlete "" is the car.

        Raises
        ------
        InputError
            When there is no estimate of an athlete's split or miss.
        """
        tasks = tasks_of(self.choreography, position)
        scenarios = len(next(iter(self.points.day.values())))
        shape = (len(athletes), len(tasks), scenarios)
        drawn = Drawn(np.zeros(shape), np.zeros(shape), np.zeros(shape, dtype=np.bool_))
        pace = np.array([[self.estimates.pace.get(athlete, 1.0)] for athlete in athletes])
        for k, task in enumerate(tasks):
            for miss in task.misses:
                count = self._count(task, miss, position, athletes)
                drawn.lost[:, k] += count * self.estimates.loss_s[miss]
                drawn.slips[:, k] |= count > 0
            causes = [j for j in range(k) if _conditions(tasks[j]) <= _conditions(task)]
            dragged = drawn.slips[:, causes].any(axis=1)
            drawn.seconds[:, k] = self._clean(task, athletes, np.where(dragged, pace, 1.0)) + drawn.lost[:, k]
        return drawn

    def _clean(self, task: Task, athletes: Sequence[str], factor: Floats) -> Floats:
        """Clean seconds, shape (athletes, scenarios); `factor`, same shape, applies on the log scale."""
        position = task.position or ""
        known = [self._split(athlete, position, task.split) for athlete in athletes]
        mean, sd, spread = (np.array([[getattr(e, name)] for e in known]) for name in ("mean", "sd", "spread"))
        effect = self.estimates.tire.get((task.split, self.tire), 0.0)
        effect += self.estimates.setting.get((task.split, self.setting), 0.0)
        shared = np.array([[shared_doubt(self.estimates, e)] for e in known])
        level = np.sqrt(shared) * self.points.level[position, ""]
        level = level + np.sqrt(1.0 - shared) * self.points.level[position, task.split]
        x = mean + effect + sd * level + spread * self.points.day[task.id]
        on_log = np.array([[e.scale == "log"] for e in known])
        return np.where(on_log, np.exp(np.where(on_log, x, 0.0)) * factor, x)

    def _count(self, task: Task, miss: str, position: str, athletes: Sequence[str]) -> Floats:
        """How often a miss happens in a task, shape (athletes, scenarios)."""
        uniform = self.points.miss[task.id, miss]
        drawn_rate = self.points.rates.get((position, miss))
        if drawn_rate is not None:
            return poisson_counts(uniform, drawn_rate[None])
        known = [self.estimates.misses.get((athlete, position, miss)) for athlete in athletes]
        for athlete, estimate in zip(athletes, known, strict=True):
            if estimate is None:
                raise InputError(f"no estimate of {athlete or 'the car'}'s {miss} at {position or 'the car'}")
        alpha, beta = (np.array([[getattr(e, name)] for e in known]) for name in ("alpha", "beta"))
        return predictive_counts(uniform, alpha, beta)

    def _split(self, athlete: str, position: str, split: str) -> SplitEstimate:
        try:
            return self.estimates.splits[athlete, position, split]
        except KeyError:
            who = f"{athlete} at {position}" if athlete else "car and driver"
            raise InputError(f"no estimate of {who} in {split}") from None


def _conditions(task: Task) -> set[tuple[str, str]]:
    """Return what must hold of other seats for the task to exist."""
    named = (("with", task.only_with), ("without", task.only_without))
    return {(kind, position) for kind, position in named if position is not None}


def poisson_counts(uniform: Floats, rate: Floats) -> Floats:
    """Draw counts by inverting the Poisson distribution; arrays broadcast."""
    return _counts(uniform, np.exp(-rate), lambda k: rate / (k + 1))


def predictive_counts(uniform: Floats, alpha: Floats, beta: Floats) -> Floats:
    """Draw counts when the rate is Gamma(alpha, beta), by inverting the negative binomial; arrays broadcast."""
    return _counts(uniform, (beta / (beta + 1.0)) ** alpha, lambda k: (alpha + k) / ((k + 1) * (beta + 1.0)))


def _counts(uniform: Floats, at_zero: Floats, ratio: Callable[[int], Floats]) -> Floats:
    """Invert a distribution on 0, 1, 2, … given by its chance at 0 and the ratio of neighbouring chances."""
    chance = at_zero
    up_to = at_zero
    counts = np.zeros(np.broadcast_shapes(uniform.shape, at_zero.shape))
    for k in range(MOST_MISSES):
        beyond = uniform > up_to
        if not beyond.any():
            break
        counts += beyond
        chance = chance * ratio(k)
        up_to = up_to + chance
    return counts
