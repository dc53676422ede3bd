"""How many times the usual rate of misses goes with each trait of an athlete, from all misses at once."""

from __future__ import annotations

import numpy as np

from lineup.skills.arrays import Floats, Ints, group_sums

_STEPS = 20  # of Newton's method, at most
_LONGEST = 1.0  # of one step, on ln rate


def fit_trait_rates(
    counts: Floats, chances: Floats, pool: Ints, traits: Floats, shape: float, sd: float
) -> tuple[Floats, Floats]:
    """Fit what each trait adds to ln rate: Poisson regression, every pool with a rate of its own.

    Maximum penalised likelihood by Newton's method. A row that tells much counts less than a Poisson count would,
    since athletes of the same traits differ too: as in the negative binomial of `shape`.

    Parameters
    ----------
    counts, chances, pool : of one athlete and one miss each, shape (rows,).
    traits : shape (rows, traits).
    sd : how far each effect may lie from none.

    Returns
    -------
    Effects, shape (traits,), and their covariance.
    """
    effect = np.zeros(traits.shape[1])
    pools = int(pool.max(initial=-1)) + 1
    for _ in range(_STEPS):
        due = chances * np.exp(traits @ effect)
        made, total = group_sums(pool, counts, pools), group_sums(pool, due, pools)
        due = due * (made / np.maximum(total, 1e-300))[pool]
        weight = 1 / (1 + due / shape)
        sums = group_sums(pool, weight * due, pools)
        means = np.array([group_sums(pool, weight * due * x, pools) for x in traits.T]) / np.maximum(sums, 1e-300)
        unusual = traits - means.T[pool]
        information = unusual.T @ ((weight * due)[:, None] * unusual) + np.eye(len(effect)) * sd**-2
        step = np.linalg.solve(information, unusual.T @ (weight * counts) - effect * sd**-2)  # what is due cancels
        effect = effect + np.clip(step, -_LONGEST, _LONGEST)
        if np.abs(step).max() < 1e-6:
            break
    return effect, np.asarray(np.linalg.inv(information), dtype=np.float64)
