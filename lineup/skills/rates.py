"""How often an athlete slips: rates of each miss, pooled over the athletes of a position (Gamma-Poisson)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import gammaln

from lineup.season import Season
from lineup.skills.arrays import Floats, Ints, group_sums
from lineup.skills.assumptions import Assumptions
from lineup.skills.grades import Cells, Rows
from lineup.skills.pooling import RatePool, fit_rates
from lineup.skills.records import MissEstimate

_SHARES = np.linspace(0.0, 1.0, 11)  # of a record in another position that may count here
_SHARE_BELIEVED, _SHARE_SD = 0.3, 0.3
_LOOSE_SD = 1.5  # of ln rate, around what is believed of a miss before grades


@dataclass(frozen=True)
class _Tally:
    """One miss in one position: weighted counts and executions of each (athlete, position) that may make it."""

    pairs: Ints  # places in the list of pairs
    counts: Floats
    chances: Floats
    pool: RatePool


def fit_rates_of_misses(
    season: Season, cells: Cells, rows: Rows, beliefs: Assumptions
) -> dict[tuple[str, str, str], MissEstimate]:
    """Estimate how often every athlete makes every miss of each position's tasks, per execution."""
    pairs = list(dict.fromkeys((a, p) for a, p, _ in cells.keys))
    new = {(a, p) for (a, p, _), fresh in zip(cells.keys, cells.newcomer, strict=True) if fresh}
    code = {pair: i for i, pair in enumerate(pairs)}
    pair_of_row = np.array([code[a, p] for a, p, _ in cells.keys], dtype=np.intp)[rows.cell]
    estimates: dict[tuple[str, str, str], MissEstimate] = {}
    for number, miss in enumerate(rows.misses):
        rare = season.misses[miss].penalty_s > 0
        weight = rows.weight ** (1 / beliefs.penalty_half_lives if rare else 1.0)
        positions = {task.position or "" for task in rows.tasks if miss in task.misses}
        lists = np.array([miss in task.misses for task in rows.tasks], dtype=bool)[rows.task]
        chances = group_sums(pair_of_row[lists], weight[lists], len(pairs))
        hit = rows.slip_row[rows.slip_miss == number]
        counts = group_sums(pair_of_row[hit], weight[hit], len(pairs))
        shape = beliefs.penalty_shape if rare else beliefs.miss_shape
        everywhere = np.array([i for i, (_, p) in enumerate(pairs) if p in positions], dtype=np.intp)
        believed = beliefs.penalty_rate if rare else beliefs.miss_rate
        common = fit_rates(counts[everywhere], chances[everywhere], typical=believed, typical_sd=_LOOSE_SD, shape=shape)
        differ = beliefs.penalty_positions_sd if rare else beliefs.miss_positions_sd
        near = float(np.sqrt(differ**2 + common.doubt))
        tallies = []
        for position in sorted(positions):
            at = np.array([i for i, (_, p) in enumerate(pairs) if p == position], dtype=np.intp)
            pool = fit_rates(counts[at], chances[at], typical=common.mean, typical_sd=near, shape=shape)
            tallies.append(_Tally(at, counts[at], chances[at], pool))
        for estimate in _lean(miss, pairs, new, tallies, beliefs):
            estimates[estimate.athlete, estimate.position, miss] = estimate
    return estimates


def _lean(
    miss: str, pairs: list[tuple[str, str]], new: set[tuple[str, str]], tallies: list[_Tally], beliefs: Assumptions
) -> list[MissEstimate]:
    """Posterior of each rate; the same miss made in another position counts in part, relative to its pool."""
    made: dict[str, float] = {}
    due: dict[str, float] = {}
    for tally in tallies:
        for i, count, chance in zip(tally.pairs, tally.counts, tally.chances, strict=True):
            made[pairs[i][0]] = made.get(pairs[i][0], 0.0) + count
            due[pairs[i][0]] = due.get(pairs[i][0], 0.0) + chance * tally.pool.mean
    elsewhere = [
        (
            np.array([made[pairs[i][0]] for i in tally.pairs]) - tally.counts,
            np.array([due[pairs[i][0]] for i in tally.pairs]) - tally.chances * tally.pool.mean,
        )
        for tally in tallies
    ]
    share = _share(tallies, elsewhere)
    estimates = []
    for tally, (other_made, other_due) in zip(tallies, elsewhere, strict=True):
        for j, i in enumerate(tally.pairs):
            shape = tally.pool.worth / (beliefs.newcomer_variance if pairs[i] in new else 1.0)
            alpha = shape + share * other_made[j] + tally.counts[j]
            beta = (shape + share * max(other_due[j], 0.0)) / tally.pool.mean + tally.chances[j]
            figures = (float(alpha / beta), float(alpha), float(beta), float(tally.chances[j]))
            estimates.append(MissEstimate(pairs[i][0], pairs[i][1], miss, *figures))
    return estimates


def _share(tallies: list[_Tally], elsewhere: list[tuple[Floats, Floats]]) -> float:
    """How much of a record in another position counts: the share that predicts best, around the belief."""

    def badness(share: float) -> float:
        total = ((share - _SHARE_BELIEVED) / _SHARE_SD) ** 2 / 2
        for tally, (made, due) in zip(tallies, elsewhere, strict=True):
            a = tally.pool.shape + share * made
            b = (tally.pool.shape + share * np.maximum(due, 0.0)) / tally.pool.mean
            gain = (
                gammaln(a + tally.counts) - gammaln(a) + a * np.log(b) - (a + tally.counts) * np.log(b + tally.chances)
            )
            total -= float(gain.sum())
        return total

    return float(min(_SHARES, key=badness))
