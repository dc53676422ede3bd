"""The parts of estimation in turn, round after round, until levels, spreads, losses and pace agree."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from lineup.skills.arrays import Bools, Floats
from lineup.skills.assumptions import Assumptions
from lineup.skills.grades import Cells, Rows
from lineup.skills.levels import Levels, fit_levels
from lineup.skills.nested import Blocks
from lineup.skills.slips import Expected, Losses, fit_losses, fit_pace
from lineup.skills.spreads import Spreads, fit_spreads

_MOST_ROUNDS = 8
_AGREED = (0.02, 0.002, 0.001)  # of ln noise variance, of a loss in seconds, of ln pace
_ENOUGH = 4  # grades of a cell from which it is its own measure of what is far off
_LEAST_ROBUST = 0.03  # no grade within this share of the median is far off


@dataclass(frozen=True)
class Given:
    """What does not change from round to round.

    `columns`: effects each row carries; `stated_s`: misses.csv; `usable`: rows whose clean time exists, as stated.
    """

    cells: Cells
    blocks: Blocks
    rows: Rows
    columns: Floats
    stated_s: Floats
    usable: Bools
    beliefs: Assumptions

    def of_pool(self, values: NDArray[np.generic]) -> NDArray[np.generic]:
        """Per row, the value of its pool."""
        return values[self.cells.pool[self.rows.cell]]


@dataclass(frozen=True)
class State:
    """What one round hands to the next.

    `noise`: variance per cell. `pace`: ln factor per athlete. `effects`: what setting and tire add to each row.
    `typical`: spread between the athletes of a split, on the plain and on the log scale.
    """

    noise: Floats
    losses: Losses
    pace: Floats
    effects: Floats
    typical: Floats


@dataclass(frozen=True)
class Fit(State):
    """All parts after a round. `pulled`: rows that count as the edge."""

    levels: Levels
    spreads: Spreads
    pulled: Bools


@dataclass(frozen=True)
class _View:
    """The rows as one round sees them, shape (rows,).

    `x`: clean value without pace; `ok`: has one; `lag`: ln pace in it; `doubt`: variance of its losses.
    """

    x: Floats
    ok: Bools
    lag: Floats
    doubt: Floats
    slipped: Bools


def settle(given: Given) -> Fit:
    """Run rounds until one changes next to nothing."""
    rows, cells, beliefs = given.rows, given.cells, given.beliefs
    state = State(
        noise=np.full(len(cells.keys), beliefs.typical_spread**2),
        losses=Losses(given.stated_s, beliefs.loss_varies),
        pace=np.zeros(len(cells.athletes)),
        effects=np.zeros(len(rows.cell)),
        typical=np.full(2, beliefs.typical_between),
    )
    fit = _round(given, state)
    for _ in range(_MOST_ROUNDS - 1):
        before, fit = fit, _round(given, fit)
        if _agree(before, fit):
            break
    return fit


def _agree(before: State, now: State) -> bool:
    moves = (np.log(now.noise / before.noise), now.losses.loss_s - before.losses.loss_s, now.pace - before.pace)
    return all(np.abs(move).max(initial=0.0) <= most for move, most in zip(moves, _AGREED, strict=True))


def _round(given: Given, state: State) -> Fit:
    cells, rows, beliefs = given.cells, given.rows, given.beliefs
    view = _look(given, state)
    view, pulled = _pull_in(given, state, view)
    cell, ok, plain = rows.cell, view.ok, view.ok & ~view.slipped
    precision = rows.weight / (state.noise[cell] + view.doubt)
    levels = fit_levels(cells, cell[ok], view.x[ok], given.columns[ok], precision[ok], state.typical, beliefs)
    effects = np.einsum("re,re->r", given.columns, levels.effect[cells.pool[cell]])
    net = view.x - effects
    spreads = fit_spreads(cells, given.blocks, cell[plain], net[plain], rows.weight[plain], beliefs)
    level = _shrunk(levels)[cell]
    later = ok & rows.after & given.of_pool(cells.log).astype(bool)
    gap, sure = (net + view.lag - level)[later], (rows.weight / (spreads.variance[cell] + view.doubt))[later]
    return Fit(
        noise=spreads.variance,
        losses=_next_losses(given, state.losses, level + effects + view.lag, spreads.variance),
        pace=fit_pace(cells, cell[later], gap, sure, beliefs),
        effects=effects,
        typical=levels.typical,
        pulled=pulled,
        levels=levels,
        spreads=spreads,
    )


def _look(given: Given, state: State) -> _View:
    """Take losses and pace out of the grades."""
    cells, rows = given.cells, given.rows
    log = given.of_pool(cells.log).astype(bool)
    lost = rows.loss(state.losses.loss_s)
    clean = rows.seconds - lost
    lag = np.where(rows.after & log, state.pace[cells.athlete[rows.cell]], 0.0)
    x = cells.scaled(clean, rows.cell) - lag
    ok = np.isfinite(x) & given.usable
    one_unit_s = np.where(log, np.where(ok, clean, 1.0), given.of_pool(cells.unit))
    slipped = np.bincount(rows.slip_row, minlength=len(rows.cell)) > 0
    return _View(x, ok, lag, (state.losses.varies * lost / one_unit_s) ** 2, slipped)


def _pull_in(given: Given, state: State, view: _View) -> tuple[_View, Bools]:
    """Let a grade that is too far from its cell's median (its pool's, in a thin cell) count as the edge."""
    net = pd.Series(np.where(view.ok, view.x - state.effects, np.nan))
    robust = {}
    for name, group in (("cell", given.rows.cell), ("pool", given.cells.pool[given.rows.cell])):
        median = net.groupby(group).transform("median")
        robust[name] = median.to_numpy(), (net - median).abs().to_numpy()
    thick = net.groupby(given.rows.cell).transform("count").to_numpy() >= _ENOUGH
    edge = {}
    for name, (_, distance) in robust.items():
        counted = np.where(view.slipped | (~thick if name == "cell" else False), np.nan, distance)
        spread = pd.Series(counted).groupby(given.cells.pool[given.rows.cell]).transform("median").to_numpy()
        edge[name] = np.maximum(1.4826 * np.nan_to_num(spread), _LEAST_ROBUST)
    centre = np.where(thick, robust["cell"][0], robust["pool"][0])
    reach = given.beliefs.pull_in * np.sqrt(np.where(thick, edge["cell"], edge["pool"]) ** 2 + view.doubt)
    pulled = view.ok & (np.abs(net.to_numpy() - centre) > reach)
    x = np.where(pulled, np.clip(net.to_numpy(), centre - reach, centre + reach) + state.effects, view.x)
    return replace(view, x=x), pulled


def _shrunk(levels: Levels) -> Floats:
    """Each cell's level between its own record and its pool."""
    own = levels.scale**2 / (levels.scale**2 + levels.own_variance)
    level: Floats = levels.centre + own * (levels.own - levels.centre)
    return level


def _next_losses(given: Given, before: Losses, expected: Floats, noise: Floats) -> Losses:
    """Fit losses to how much longer than expected each row with a miss took."""
    cells, rows = given.cells, given.rows
    log, variance = given.of_pool(cells.log).astype(bool), noise[rows.cell]
    expected_s = cells.seconds(expected + np.where(log, variance / 2, 0.0), rows.cell)
    noise_s = np.sqrt(variance) * np.where(log, expected_s, given.of_pool(cells.unit))
    seen = Expected(np.where(given.usable, expected_s, np.nan), noise_s)
    return fit_losses(rows, given.stated_s, seen, before, given.beliefs)
