"""What is left of each grade once misses, pace, setting and tire are taken out with given estimates."""

from __future__ import annotations

import numpy as np

from lineup.skills.arrays import Floats
from lineup.skills.grades import SETTINGS, Cells, Rows
from lineup.skills.records import SkillEstimates


def row_effects(estimates: SkillEstimates, cells: Cells, rows: Rows) -> Floats:
    """Add up what setting, tire and pace after a miss do to each row, on the split's scale (seconds if plain)."""
    setting = np.zeros((len(cells.pools), len(SETTINGS)))
    tire = np.zeros((len(cells.pools), len(rows.tires)))
    for i, (_, split) in enumerate(cells.pools):
        setting[i] = [estimates.setting.get((split, name), 0.0) for name in SETTINGS]
        tire[i] = [estimates.tire.get((split, name), 0.0) for name in rows.tires]
    pace = np.log([estimates.pace.get(athlete, 1.0) for athlete in cells.athletes])
    pool = cells.pool[rows.cell]
    lag = np.where(rows.after & cells.log[pool], pace[cells.athlete[rows.cell]], 0.0)
    effects: Floats = setting[pool, rows.setting] + tire[pool, rows.tire] + lag
    return effects


def net_values(estimates: SkillEstimates, cells: Cells, rows: Rows) -> Floats:
    """Each row's clean value in a race on the reference tire, on the split's scale (seconds if plain); NaN if none."""
    loss_s = np.array([estimates.loss_s[miss] for miss in rows.misses])
    x = cells.scaled(rows.seconds - rows.loss(loss_s), rows.cell) * cells.unit[cells.pool[rows.cell]]
    net: Floats = x - row_effects(estimates, cells, rows)
    return net
