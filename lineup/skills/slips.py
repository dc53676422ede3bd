"""What a miss costs: the seconds lost each time, then the athlete's pace in the rest of the stop."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lineup.skills.arrays import Floats, Ints, group_sums
from lineup.skills.assumptions import Assumptions
from lineup.skills.grades import Cells, Rows
from lineup.skills.mixed import SpreadPrior
from lineup.skills.pooling import pool_levels, shrink

_FREE_SD = 0.05  # seconds: loss of a miss that misses.csv says costs the stop nothing


@dataclass(frozen=True)
class Losses:
    """Seconds each miss costs, shape (misses,), and how much that varies from one to the next, as a share of it."""

    loss_s: Floats
    varies: float


@dataclass(frozen=True)
class Expected:
    """Each row's seconds and their standard deviation, had there been no miss; NaN where it has no clean time."""

    seconds: Floats
    noise_s: Floats


LEAST_NOISE = 1e-12  # square seconds: grades that all agree to the last digit weigh much, but not infinitely much


def fit_losses(rows: Rows, stated_s: Floats, expected: Expected, before: Losses, beliefs: Assumptions) -> Losses:
    """Estimate losses around `stated_s`, those of misses.csv, shape (misses,)."""
    slipped = np.unique(rows.slip_row)
    slipped = slipped[np.isfinite(expected.seconds[slipped])]
    if not len(slipped):
        return before
    place = np.full(len(rows.cell), -1)
    place[slipped] = np.arange(len(slipped))
    counts = np.zeros((len(slipped), len(stated_s)))
    timed = place[rows.slip_row] >= 0
    np.add.at(counts, (place[rows.slip_row[timed]], rows.slip_miss[timed]), 1.0)
    excess = rows.seconds[slipped] - expected.seconds[slipped]
    own_noise = expected.noise_s[slipped] ** 2
    share = before.varies
    noise = np.maximum(own_noise + (share * (counts @ before.loss_s)) ** 2, LEAST_NOISE)
    weight = rows.weight[slipped] / noise
    information, right = counts.T @ (weight[:, None] * counts), counts.T @ (weight * excess)
    mean, sd = _common(information, right, stated_s, beliefs)
    loss = np.linalg.solve(information + np.diag(sd**-2), right + mean * sd**-2)
    loss = np.maximum(loss, 0.0)
    return Losses(loss, _varies(counts, excess, own_noise, loss, rows.weight[slipped], beliefs))


def _common(information: Floats, right: Floats, stated_s: Floats, beliefs: Assumptions) -> tuple[Floats, Floats]:
    """Say what the other misses tell of each loss: all may cost more than stated, each its own share more or less."""
    costly = (stated_s > 0) & (np.diag(information) > 0)
    mean, sd = stated_s.copy(), np.where(stated_s > 0, beliefs.loss_sd * stated_s, _FREE_SD)
    if not costly.any():
        return mean, sd
    loose = np.linalg.inv(information + np.diag(sd**-2))
    found = loose @ (right + mean * sd**-2)
    precision = np.maximum(1 / np.diag(loose) - sd**-2, 1e-6 * sd**-2)
    alone = (found / np.diag(loose) - mean * sd**-2) / precision
    ratio = pool_levels(
        alone[costly] / stated_s[costly],
        1 / precision[costly] / stated_s[costly] ** 2,
        mean_prior=(1.0, beliefs.loss_sd / 2),
        between_prior=SpreadPrior(beliefs.loss_sd, beliefs.between_evidence),
    )
    worth = np.hypot(ratio.between, np.sqrt(ratio.cov[0, 0]))
    return ratio.beta[0] * stated_s, np.where(stated_s > 0, worth * stated_s, sd)


def _varies(
    counts: Floats, excess: Floats, own_noise: Floats, loss: Floats, weight: Floats, beliefs: Assumptions
) -> float:
    """Estimate how much a loss varies, as a share of it: by moments, around the belief worth ten misses."""
    lost = counts @ loss
    size = weight * (counts @ loss**2)
    extra = weight * ((excess - lost) ** 2 - own_noise)
    steady = 10 * float(np.mean(lost**2)) + 1e-12
    square = (float(extra.sum()) + beliefs.loss_varies**2 * steady) / (float(size.sum()) + steady)
    return float(np.sqrt(np.clip(square, 0.05**2, 1.0)))


def fit_pace(cells: Cells, cell: Ints, gap: Floats, precision: Floats, beliefs: Assumptions) -> Floats:
    """Estimate ln pace after a miss of every athlete, shape (athletes,), from rows after one.

    `gap` : value minus what the athlete's level and the effects say; `precision` : 1 / its noise variance.
    """
    athlete = cells.athlete[cell]
    total = group_sums(athlete, precision, len(cells.athletes))
    seen = total > 0
    own = group_sums(athlete, precision * gap, len(total))[seen] / total[seen]
    pool = pool_levels(
        own,
        1 / total[seen],
        mean_prior=(0.0, beliefs.pace_common_sd),
        between_prior=SpreadPrior(beliefs.pace_sd, 4 * beliefs.between_evidence),
    )
    pace = np.full(len(total), pool.beta[0])
    pace[seen] = shrink(own, 1 / total[seen], pool)[0]
    return pace
