"""Is one athlete really faster than another: chances from independent draws of what is known of each."""

from __future__ import annotations

from zlib import crc32

import numpy as np

from lineup.errors import InputError
from lineup.season import Choreography
from lineup.skills.arrays import Floats
from lineup.skills.records import SkillEstimates, SplitEstimate


def draws(
    estimates: SkillEstimates, athlete: str, position: str, split: str, n: int = 4096, seed: int = 1, tire: str = ""
) -> Floats:
    """Draw the athlete's true median clean time in seconds, shape (n,): what it may be, given the grades.

    Draws of different athletes, positions or splits are independent; the same call gives the same draws. Without
    `tire` they hold on the reference tire.
    """
    estimate = _find(estimates, athlete, position, split)
    level = _levels(estimates, estimate, n, seed, tire)
    return np.exp(level) if estimate.scale == "log" else level


def chance_faster(
    estimates: SkillEstimates,
    a: str,
    b: str,
    position: str,
    split: str | None = None,
    *,
    work: Choreography | None = None,
    tire: str = "",
    n: int = 4096,
    seed: int = 1,
) -> float:
    """Chance that `a` is truly faster than `b` in one split, or in all the own work of the position.

    Parameters
    ----------
    split : compare true medians of this split. None: compare expected own seconds of the whole position, the cost
        of misses included.
    work : the service whose tasks make up the position's work; every split once unless given.
    """
    if split is not None:
        own = [draws(estimates, who, position, split, n, seed, tire) for who in (a, b)]
    else:
        own = [own_seconds(estimates, who, position, work, n, seed, tire) for who in (a, b)]
    if a == b:
        return 0.5
    return float(np.mean(own[0] < own[1]) + np.mean(own[0] == own[1]) / 2)


def own_seconds(
    estimates: SkillEstimates,
    athlete: str,
    position: str,
    work: Choreography | None = None,
    n: int = 4096,
    seed: int = 1,
    tire: str = "",
) -> Floats:
    """Draw the seconds an athlete's own tasks are expected to take in a stop, misses included, shape (n,)."""
    if work is None:
        tasks: list[tuple[str, tuple[str, ...]]] = [
            (s, ()) for a, p, s in estimates.splits if (a, p) == (athlete, position)
        ]
    else:
        tasks = [(task.split, task.misses) for task in work.tasks if (task.position or "") == position]
    total = np.zeros(n)
    for split, misses in tasks:
        estimate = _find(estimates, athlete, position, split)
        level = _levels(estimates, estimate, n, seed, tire)
        total += np.exp(level + estimate.spread**2 / 2) if estimate.scale == "log" else level
        for miss in misses:
            rate = estimates.misses[athlete, position, miss]
            total += estimates.loss_s[miss] * _stream(seed, athlete, position, miss).gamma(rate.alpha, 1 / rate.beta, n)
    return total


def _levels(estimates: SkillEstimates, estimate: SplitEstimate, n: int, seed: int, tire: str) -> Floats:
    stream = _stream(seed, estimate.athlete, estimate.position, estimate.split)
    shift = estimates.tire.get((estimate.split, tire), 0.0)
    level: Floats = estimate.mean + shift + estimate.sd * stream.standard_normal(n)
    return level


def _stream(seed: int, *names: str) -> np.random.Generator:
    return np.random.default_rng([seed, crc32("\0".join(names).encode())])


def _find(estimates: SkillEstimates, athlete: str, position: str, split: str) -> SplitEstimate:
    found = estimates.splits.get((athlete, position, split))
    if found is None:
        known = sorted({p for a, p, _ in estimates.splits if a == athlete})
        detail = f"known positions: {', '.join(known)}" if known else "nothing is known of this athlete"
        raise InputError(f"No skill estimate of {athlete!r} in {position!r}, split {split!r}; {detail}.")
    return found
