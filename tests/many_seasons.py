"""Held-out forecasts over many seasons like the demo season, each made from another seed."""

from __future__ import annotations

import tempfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np

from data_demo.make import main as make_demo
from lineup.read import read_season
from lineup.skills import HoldoutReport, holdout_report
from lineup.stop_model.stop_check import Coverage, StopCalibration, held_out_calibration

DAY = date(2026, 1, 1)  # before the tryout: nobody has graded the candidates yet


@dataclass(frozen=True)
class Share:
    """A share over all cases of all seasons; its standard error, from how seasons differ; and what luck promised.

    `luck` : standard error that the seasons themselves state, each of its own share; NaN where they state none.
    """

    share: float
    error: float
    luck: float
    cases: int

    def __str__(self) -> str:
        stated = "" if np.isnan(self.luck) else f" (stated ± {self.luck:.1%})"
        return f"{self.share:.1%} ± {self.error:.1%}{stated} of {self.cases:,}"


def check_seasons(seeds: Iterable[str]) -> list[tuple[HoldoutReport, StopCalibration]]:
    """Make the season of each seed and forecast what came from DAY on with what was known before."""
    found = []
    for seed in seeds:
        with tempfile.TemporaryDirectory() as folder:
            make_demo([f"{folder}/season", seed])
            season, _ = read_season(Path(folder) / "season")
        found.append((holdout_report(season, DAY), held_out_calibration(season, DAY)))
    return found


def share_of(seasons: Sequence[tuple[int, float, float]]) -> Share:
    """Sum up cases, share and stated standard error of each season."""
    cases, shares, luck = (np.array(column, dtype=np.float64) for column in zip(*seasons, strict=True))
    mean = float(cases @ shares / cases.sum())
    error, stated = (float(np.sqrt(((cases * off) ** 2).sum()) / cases.sum()) for off in (shares - mean, luck))
    return Share(mean, error, stated, int(cases.sum()))


def stops_inside(covers: Sequence[Coverage]) -> tuple[Share, Share]:
    """Shares of whole stops inside their 50 % and inside their 90 % interval."""
    half = share_of([(c.stops, c.cover50, c.luck50) for c in covers])
    most = share_of([(c.stops, c.cover90, c.luck90) for c in covers])
    return half, most


def grades_inside(reports: Sequence[HoldoutReport]) -> tuple[Share, Share]:
    """Shares of clean grades inside their 50 % and inside their 90 % interval."""
    half = share_of([(r.grades, r.cover50, r.error50) for r in reports])
    most = share_of([(r.grades, r.cover90, r.error90) for r in reports])
    return half, most


def newcomers_inside(reports: Sequence[HoldoutReport]) -> tuple[Share, Share]:
    """The same for grades of athletes never graded before in the split."""
    half = share_of([(r.unseen, r.unseen_cover50, np.nan) for r in reports])
    most = share_of([(r.unseen, r.unseen_cover90, np.nan) for r in reports])
    return half, most
