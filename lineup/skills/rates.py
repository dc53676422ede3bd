"""How often an athlete slips: rates of each miss, pooled over the athletes of a position (Gamma-Poisson)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import gammaln

from lineup.season import Season
from lineup.skills.arrays import Floats, Ints, group_sums
from lineup.skills.assumptions import Assumptions
from lineup.skills.grades import NEWCOMER, Cells, Rows
from lineup.skills.pooling import RatePool, fit_rates
from lineup.skills.records import MissEstimate
from lineup.skills.slip_traits import fit_trait_rates

_SHARES = np.linspace(0.0, 1.0, 11)  # of a record in another position that may count here
_SHARE_BELIEVED, _SHARE_SD = 0.3, 0.3
_LOOSE_SD = 1.5  # of ln rate, around what is believed of a miss before grades


@dataclass(frozen=True)
class _Seen:
    """One miss: the positions where it can happen, and weighted counts and executions of each (athlete, position)."""

    miss: str
    rare: bool
    at: dict[str, Ints]  # places in the list of pairs, by position
    counts: Floats
    chances: Floats


@dataclass(frozen=True)
class _Tally:
    """One miss in one position: weighted counts and executions of each (athlete, position) that may make it.

    `chances` are those of an athlete without traits that would make as many misses as these: executions times
    `factor`, how many times the usual rate goes with each one's traits. `worth` is the shape of what the pool says of
    each, its own doubt and that of the factor included.
    """

    pairs: Ints  # places in the list of pairs
    counts: Floats
    chances: Floats
    factor: Floats
    worth: Floats
    pool: RatePool


def fit_rates_of_misses(
    season: Season, cells: Cells, rows: Rows, beliefs: Assumptions
) -> dict[tuple[str, str, str], MissEstimate]:
    """Estimate how often every athlete makes every miss of each position's tasks, per execution."""
    traits_of = {(a, p): traits for (a, p, _), traits in zip(cells.keys, cells.traits, strict=True)}
    pairs, traits = list(traits_of), np.array(list(traits_of.values())).reshape(-1, cells.traits.shape[1])
    code = {pair: i for i, pair in enumerate(pairs)}
    pair_of_row = np.array([code[a, p] for a, p, _ in cells.keys], dtype=np.intp)[rows.cell]
    seen = [_count(season, rows, number, pair_of_row, pairs, beliefs) for number in range(len(rows.misses))]
    effect, cov = _fit_traits(seen, traits, beliefs)
    factor, doubt = np.exp(traits @ effect), np.einsum("pt,tu,pu->p", traits, cov, traits)
    scatter = np.where(traits[:, NEWCOMER] > 0, beliefs.newcomer_variance, 1.0)
    estimates: dict[tuple[str, str, str], MissEstimate] = {}
    for one in seen:
        for estimate in _lean(one.miss, pairs, _pools(one, factor, doubt, scatter, beliefs)):
            estimates[estimate.athlete, estimate.position, one.miss] = estimate
    return estimates


def _count(
    season: Season, rows: Rows, number: int, pair_of_row: Ints, pairs: list[tuple[str, str]], beliefs: Assumptions
) -> _Seen:
    miss = rows.misses[number]
    rare = season.misses[miss].penalty_s > 0
    weight = rows.weight ** (1 / beliefs.penalty_half_lives if rare else 1.0)
    lists = np.array([miss in task.misses for task in rows.tasks], dtype=bool)[rows.task]
    hit = rows.slip_row[rows.slip_miss == number]
    positions = sorted({task.position or "" for task in rows.tasks if miss in task.misses})
    return _Seen(
        miss,
        rare,
        at={where: np.array([i for i, (_, p) in enumerate(pairs) if p == where], dtype=np.intp) for where in positions},
        counts=group_sums(pair_of_row[hit], weight[hit], len(pairs)),
        chances=group_sums(pair_of_row[lists], weight[lists], len(pairs)),
    )


def _fit_traits(seen: list[_Seen], traits: Floats, beliefs: Assumptions) -> tuple[Floats, Floats]:
    """Fit what traits add to ln rate, the same for every miss."""
    pools = [(one, places) for one in seen for places in one.at.values()]
    number = np.repeat(np.arange(len(pools)), [len(places) for _, places in pools])
    counts = np.concatenate([np.zeros(0), *(one.counts[places] for one, places in pools)])
    chances = np.concatenate([np.zeros(0), *(one.chances[places] for one, places in pools)])
    places = np.concatenate([np.zeros(0, dtype=np.intp), *(places for _, places in pools)])
    return fit_trait_rates(counts, chances, number, traits[places], beliefs.miss_shape, beliefs.miss_trait_sd)


def _pools(one: _Seen, factor: Floats, doubt: Floats, scatter: Floats, beliefs: Assumptions) -> list[_Tally]:
    """Pool one miss over the athletes of each position; a position leans on the others.

    `scatter`: how many times more (in variance) than others each (athlete, position) may differ from the pool.
    """
    believed = beliefs.penalty_rate if one.rare else beliefs.miss_rate
    differ = beliefs.penalty_positions_sd if one.rare else beliefs.miss_positions_sd
    shape = beliefs.penalty_shape if one.rare else beliefs.miss_shape
    worth = one.chances * factor
    everywhere = np.concatenate([np.zeros(0, dtype=np.intp), *one.at.values()])
    common = fit_rates(one.counts[everywhere], worth[everywhere], typical=believed, typical_sd=_LOOSE_SD, shape=shape)
    near = float(np.sqrt(differ**2 + common.doubt))
    tallies = []
    for at in one.at.values():
        pool = fit_rates(one.counts[at], worth[at], typical=common.mean, typical_sd=near, shape=shape)
        told = 1 / (scatter[at] / pool.shape + pool.doubt + doubt[at])
        tallies.append(_Tally(at, one.counts[at], worth[at], factor[at], told, pool))
    return tallies


def _lean(miss: str, pairs: list[tuple[str, str]], tallies: list[_Tally]) -> list[MissEstimate]:
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
            shape = tally.worth[j]
            usual = tally.pool.mean * tally.factor[j]
            chances = tally.chances[j] / tally.factor[j]
            alpha = shape + share * other_made[j] + tally.counts[j]
            beta = (shape + share * max(other_due[j], 0.0)) / usual + chances
            figures = (float(alpha / beta), float(alpha), float(beta), float(chances))
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
