"""Held-out grades fall where they were predicted, and better than a plain average would say."""

from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from lineup.errors import InputError
from lineup.read import read_season
from lineup.season import Miss, Task
from lineup.skills import Assumptions, HoldoutReport, estimate_skills, holdout_report
from lineup.skills.holdout import _standard_error
from tests.builders import grade_row, grade_table, tiny_season

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


def test_the_report_in_words():
    whole = HoldoutReport(
        date(2026, 2, 1), 1200, 0.51, 0.89, 0.012, 0.02, 30, 0.4, 0.85, 1100, 0.301, 0.35, 0.86, 9, 0.8
    )
    said = (
        "1,200 clean grades from 2026-02-01 on, forecast from those before: 51% ± 1% inside their 50 % interval, "
        "89% ± 2% inside their 90 % interval."
    )
    unseen = " Of them 30 by athletes never graded before in the split: 40% and 85%."
    compared = " The pooled estimate errs by 0.301 s, 14.0% {} than each athlete's plain average (0.350 s)."
    assert whole.text == said + unseen + compared.format("less")
    assert replace(whole, ratio=1.14).text == said + unseen + compared.format("more")
    assert replace(whole, unseen=0, compared=0).text == said
    assert replace(whole, ratio=1.0).text.endswith("0.0% less than each athlete's plain average (0.350 s).")
    nothing = "No clean grades from 2026-02-01 on: nothing to hold the estimates against."
    assert replace(whole, grades=0).text == nothing


def test_what_is_predicted_from_what_by_hand():
    """Two athletes graded before the day; after it these and one newcomer, a miss, a spoiled stop and no time."""
    day = date(2026, 2, 1)
    tasks = (
        Task("reach", "Reach", "p1", (), "reach", 0.5, early=True),
        Task("do-1", "Work", "p1", ("reach",), "do", 4.0, misses=("slip",), release=True),
    )
    season = tiny_season(athletes=4, positions=1, shape=tasks, grades=0, misses={"slip": Miss("slip", "A slip", 1.0)})
    season = season.replace(clearances=season.clearances[:3])

    def row(who, task, seconds, days, **facts):
        return grade_row(who, "p1", task, seconds, on=day + timedelta(days=days), setting="race", **facts)

    early = [(a, "do-1", s, -n) for a in ("a1", "a2") for n, s in enumerate((3.9, 4.0, 4.1, 4.0, 4.05, 3.95), start=1)]
    early += [("a1", "reach", s, -1) for s in (-0.02, 0.0, 0.02, 0.01, 0.04)] + [("a2", "reach", 0.3, -1)]
    late = [
        ("a1", "do-1", 4.05, 0),
        ("a2", "do-1", 4.6, 3),
        ("a3", "do-1", 4.0, 1),
        ("a1", "reach", 0.03, 2),
        ("a2", "reach", 0.1, 2),
    ]
    rows = [row(*facts) for facts in (*early, *late)]
    rows += [row("a1", "do-1", 9.0, 1, misses=("slip",)), row("a1", "do-1", 9.0, -1, misses=("slip",))]
    rows += [row("a1", "do-1", 9.0, 1, spoilers=("late",)), row("a1", "do-1", float("nan"), 1)]
    rows += [row("a4", "do-1", 4.0, 1)]  # neither cleared nor graded before: nobody forecast him
    graded = season.replace(grades=grade_table(rows))
    report = holdout_report(graded, day)
    before = graded.replace(grades=graded.grades[graded.grades["date"] < pd.Timestamp(day)])
    known = estimate_skills(before, day)

    def expected_s(who, split):
        own = known.splits[who, "p1", split]
        return own.mean if own.scale == "plain" else np.exp(own.mean + (own.sd**2 + own.spread**2) / 2)

    assert (report.grades, report.unseen, report.compared, report.few) == (5, 1, 4, 2)
    reach = np.array([0.03 - expected_s("a1", "reach"), 0.1 - expected_s("a2", "reach")])
    pooled = np.array([4.05 - expected_s("a1", "do"), 4.6 - expected_s("a2", "do"), *reach])
    plain = np.array([4.05 - 4.0, 4.6 - 4.0, 0.03 - 0.01, 0.1 - 0.3])
    assert report.rmse_pooled_s == pytest.approx(np.sqrt(np.mean(pooled**2)))
    assert report.rmse_plain_s == pytest.approx(np.sqrt(np.mean(plain**2)))
    assert report.ratio == pytest.approx(report.rmse_pooled_s / report.rmse_plain_s)
    assert report.few_ratio == pytest.approx(np.linalg.norm(reach) / np.linalg.norm(plain[2:]))
    inside = []
    for who, split, x in (
        ("a1", "do", np.log(4.05)),
        ("a2", "do", np.log(4.6)),
        ("a3", "do", np.log(4.0)),
        ("a1", "reach", 0.03),
        ("a2", "reach", 0.1),
    ):
        own = known.splits[who, "p1", split]
        law = stats.norm(own.mean, np.hypot(own.sd, own.spread))
        inside.append([law.ppf(0.25) <= x <= law.ppf(0.75), law.ppf(0.05) <= x <= law.ppf(0.95)])
    assert (report.cover50, report.cover90) == tuple(np.mean(inside, axis=0))
    assert (report.unseen_cover50, report.unseen_cover90) == tuple(inside[2])
    off = np.array(inside) - np.mean(inside, axis=0)
    together = np.array([off[0] + off[3], off[1] + off[4], off[2]])  # each athlete's grades err together
    assert (report.error50, report.error90) == pytest.approx(tuple(np.linalg.norm(together, axis=0) / 5))
    assert report.split_date == day
    erratic = holdout_report(graded, day, Assumptions(least_spread=5.0))
    assert (erratic.cover50, erratic.grades) == (1.0, 5)  # nobody is believed to be steadier than that
    whole = [row for row in rows if row["athlete"] != "a3"]
    seen = holdout_report(graded.replace(grades=grade_table(whole)), day)
    assert seen.unseen == 0
    assert np.isnan(seen.unseen_cover50)
    only = [row(*facts) for facts in (*early, late[2])]
    none = holdout_report(graded.replace(grades=grade_table(only)), day)
    assert (none.compared, none.few) == (0, 0)
    assert np.isnan([none.rmse_pooled_s, none.rmse_plain_s, none.ratio, none.few_ratio]).all()
