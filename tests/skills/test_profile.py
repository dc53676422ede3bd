"""Profiles and the table of skills."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from scipy import stats

from lineup.errors import InputError
from lineup.season import Athlete, Clearance, Miss, Task
from lineup.skills import (
    MissEstimate,
    PoolEstimate,
    SkillEstimates,
    SplitEstimate,
    estimate_skills,
    profile,
    skills_table,
)
from tests.builders import FIRST_SUNDAY, grade_row, grade_table, tiny_season
from tests.skills.simulated import POSITIONS


def test_profile_sets_an_athlete_against_the_pool(simulated):
    season, truth, estimates = simulated
    levels = {a: truth.level[a, "jack", "jack-off"] for a, p, s in truth.level if (p, s) == ("jack", "jack-off")}
    known = [a for a in levels if estimates.splits[a, "jack", "jack-off"].grades > 10]
    quick, slow = min(known, key=levels.__getitem__), max(known, key=levels.__getitem__)

    def off(athlete):
        whole = next(p for p in profile(season, estimates, athlete).positions if p.position == "jack")
        return next(s for s in whole.splits if s.estimate.split == "jack-off")

    assert off(quick).against_pool_s < 0 < off(slow).against_pool_s
    assert off(quick).place < off(slow).place <= off(slow).of == len(levels)
    assert off(quick).chance_faster_than_pool > 0.9 > 0.1 > off(slow).chance_faster_than_pool


def test_profile_holds_every_position_split_and_miss(simulated):
    season, _, estimates = simulated
    two = next(a for a in season.athletes if len({p for who, p, _ in estimates.splits if who == a}) == 2)
    whole = profile(season, estimates, two)
    assert whole.name == season.athletes[two].name
    assert [p.position for p in whole.positions] == [p for p in POSITIONS if (two, p, f"{p}-off") in estimates.splits]
    for each in whole.positions:
        assert [s.estimate.split for s in each.splits] == [
            f"{each.position}-{k}" for k in ("reach", "off", "on", "move")
        ]
        assert each.own_s == pytest.approx(sum(s.estimate.median_s for s in each.splits))
        assert each.level == "cleared"
        for miss in each.misses:
            assert miss.low90 < miss.estimate.rate < miss.high90
    assert whole.positions[0].misses[1].penalty_s == 5.0


def trending(change):
    """One athlete whose last 20 days differ by `change` (ln seconds); two others who stay."""
    noise = 0.03 * np.random.default_rng(11).standard_normal((3, 40))
    rows = [
        grade_row(f"a{i + 1}", "p1", "do-p1", 4.0 * np.exp(noise[i, n] + (change if i == 0 and n < 15 else 0.0)),
                  on=FIRST_SUNDAY - timedelta(days=2 * n + 1), setting="race")
        for i in range(3) for n in range(40)
    ]  # fmt: skip
    return tiny_season(athletes=3).replace(grades=grade_table(rows))


def test_trend_sees_who_got_faster():
    season = trending(-0.1)
    estimates = estimate_skills(season)
    mine, other = (profile(season, estimates, a).positions[0].trend for a in ("a1", "a2"))
    assert mine.change_s == pytest.approx(-0.4, abs=0.12)
    assert mine.chance_faster > 0.99
    assert (mine.recent, mine.earlier) == (15, 25)
    assert abs(other.change_s) < 3 * other.se_s


def test_trend_error_is_honest():
    """Over 30 seasons without a trend, changes scatter as their standard error says."""
    rng, z = np.random.default_rng(3), []
    season = trending(0.0)
    for _ in range(30):
        times = 4.0 * np.exp(0.05 * rng.standard_normal(len(season.grades)))
        each = season.replace(grades=season.grades.assign(seconds=times))
        trend = profile(each, estimate_skills(each), "a1").positions[0].trend
        z.append(trend.change_s / trend.se_s)
    assert 0.75 < np.std(z) < 1.25


def test_unknown_says_what_the_grades_do_not_tell():
    season = tiny_season(athletes=3, grades=3)
    season = season.replace(athletes={**season.athletes, "a4": Athlete("a4", "New One", "shop", group="candidate")})
    season = season.replace(clearances=(*season.clearances, type(season.clearances[0])("a4", "p1", "training")))
    estimates = estimate_skills(season)
    new = profile(season, estimates, "a4").positions[0]
    assert new.level == "training"
    assert new.unknown == ("No grade in this position: what is shown is what its pool, and other positions, suggest.",)
    thin = profile(season, estimates, "a1").positions[0].unknown
    assert "Few recent grades in do-p1: these lean on the pool." in thin
    assert "Never graded in a race in this position." in thin
    assert "No trend: not enough grades in the last 30 days, or before." in thin


def test_profile_of_nobody():
    season = tiny_season()
    with pytest.raises(InputError, match=r"No athlete 'nobody' in athletes\.csv"):
        profile(season, estimate_skills(season), "nobody")


def test_table_has_a_record_per_athlete_position_and_split(simulated):
    season, _, estimates = simulated
    table = skills_table(season, estimates)
    assert len(table) == len(estimates.splits)
    keys = ["athlete", "position", "split", "median_s", "low90_s", "high90_s", "spread", "grades", "misses"]
    assert all(list(record) == keys for record in table)
    assert all(record["low90_s"] < record["median_s"] < record["high90_s"] for record in table)
    on = next(r for r in table if r["split"] == "jack-on")
    assert on["misses"] == {"restrike": estimates.misses[on["athlete"], "jack", "restrike"].rate}
    assert (table[-1]["athlete"], table[-1]["position"], table[-1]["split"]) == ("", "", "brake")
    assert [r["position"] for r in table[:-1]] == sorted((r["position"] for r in table[:-1]), key=POSITIONS.index)


def test_interval_of_the_table_covers_the_true_median(simulated):
    season, truth, estimates = simulated
    inside = [
        r["low90_s"] <= (true if r["split"].endswith("reach") else np.exp(true)) <= r["high90_s"]
        for r in skills_table(season, estimates)
        if (true := truth.level.get((r["athlete"], r["position"], r["split"]))) is not None
    ]
    assert 0.85 < np.mean(inside) < 0.98


def handmade():
    """Two positions; a1 known in both, a2 in one, a3 only cleared, and what is known of them written down.

    Early "reach" is in seconds, the rest in ln seconds.
    """
    shape = (
        Task("reach", "Reach", "p1", (), "reach", 0.2, early=True),
        Task("do-1", "Work", "p1", ("reach",), "do", 4.0, misses=("slip",), release=True),
        Task("do-2", "Work", "p1", ("do-1",), "do", 4.0, misses=("drop",), release=True),
        Task("lift", "Lift", "p2", (), "lift", 1.0, release=True),
        Task("brake", "Stop", None, (), "brake", 1.0, misses=("slip",)),
    )
    misses = {"slip": Miss("slip", "A slip", 0.3), "drop": Miss("drop", "A drop", 1.0, 7.0)}
    season = tiny_season(athletes=3, positions=2, shape=shape, grades=0, misses=misses)
    clearances = [("a1", "p1", "training"), ("a1", "p1", "cleared"), ("a2", "p1", "training"), ("a3", "p1", "cleared")]
    season = season.replace(clearances=tuple(Clearance(*c) for c in clearances))
    known = [
        ("a1", "p1", "reach", "plain", 0.15, 0.03, 0.04, 8.0),
        ("a1", "p1", "do", "log", np.log(3.8), 0.02, 0.05, 4.0),
        ("a2", "p1", "reach", "plain", 0.15, 0.03, 0.06, 8.0),
        ("a2", "p1", "do", "log", np.log(4.2), 0.04, 0.10, 0.0),
        ("a3", "p1", "reach", "plain", 0.10, 0.03, 0.04, 0.0),
        ("a3", "p1", "do", "log", np.log(4.0), 0.02, 0.05, 0.0),
        ("a1", "p2", "lift", "log", np.log(1.1), 0.02, 0.05, 0.0),
        ("", "", "brake", "log", 0.0, 0.02, 0.05, 9.0),
    ]
    rates = [("a1", 2.0, 100.0, 40.0), ("a2", 3.0, 30.0, 0.0), ("a3", 9.0, 100.0, 10.0)]
    pools = [
        ("p1", "reach", "plain", 0.2, 0.01, 0.05, 0.05, 2),
        ("p1", "do", "log", np.log(4.0), 0.01, 0.05, 0.08, 1),
        ("p2", "lift", "log", 0.0, 0.1, 0.07, 0.1, 0),
    ]
    estimates = SkillEstimates(
        FIRST_SUNDAY,
        {(s[0], s[1], s[2]): SplitEstimate(*s) for s in known},
        {(a, "p1", m): MissEstimate(a, "p1", m, k / b, k, b, n) for a, k, b, n in rates for m in ("slip", "drop")}
        | {("", "", "slip"): MissEstimate("", "", "slip", 0.5, 1.0, 2.0, 9.0)},
        pools={(p[0], p[1]): PoolEstimate(*p) for p in pools},
        loss_s={"slip": 0.4, "drop": 1.5},
        pace={"a1": 1.1, "a2": 1.0, "a3": 1.21},
    )
    return season, estimates


def test_a_split_by_hand():
    """Normal probabilities from tables: Φ(1.6449) = 0.95, Φ(5/3) = 0.9522, Φ(1.0986) = 0.864."""
    season, estimates = handmade()
    whole = profile(season, estimates, "a1")
    first = whole.positions[0]
    reach, do = first.splits
    assert (reach.pool.mean, do.pool.mean) == (0.2, np.log(4.0))
    assert (reach.against_pool_s, do.against_pool_s) == (pytest.approx(-0.05), pytest.approx(-0.2))
    assert (reach.against_low_s, reach.against_high_s) == (
        pytest.approx(-0.0993, abs=1e-4),
        pytest.approx(-0.0007, abs=1e-4),
    )
    assert do.against_low_s == pytest.approx(3.8 * np.exp(-0.032897) - 4.0, abs=1e-5)
    assert do.against_high_s == pytest.approx(3.8 * np.exp(0.032897) - 4.0, abs=1e-5)
    assert reach.chance_faster_than_pool == pytest.approx(0.9522, abs=1e-4)
    assert do.chance_faster_than_pool == pytest.approx(0.9948, abs=1e-4)  # 0.05129 / 0.02 = 2.5647
    assert (reach.place, reach.of, do.place, do.of) == (2, 3, 1, 3)  # two share the second place
    assert profile(season, estimates, "a2").positions[0].splits[0].place == 2
    assert (reach.consistency, do.consistency) == (pytest.approx(0.8), pytest.approx(0.625))
    assert (first.grades, first.own_s, first.pool_s) == (12.0, pytest.approx(3.95), pytest.approx(4.2))
    assert (whole.athlete, whole.pace, whole.pace_of_all) == (
        "a1",
        1.1,
        pytest.approx(1.1),
    )  # geometric mean of 1.1, 1 and 1.21
    assert [p.level for p in whole.positions] == ["cleared", "none"]
    assert profile(season, estimates, "a2").positions[0].level == "training"


def test_a_miss_by_hand():
    """Quantiles of a gamma from scipy.stats; with whole shapes that is a chi-square of twice as many degrees."""
    season, estimates = handmade()
    slip, drop = profile(season, estimates, "a1").positions[0].misses
    assert (slip.low90, slip.high90) == pytest.approx(stats.gamma(2.0, scale=0.01).ppf([0.05, 0.95]))
    assert slip.others == drop.others == pytest.approx((0.1 + 0.09) / 2)
    assert (slip.loss_s, slip.penalty_s, drop.loss_s, drop.penalty_s) == (0.4, 0.0, 1.5, 7.0)
    alone = replace(estimates, misses={k: m for k, m in estimates.misses.items() if k[0] == "a1"})
    assert profile(season, alone, "a1").positions[0].misses[0].others == pytest.approx(0.02)


def test_nobody_has_a_pace_where_none_was_estimated():
    season, estimates = handmade()
    whole = profile(season, replace(estimates, pace={}), "a1")
    assert (whole.pace, whole.pace_of_all) == (1.0, 1.0)


def test_what_is_unknown_is_said_in_full():
    season, estimates = handmade()
    nothing = "No grade in this position: what is shown is what its pool, and other positions, suggest."
    no_trend = "No trend: not enough grades in the last 30 days, or before."
    said = {(a, p.position): p.unknown for a in season.athletes for p in profile(season, estimates, a).positions}
    assert said["a1", "p1"] == ("Few recent grades in do: these lean on the pool.", no_trend)
    assert said["a1", "p2"] == (nothing,)
    assert said["a2", "p1"] == ("No grade in do.", no_trend, "Never graded in a task that can bring slip, drop.")
    assert said["a3", "p1"] == (nothing,)
    grades = [grade_row("a1", "p2", "lift", 1.0, setting="race"), grade_row("a1", "p1", "reach", 0.1)]
    never = "Never graded in a race in this position."
    graded = season.replace(grades=grade_table(grades))
    assert never in profile(graded, estimates, "a1").positions[0].unknown
    assert never not in profile(graded, estimates, "a1").positions[1].unknown
    rows = [grade_row("a1", "p1", "reach", 0.1, setting="race"), grade_row("a2", "p1", "reach", 0.1)]
    raced = season.replace(grades=grade_table(rows))
    assert never not in profile(raced, estimates, "a1").positions[0].unknown


def test_half_a_grade_is_some_and_five_are_enough():
    season, estimates = handmade()
    move = ("a1", "p1", "move")
    pools = estimates.pools | {move[1:]: replace(estimates.pools["p1", "do"], split="move")}

    def said(reach, do, more, chances=10.0):
        grades = {"reach": reach, "do": do, "move": more}
        splits = estimates.splits | {move: replace(estimates.splits["a1", "p1", "do"], split="move")}
        splits = {key: replace(own, grades=grades.get(own.split, 9.0)) for key, own in splits.items()}
        misses = {key: replace(own, chances=chances) for key, own in estimates.misses.items()}
        known = replace(estimates, splits=splits, misses=misses, pools=pools)
        return profile(season, known, "a1").positions[0].unknown

    assert said(0.5, 4.9, 5.0)[0] == "Few recent grades in reach, do: these lean on the pool."
    assert said(0.0, 9.0, 0.0)[0] == "No grade in reach, move."
    assert len(said(0.0, 0.0, 0.0, chances=0.0)) == 1  # no grade at all says everything


def test_a_trend_by_hand():
    """Two grades on either side: the difference of means, and spread times sqrt(1/2 + 1/2), in seconds."""
    season, estimates = handmade()
    old, edge, new = (FIRST_SUNDAY - timedelta(days=days) for days in (31, 30, 1))

    def row(task, seconds, on, **facts):
        return grade_row("a1", "p1", task, seconds, on=on, setting="race", **facts)

    rows = [row("reach", s, on) for s, on in ((0.30, old), (0.20, old), (0.16, edge), (0.14, new))]
    rows += [
        row("do-1", 4.0, old),
        row("do-1", 4.4, old, misses=("slip",)),
        row("do-2", 3.8, new),
        row("do-2", 3.8, edge),
    ]
    rows += [row("do-2", 3.8, new, spoilers=("late",)), grade_row("a2", "p1", "reach", 9.0, on=new)]
    first = profile(season.replace(grades=grade_table(rows)), estimates, "a1").positions[0]
    reach, do = (s.trend for s in first.splits)
    assert (reach.change_s, reach.se_s) == (pytest.approx(-0.10), pytest.approx(0.04))
    assert reach.chance_faster == pytest.approx(0.99379, abs=1e-5)  # Φ(2.5)
    assert do.change_s == pytest.approx(3.8 * np.log(3.8 / 4.0))  # ln seconds, at the athlete's 3.8 s
    assert do.se_s == pytest.approx(3.8 * 0.05)
    assert (do.recent, do.earlier) == (2, 2)
    both = first.trend
    assert both.change_s == pytest.approx(reach.change_s + do.change_s)
    assert both.se_s == pytest.approx(np.sqrt(reach.se_s**2 + do.se_s**2))
    assert (both.recent, both.earlier) == (4, 4)
    fewer = season.replace(grades=grade_table([r for r in rows if r["date"].date() != edge]))
    assert profile(fewer, estimates, "a1").positions[0].splits[0].trend is None
    late = season.replace(grades=grade_table([r for r in rows if (r["task"], r["date"].date()) != ("reach", old)]))
    reach, do = (s.trend for s in profile(late, estimates, "a1").positions[0].splits)
    assert (reach, do.recent) == (None, 2)


def test_the_table_by_hand():
    season, estimates = handmade()
    table = skills_table(season, estimates)
    assert [(r["athlete"], r["position"], r["split"]) for r in table] == [
        *((a, "p1", s) for a in ("a1", "a2", "a3") for s in ("reach", "do")),
        ("a1", "p2", "lift"),
        ("", "", "brake"),
    ]
    by_key = {(r["athlete"], r["split"]): r for r in table}
    assert by_key["a1", "reach"]["median_s"] == 0.15
    assert by_key["a1", "reach"]["low90_s"] == pytest.approx(0.15 - 1.644854 * 0.03)
    assert by_key["a1", "reach"]["high90_s"] == pytest.approx(0.15 + 1.644854 * 0.03)
    assert (by_key["a1", "reach"]["spread"], by_key["a1", "reach"]["grades"]) == (0.04, 8.0)
    assert by_key["a1", "reach"]["misses"] == {}
    assert by_key["a1", "do"]["misses"] == {"slip": 0.02, "drop": 0.02}
    assert by_key["", "brake"]["misses"] == {"slip": 0.5}
