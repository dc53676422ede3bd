"""How fast: each cell's own level, and what its pool and an athlete's standing lead to expect."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lineup.skills.arrays import Floats, Ints, group_sums
from lineup.skills.assumptions import Assumptions
from lineup.skills.effects import own_levels
from lineup.skills.grades import NEWCOMER, Cells
from lineup.skills.mixed import MixedFit, Prior, SpreadPrior, fit_mixed

_ENOUGH = 4  # athletes of a split from which its spread says what is typical


@dataclass(frozen=True)
class Levels:
    """Levels on the scale of each cell, in a race on the reference tire.

    Per cell: `own` level and `own_variance` (infinite without a grade), `centre` (what its pool expects of someone of
    its traits) and `centre_variance`, `scale` of athletes around it. Per pool: `mean` of its cleared athletes,
    `mean_variance`, `between`, and `effect` by column (practice, tryout, each tire in turn), shape (pools, columns).
    `typical`: spread between athletes of the median split on the plain and on the log scale, shape (2,).
    """

    own: Floats
    own_variance: Floats
    centre: Floats
    centre_variance: Floats
    scale: Floats
    mean: Floats
    mean_variance: Floats
    between: Floats
    effect: Floats
    typical: Floats


def fit_levels(
    cells: Cells, cell: Ints, x: Floats, columns: Floats, precision: Floats, typical: Floats, beliefs: Assumptions
) -> Levels:
    """Fit every split: effects, own levels, what traits add, pool means, spread between athletes.

    Parameters
    ----------
    cell, x, precision : cell, value on its scale and 1 / noise variance of each row; shape (rows,).
    columns : effects each row carries, shape (rows, effects).
    typical : spread between the athletes of a split on the plain and on the log scale, as far as known, shape (2,).
    """
    known = own_levels(cells, cell, x, columns, precision, beliefs)
    own, own_variance = known.level, known.variance
    traits, doubt = _fit_traits(cells, own, own_variance, typical, beliefs)
    expected = np.einsum("ct,ct->c", cells.traits, traits[cells.pool])
    pools, fits = _fit_splits(cells, own - expected, own_variance, typical, beliefs)
    mean, mean_variance, between = (np.zeros(len(cells.pools)) for _ in range(3))
    for some, fit in zip(pools, fits, strict=True):
        mean[some], mean_variance[some], between[some] = fit.beta, np.diag(fit.cov), fit.between
    unusual = cells.traits - _usual_traits(cells, own_variance)[cells.pool]
    centre = mean[cells.pool] + expected
    return Levels(
        own=own,
        own_variance=own_variance,
        centre=centre,
        centre_variance=mean_variance[cells.pool] + np.einsum("ct,ctu,cu->c", unusual, doubt[cells.pool], unusual),
        scale=between[cells.pool] * np.where(cells.newcomer, np.sqrt(beliefs.newcomer_variance), 1.0),
        mean=_mean_of_cleared(cells, own_variance, centre, mean),
        mean_variance=mean_variance,
        between=between,
        effect=known.effect,
        typical=_typical(cells, own_variance, pools, fits, beliefs),
    )


def _fit_traits(
    cells: Cells, own: Floats, own_variance: Floats, typical: Floats, beliefs: Assumptions
) -> tuple[Floats, Floats]:
    """Fit what each trait adds on either scale, shape (pools, traits), and its covariance, (pools, traits, traits).

    An athlete's splits hang together, so the athletes are the groups: twenty splits of two newcomers are two
    newcomers, not forty. Pool means are taken out of both sides first.
    """
    pools, columns = len(cells.pools), cells.traits.shape[1]
    believed = Prior(np.zeros(columns), np.full(columns, beliefs.trait_sd**-2))
    believed.mean[NEWCOMER] = beliefs.newcomer_slower
    traits, doubt = np.tile(believed.mean, (pools, 1)), np.tile(np.diag(1 / believed.precision), (pools, 1, 1))
    for log in (False, True):
        seen = np.flatnonzero(np.isfinite(own_variance) & (cells.log[cells.pool] == log))
        if not len(seen):
            continue
        pool = cells.pool[seen]
        weight = 1 / ((1 - beliefs.correlation) * typical[int(log)] ** 2 + own_variance[seen])
        table = np.column_stack([own[seen], cells.traits[seen]])
        sums = np.array([group_sums(pool, weight * column, pools) for column in table.T])
        table -= (sums[:, pool] / group_sums(pool, weight, pools)[pool]).T
        athletes = np.unique(cells.athlete[seen], return_inverse=True)[1]
        fit = fit_mixed(table[:, 0], table[:, 1:], athletes, weight, prior=believed)
        traits[cells.log == log], doubt[cells.log == log] = fit.beta, fit.cov
    return traits, doubt


def _fit_splits(
    cells: Cells, own: Floats, own_variance: Floats, typical: Floats, beliefs: Assumptions
) -> tuple[list[Ints], list[MixedFit]]:
    """Fit pool means and the spread of athletes around them; positions that share a split share that spread."""
    pools = [np.flatnonzero([split == name for _, split in cells.pools]) for name in cells.splits]
    fits = []
    for some in pools:
        at = np.flatnonzero(np.isfinite(own_variance) & np.isin(cells.pool, some))
        fit = fit_mixed(
            own[at],
            (cells.pool[at][:, None] == some).astype(np.float64),
            np.arange(len(at)),
            1 / own_variance[at],
            prior=Prior(cells.nominal[some], np.full(len(some), beliefs.nominal_sd**-2)),
            between_prior=SpreadPrior(float(typical[int(cells.log[some[0]])]), beliefs.between_evidence),
            multiple=np.where(cells.newcomer[at], beliefs.newcomer_variance, 1.0),
            james_stein=True,
        )
        fits.append(fit)
    return pools, fits


def _typical(
    cells: Cells, own_variance: Floats, pools: list[Ints], fits: list[MixedFit], beliefs: Assumptions
) -> Floats:
    """Typical spread between athletes on either scale: the median over splits with several athletes."""
    athletes = group_sums(cells.pool, np.isfinite(own_variance).astype(np.float64), len(cells.pools))
    seen: dict[bool, list[float]] = {log: [beliefs.typical_between] for log in (False, True)}
    for some, fit in zip(pools, fits, strict=True):
        if athletes[some].sum() >= _ENOUGH:
            seen[bool(cells.log[some[0]])].append(fit.between)
    return np.array([np.median(seen[False]), np.median(seen[True])])


def _usual_traits(cells: Cells, own_variance: Floats) -> Floats:
    """Mean traits of each pool's graded athletes, shape (pools, traits); none where nobody has a grade."""
    seen = np.isfinite(own_variance).astype(np.float64)
    number = group_sums(cells.pool, seen, len(cells.pools))
    sums = np.column_stack([group_sums(cells.pool, seen * trait, len(number)) for trait in cells.traits.T])
    usual: Floats = sums / np.maximum(number, 1.0)[:, None]
    return usual


def _mean_of_cleared(cells: Cells, own_variance: Floats, centre: Floats, otherwise: Floats) -> Floats:
    """Mean of what is expected of each pool's cleared athletes with grades; `otherwise` where there are none."""
    counted = (np.isfinite(own_variance) & ~cells.newcomer).astype(np.float64)
    number = group_sums(cells.pool, counted, len(otherwise))
    return np.where(
        number > 0, group_sums(cells.pool, counted * centre, len(number)) / np.maximum(number, 1), otherwise
    )
