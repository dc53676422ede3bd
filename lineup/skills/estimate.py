"""Season in, skill estimates out."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd

from lineup.season import Season
from lineup.skills.arrays import Bools, Floats, group_sums
from lineup.skills.assumptions import Assumptions
from lineup.skills.effects import effect_columns
from lineup.skills.grades import SETTINGS, Cells, Rows, default_day, make_cells, make_rows
from lineup.skills.levels import Levels
from lineup.skills.nested import Blocks, Pooled, pool_cells
from lineup.skills.rates import fit_rates_of_misses
from lineup.skills.records import LeftOut, PoolEstimate, Scale, SkillEstimates, SplitEstimate
from lineup.skills.settle import Fit, Given, settle
from lineup.skills.spreads import Spreads


def estimate_skills(season: Season, on: date | None = None, beliefs: Assumptions | None = None) -> SkillEstimates:
    """Estimate every skill of every athlete, for every position with a clearance of any level.

    Parameters
    ----------
    on : day from which the age of grades counts; the first race's day of report unless given. A grade dated later
        counts like one of that day.
    """
    beliefs = beliefs or Assumptions()
    on = on or default_day(season)
    cells = make_cells(season, beliefs.least_unit_s)
    rows, left_out = make_rows(season, cells, on, beliefs.half_life_days)
    reference = int(np.bincount(rows.tire, weights=rows.weight).argmax()) if len(rows.tire) else 0
    stated_s = np.array([season.misses[miss].loss_s for miss in rows.misses], dtype=np.float64)
    given = Given(
        cells=cells,
        blocks=_blocks(cells),
        rows=rows,
        columns=effect_columns(rows, cells, reference),
        stated_s=stated_s,
        usable=_has_clean_time(cells, rows, stated_s),
        beliefs=beliefs,
    )
    fit = settle(given)
    left_out = _count(given, fit, left_out)
    pooled = _pool(given, fit.levels)
    tire, setting = _effects(cells, rows, fit.levels)
    return SkillEstimates(
        on=on,
        splits=_split_estimates(given, fit.noise.tolist(), pooled),
        misses=fit_rates_of_misses(season, cells, rows, beliefs),
        pools=_pool_estimates(cells, fit.levels, fit.spreads),
        reference_tire=rows.tires[reference] if rows.tires else "",
        tire=tire,
        setting=setting,
        loss_s=dict(zip(rows.misses, fit.losses.loss_s.tolist(), strict=True)),
        pace={a: float(np.exp(p)) for a, p in zip(cells.athletes, fit.pace, strict=True) if a},
        same_position=pooled.same,
        other_position=pooled.other,
        left_out=left_out,
        notes=_notes(season, cells, rows, left_out, fit.levels),
    )


def _blocks(cells: Cells) -> Blocks:
    """Lay cells out by athlete; what car and driver do in one split says nothing of another."""
    number = np.arange(len(cells.keys))
    apart = np.where([a == "" for a, _, _ in cells.keys], len(cells.athletes) + number, cells.athlete)
    positions = pd.factorize(pd.Series([p for _, p, _ in cells.keys], dtype=object))[0]
    return Blocks.of(np.unique(apart, return_inverse=True)[1], positions.astype(np.intp))


def _has_clean_time(cells: Cells, rows: Rows, loss_s: Floats) -> Bools:
    """Per row, whether it has a time that stays above zero (on the log scale) once these losses are taken off."""
    return np.asarray(np.isfinite(cells.scaled(rows.seconds - rows.loss(loss_s), rows.cell)), dtype=np.bool_)


def _count(given: Given, fit: Fit, so_far: LeftOut) -> LeftOut:
    rows = given.rows
    good = given.usable & _has_clean_time(given.cells, rows, fit.losses.loss_s)
    bad = np.isfinite(rows.seconds) & ~good
    numbers = tuple(rows.number[bad].tolist())
    return replace(so_far, not_positive=numbers, pulled_in=tuple(rows.number[fit.pulled].tolist()))


def _pool(given: Given, levels: Levels) -> Pooled:
    return pool_cells(
        given.blocks,
        levels.own,
        levels.own_variance,
        levels.centre,
        levels.centre_variance,
        levels.scale,
        (given.beliefs.correlation, given.beliefs.correlation_other),
    )


def _scale(cells: Cells, pool: int) -> Scale:
    return "log" if cells.log[pool] else "plain"


def _split_estimates(given: Given, noise: list[float], pooled: Pooled) -> dict[tuple[str, str, str], SplitEstimate]:
    cells, rows = given.cells, given.rows
    timed = np.isfinite(rows.seconds)
    grades = group_sums(rows.cell[timed], rows.weight[timed], len(cells.keys))
    estimates = {}
    for i, key in enumerate(cells.keys):
        unit = float(cells.unit[cells.pool[i]])
        estimates[key] = SplitEstimate(
            *key,
            scale=_scale(cells, int(cells.pool[i])),
            mean=float(pooled.mean[i]) * unit,
            sd=float(np.sqrt(pooled.variance[i])) * unit,
            spread=float(np.sqrt(noise[i])) * unit,
            grades=float(grades[i]),
        )
    return estimates


def _pool_estimates(cells: Cells, levels: Levels, spreads: Spreads) -> dict[tuple[str, str], PoolEstimate]:
    graded = group_sums(cells.pool, np.isfinite(levels.own_variance).astype(np.float64), len(cells.pools))
    return {
        pool: PoolEstimate(
            *pool,
            scale=_scale(cells, i),
            mean=float(levels.mean[i] * cells.unit[i]),
            se=float(np.sqrt(levels.mean_variance[i]) * cells.unit[i]),
            between=float(levels.between[i] * cells.unit[i]),
            spread=float(np.sqrt(spreads.pool_variance[i]) * cells.unit[i]),
            athletes=int(graded[i]),
        )
        for i, pool in enumerate(cells.pools)
    }


def _effects(
    cells: Cells, rows: Rows, levels: Levels
) -> tuple[dict[tuple[str, str], float], dict[tuple[str, str], float]]:
    """Effects by (split, tire) and by (split, setting); positions that share a split share its effects."""
    tire, setting = {}, {}
    for i, (_, split) in enumerate(cells.pools):
        effect = (levels.effect[i] * cells.unit[i]).tolist()
        for place, name in enumerate(SETTINGS[1:]):
            setting[split, name] = effect[place]
        if cells.load[i]:
            for place, name in enumerate(rows.tires):
                tire[split, name] = effect[len(SETTINGS) - 1 + place]
    return tire, setting


def _notes(season: Season, cells: Cells, rows: Rows, left_out: LeftOut, levels: Levels) -> tuple[str, ...]:
    """Say what was left out and what had to be assumed."""
    notes = []
    if left_out.spoiled:
        belong = "grade belongs" if left_out.spoiled == 1 else "grades belong"
        notes.append(f"{left_out.spoiled} {belong} to spoiled stops: left out.")
    if left_out.not_positive:
        notes.append(
            f"The clean time of {_rows(left_out.not_positive)} of graded_stops.csv is at or below zero once the cost "
            "of its misses is taken off: left out. Check the time and the misses."
        )
    if left_out.pulled_in:
        notes.append(
            f"The time of {_rows(left_out.pulled_in)} of graded_stops.csv is far from the athlete's others: it counts "
            "as the edge of what is believable."
        )
    if len(rows.cell) and not (rows.setting == SETTINGS.index("race")).any():
        notes.append("No grade is from a race: practice times stand for race times.")
    empty = [pool for i, pool in enumerate(cells.pools) if not np.isfinite(levels.own_variance[cells.pool == i]).any()]
    if empty:
        named = ", ".join(f"{split} ({position or 'car and driver'})" for position, split in empty)
        notes.append(f"No grade of {named}: the choreography's nominal seconds stand in, unsure.")
    unseen = sorted({race.tire for race in season.races.values()} - set(rows.tires))
    if rows.tires and unseen and cells.load.any():
        notes.append(f"No graded stop has tire {', '.join(map(repr, unseen))}: counted like the reference tire.")
    return tuple(notes)


def _rows(numbers: tuple[int, ...]) -> str:
    shown = ", ".join(map(str, numbers[:10])) + (f" and {len(numbers) - 10} more" if len(numbers) > 10 else "")
    return f"row{'s' if len(numbers) > 1 else ''} {shown}"
