"""Profiles and the table of skills."""

from datetime import timedelta

import numpy as np
import pytest

from lineup.errors import InputError
from lineup.season import Athlete
from lineup.skills import estimate_skills, profile, skills_table
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
