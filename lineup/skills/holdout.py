"""How good the estimates are: predict the grades after a day from those before it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
import pandas as pd
from scipy.special import ndtri

from lineup.errors import InputError
from lineup.season import Season
from lineup.skills.arrays import Bools, Floats, Ints, group_sums
from lineup.skills.assumptions import Assumptions
from lineup.skills.estimate import estimate_skills
from lineup.skills.grades import Cells, Rows, make_cells, make_rows
from lineup.skills.net import row_effects
from lineup.skills.records import SkillEstimates

_FEW = 5  # earlier grades up to which a plain average is thin


@dataclass(frozen=True, slots=True)
class HoldoutReport:
    """Predictions of the grades from `split_date` on, made from those before it; spoiled stops and misses left out.

    Attributes
    ----------
    grades : how many were predicted.
    cover50, cover90 : share that fell inside the predicted 50 % and 90 % interval.
    error50, error90 : their standard errors; an athlete's grades count as one cluster, since they err together.
    unseen, unseen_cover50, unseen_cover90 : number and shares of those without an earlier grade in that split.
    rmse_pooled_s, rmse_plain_s : error of the estimate, and of the plain average of the athlete's earlier clean times
        in that split, over the `compared` grades for which there is one.
    ratio : rmse_pooled_s / rmse_plain_s; below 1 the estimate predicts better.
    few, few_ratio : the same where the plain average has at most 5 grades. NaN where nothing was compared.
    """

    split_date: date
    grades: int
    cover50: float
    cover90: float
    error50: float
    error90: float
    unseen: int
    unseen_cover50: float
    unseen_cover90: float
    compared: int
    rmse_pooled_s: float
    rmse_plain_s: float
    ratio: float
    few: int
    few_ratio: float

    @property
    def text(self) -> str:
        """The report in a few sentences."""
        if not self.grades:
            return f"No clean grades from {self.split_date} on: nothing to hold the estimates against."
        sure = f"{self.cover50:.0%} ± {self.error50:.0%} inside their 50 % interval, "
        sure += f"{self.cover90:.0%} ± {self.error90:.0%} inside their 90 % interval"
        words = f"{self.grades:,} clean grades from {self.split_date} on, forecast from those before: {sure}."
        if self.unseen:
            words += f" Of them {self.unseen:,} by athletes never graded before in the split: "
            words += f"{self.unseen_cover50:.0%} and {self.unseen_cover90:.0%}."
        if self.compared:
            less = 1 - self.ratio
            words += f" The pooled estimate errs by {self.rmse_pooled_s:.3f} s, {abs(less):.1%} "
            words += f"{'less' if less >= 0 else 'more'} than each athlete's plain average ({self.rmse_plain_s:.3f} s)."
        return words


def holdout_report(season: Season, split_date: date, beliefs: Assumptions | None = None) -> HoldoutReport:
    """Estimate from the grades before a day and see how well those from that day on are predicted."""
    beliefs = beliefs or Assumptions()
    before = (season.grades["date"] < pd.Timestamp(split_date)).to_numpy()
    estimates = estimate_skills(season.replace(grades=season.grades[before]), split_date, beliefs)
    cells = make_cells(season, beliefs.least_unit_s)
    earlier, earlier_plain = _clean(season.replace(grades=season.grades[before]), cells, split_date)
    later, later_plain = _clean(season.replace(grades=season.grades[~before]), cells, split_date)
    later_plain &= np.array([key in estimates.splits for key in cells.keys])[later.cell]
    if not later_plain.any() or not earlier_plain.any():
        raise InputError(f"Nothing to compare: {split_date} must have clean grades before it and from it on.")
    centre, wide = _predict(estimates, cells, later)
    cell, seconds = later.cell[later_plain], later.seconds[later_plain]
    centre, wide = centre[later_plain], wide[later_plain]
    x = cells.scaled(seconds, cell) * cells.unit[cells.pool[cell]]
    off = np.abs(x - centre) / wide
    inside50, inside90 = off <= ndtri(0.75), off <= ndtri(0.95)
    counts = np.bincount(earlier.cell[earlier_plain], minlength=len(cells.keys))
    sums = np.bincount(earlier.cell[earlier_plain], earlier.seconds[earlier_plain], minlength=len(cells.keys))
    had = counts[cell] > 0
    log = cells.log[cells.pool[cell]]
    pooled_s = np.where(log, np.exp(np.where(log, centre + wide**2 / 2, 0.0)), centre)
    plain_s = sums[cell] / np.maximum(counts[cell], 1)
    few = had & (counts[cell] <= _FEW)
    pooled_rmse, plain_rmse = _rmse(seconds - pooled_s, had), _rmse(seconds - plain_s, had)
    return HoldoutReport(
        split_date=split_date,
        grades=len(cell),
        cover50=float(inside50.mean()),
        cover90=float(inside90.mean()),
        error50=_standard_error(inside50, cells.athlete[cell]),
        error90=_standard_error(inside90, cells.athlete[cell]),
        unseen=int((~had).sum()),
        unseen_cover50=_share(inside50, ~had),
        unseen_cover90=_share(inside90, ~had),
        compared=int(had.sum()),
        rmse_pooled_s=pooled_rmse,
        rmse_plain_s=plain_rmse,
        ratio=pooled_rmse / plain_rmse,
        few=int(few.sum()),
        few_ratio=_rmse(seconds - pooled_s, few) / _rmse(seconds - plain_s, few),
    )


def _clean(season: Season, cells: Cells, on: date) -> tuple[Rows, Bools]:
    """Rows of a season, and which of them are a time without a miss."""
    rows, _ = make_rows(season, cells, on, half_life_days=1.0)  # plain averages know no age
    plain = np.isfinite(cells.scaled(rows.seconds, rows.cell))
    plain[rows.slip_row] = False
    return rows, plain


def _predict(estimates: SkillEstimates, cells: Cells, rows: Rows) -> tuple[Floats, Floats]:
    """Centre and standard deviation of each row's predicted clean value, on the split's scale (seconds if plain)."""
    known = [estimates.splits.get(key) for key in cells.keys]
    mean = np.array([e.mean if e else np.nan for e in known])
    wide = np.array([np.hypot(e.sd, e.spread) if e else np.nan for e in known])
    return mean[rows.cell] + row_effects(estimates, cells, rows), wide[rows.cell]


def _share(inside: Bools, part: Bools) -> float:
    return float(inside[part].mean()) if part.any() else float("nan")


def _standard_error(inside: Bools, cluster: Ints) -> float:
    """Return the standard error of a share whose cases come in clusters (Liang & Zeger 1986, from memory)."""
    surplus = group_sums(cluster, inside - inside.mean(), int(cluster.max()) + 1)
    return float(np.sqrt((surplus**2).sum())) / len(inside)


def _rmse(errors: Floats, part: Bools) -> float:
    return float(np.sqrt(np.mean(errors[part] ** 2))) if part.any() else float("nan")
