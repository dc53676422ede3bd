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
        own = [draws(estimates, who, position, split, n, seed) for who in (a, b)]  # a tire shifts both alike
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
    """Draw the seconds an athlete's own tasks are expected to take in a stop, misses included, shape (n,).

    What is not known of an athlete hangs together over his splits of the position: see `shared_doubt`.
    """
    if work is None:
        tasks: list[tuple[str, tuple[str, ...]]] = [
            (s, ()) for a, p, s in estimates.splits if (a, p) == (athlete, position)
        ]
    else:
        tasks = [(task.split, task.misses) for task in work.tasks if (task.position or "") == position]
    total = np.zeros(n)
    common = _stream(seed, athlete, position, "").standard_normal(n)
    for split, misses in tasks:
        estimate = _find(estimates, athlete, position, split)
        level = _levels(estimates, estimate, n, seed, tire, common)
        total += np.exp(level + estimate.spread**2 / 2) if estimate.scale == "log" else level
        for miss in misses:
            rate = estimates.misses[athlete, position, miss]
            total += estimates.loss_s[miss] * _stream(seed, athlete, position, miss).gamma(rate.alpha, 1 / rate.beta, n)
    return total


def shared_doubt(estimates: SkillEstimates, estimate: SplitEstimate) -> float:
    """Share of the doubt about an athlete's split that is doubt about all his splits of the position.

    Before any grade his splits of a position hang together by `same_position`; what grades settle, they settle split
    by split. So the share falls with what is left of the variance between athletes. For splits graded alike that is
    within 0.12 of the exact correlation as long as `same_position` is at most 0.7.
    """
    pool = estimates.pools.get((estimate.position, estimate.split))
    if pool is None or not estimate.athlete:
        return 0.0
    left = min(1.0, (estimate.sd / pool.between) ** 2) if pool.between > 0 else 1.0
    return max(0.0, estimates.same_position) * left


def _levels(
    estimates: SkillEstimates, estimate: SplitEstimate, n: int, seed: int, tire: str, common: Floats | None = None
) -> Floats:
    point = _stream(seed, estimate.athlete, estimate.position, estimate.split).standard_normal(n)
    if common is not None:
        shared = shared_doubt(estimates, estimate)
        point = np.sqrt(shared) * common + np.sqrt(1.0 - shared) * point
    shift = estimates.tire.get((estimate.split, tire), 0.0)
    level: Floats = estimate.mean + shift + estimate.sd * point
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
