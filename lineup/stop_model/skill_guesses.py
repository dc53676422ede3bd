"""Guesses at an athlete's true skills: draws of what is not known of him, the same in all his stops and crews."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from lineup.season import Task
from lineup.skills import SkillEstimates

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Guesses:
    """Guesses at one athlete in one position, each array of shape (guesses,); the form is that of `sampling.Points`.

    Attributes
    ----------
    level : by (position, split), standard normal; with split "", the level in the position altogether.
    rates : by (position, miss), expected count per execution.
    """

    level: dict[tuple[str, str], Floats]
    rates: dict[tuple[str, str], Floats]

    def each(self, times: int) -> Guesses:
        """Return the guesses with each one repeated, shape (guesses · times,)."""
        level, rates = (
            {key: np.repeat(drawn, times) for key, drawn in part.items()} for part in (self.level, self.rates)
        )
        return Guesses(level, rates)


def guess_skills(
    estimates: SkillEstimates, athlete: str, position: str, tasks: Iterable[Task], count: int, seed: int
) -> Guesses:
    """Draw guesses at an athlete's skills in the tasks of a position; position "" with athlete "" is the car.

    Draws of different athletes, positions, splits and misses are independent; the same seed gives the same draws,
    whatever the service.
    """

    def stream(name: str) -> np.random.Generator:
        return np.random.default_rng([seed, crc32("\0".join((athlete, position, name)).encode())])

    tasks = tuple(tasks)
    splits = dict.fromkeys(["", *(task.split for task in tasks)])
    known = {miss: estimates.misses[athlete, position, miss] for task in tasks for miss in task.misses}
    return Guesses(
        {(position, split): stream(split).standard_normal(count) for split in splits},
        {(position, miss): stream(miss).gamma(e.alpha, 1 / e.beta, count) for miss, e in known.items()},
    )
