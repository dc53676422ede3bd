"""Held-out grades fall where they were predicted, and better than a plain average would say."""

from datetime import date
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from lineup.errors import InputError
from lineup.read import read_season
from lineup.skills import estimate_skills, holdout_report
from lineup.skills.holdout import _standard_error
from tests.builders import tiny_season

DEMO = Path(__file__).parents[2] / "data_demo"


@pytest.fixture(scope="module")
def demo():
    season, _ = read_season(DEMO / "season")
    return season


def test_simulated_season(simulated):
    season, _, _ = simulated
    report = holdout_report(season, date(2026, 2, 1))
    assert report.grades > 1000
    assert report.cover50 == pytest.approx(0.5, abs=0.05)
    assert report.cover90 == pytest.approx(0.9, abs=0.04)
    assert report.ratio < 1
    assert report.few_ratio < 0.95


@pytest.mark.parametrize("day", [date(2025, 12, 15), date(2026, 1, 20)])
def test_demo_season(demo, day):
    """Measured: 89.8 % and 92.3 % inside the 90 % interval; errors 0.960 and 0.980 of the plain average's."""
    report = holdout_report(demo, day)
    assert report.cover50 == pytest.approx(0.5, abs=0.05)
    assert report.cover90 == pytest.approx(0.9, abs=0.04)
    assert report.ratio < 0.985
    assert report.few_ratio < 0.99


def test_demo_season_against_its_hidden_truth(demo):
    """True medians lie inside nine of ten 90 % intervals, and the estimates rank a pool's athletes rightly."""
    estimates = estimate_skills(demo)
    truth = pd.read_csv(DEMO / "truth.csv", keep_default_na=False)
    own = [estimates.splits[key] for key in zip(truth["athlete"], truth["position"], truth["split"], strict=True)]
    true = truth["median_s"].to_numpy()
    inside = [e.interval90_s[0] <= t <= e.interval90_s[1] for e, t in zip(own, true, strict=True)]
    assert 0.85 < np.mean(inside) < 0.99
    pools = truth.assign(found=[e.median_s for e in own]).groupby(["position", "split"])
    correlations = [pool["found"].corr(pool["median_s"]) for _, pool in pools if len(pool) >= 6]
    assert np.median(correlations) > 0.8
    spread = np.log([e.spread for e in own]) - np.log(truth["spread"].to_numpy())
    assert abs(spread.mean()) < 0.1


def test_the_error_of_a_share_counts_clusters_not_cases():
    """A hundred coins, each counted four times, tell as much as a hundred coins: sqrt(.25 / 100)."""
    coins = np.arange(100) % 2 == 0
    assert _standard_error(coins, np.arange(100)) == pytest.approx(0.05)
    assert _standard_error(np.repeat(coins, 4), np.repeat(np.arange(100), 4)) == pytest.approx(0.05)
    assert _standard_error(np.repeat(coins, 4), np.arange(400)) == pytest.approx(0.025)


def test_athletes_never_seen_before_are_predicted_widely(demo):
    report = holdout_report(demo, date(2025, 12, 15))
    assert report.unseen > 100
    assert 0.35 < report.unseen_cover50 < 0.65
    assert 0.8 < report.unseen_cover90 <= 1


def test_nothing_to_compare():
    with pytest.raises(InputError, match="must have clean grades before it and from it on"):
        holdout_report(tiny_season(), date(2030, 1, 1))
