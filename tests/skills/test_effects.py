"""What a setting adds is told from who works in it; what standing adds is told from few athletes' luck."""

from datetime import timedelta

import numpy as np
import pytest

from lineup.season import Clearance, Task
from lineup.skills import estimate_skills
from lineup.skills.slip_traits import fit_trait_rates
from tests.builders import FIRST_SUNDAY, grade_row, grade_table, tiny_season

DAY = FIRST_SUNDAY - timedelta(days=5)


def sample(rng, level, athletes, settings):
    """Rows of graded times around `level[athlete]` (ln seconds), `settings`: how many of each per athlete."""
    return [
        grade_row(athlete, "p1", "do-p1", float(seconds), on=DAY, setting=setting)
        for athlete in athletes
        for setting, (number, shift) in settings(athlete).items()
        for seconds in np.exp(level[athlete] + shift + 0.1 * rng.standard_normal(number))
    ]


def test_who_works_the_races_is_no_part_of_what_a_race_adds():
    """The quicker half works the races and practises a little, the slower half practises alone; practice adds -0.02."""
    rng = np.random.default_rng(4)
    season = tiny_season(athletes=20, positions=1, grades=0)
    names = list(season.athletes)
    level = {a: np.log(4.0) + (-0.06 if i < 10 else 0.06) + 0.02 * rng.standard_normal() for i, a in enumerate(names)}

    def settings(athlete):
        racer = names.index(athlete) < 10
        return {"race": (30, 0.0), "practice": (10, -0.02)} if racer else {"practice": (30, -0.02)}

    estimates = estimate_skills(season.replace(grades=grade_table(sample(rng, level, names, settings))))
    # Standard error of the comparison of ten racers with themselves: 0.1 * sqrt(1/300 + 1/100) = 0.012.
    assert estimates.setting["do-p1", "practice"] == pytest.approx(-0.02, abs=0.025)
    off = np.array([estimates.splits[a, "p1", "do-p1"].mean - level[a] for a in names])
    assert abs(off[10:].mean()) < 0.03


def standing(rng, lead, developing, number=24):
    """Season of leads, regulars and developing athletes, a third each, with six grades each and two without any."""
    season = tiny_season(athletes=number, positions=1, grades=0)
    groups = ["lead", "regular", "developing"]
    crew = {
        a: type(who)(a, who.name, who.home, group=groups[i % 3]) for i, (a, who) in enumerate(season.athletes.items())
    }
    crew |= {a: type(who)(a, who.name, who.home, group="candidate") for a, who in list(crew.items())[-1:]}
    add = {"lead": lead, "regular": 0.0, "developing": developing, "candidate": developing}
    level = {a: np.log(4.0) + add[who.group] + 0.02 * rng.standard_normal() for a, who in crew.items()}
    graded = list(crew)[:-4]
    rows = sample(rng, level, graded, lambda _: {"race": (6, 0.0)})
    return season.replace(athletes=crew, grades=grade_table(rows)), level


def test_an_ungraded_athlete_is_expected_where_his_group_is():
    season, _ = standing(np.random.default_rng(5), lead=-0.08, developing=0.08)
    found = estimate_skills(season)
    ungraded = {season.athletes[a].group: found.splits[a, "p1", "do-p1"] for a in list(season.athletes)[-4:]}
    assert all(e.grades == 0 for e in ungraded.values())
    means = {group: e.mean - np.log(4.0) for group, e in ungraded.items()}
    # Leads and developing athletes lie 0.08 off, each known from about seven: 0.02 / sqrt(7) and the prior's pull.
    assert means["lead"] == pytest.approx(-0.08, abs=0.035)
    assert means["developing"] == pytest.approx(0.08, abs=0.035)
    assert means["candidate"] > means["developing"]  # and new besides
    assert ungraded["candidate"].sd > ungraded["developing"].sd


def test_groups_that_do_not_differ_are_not_told_apart():
    season, _ = standing(np.random.default_rng(6), lead=0.0, developing=0.0)
    found = estimate_skills(season)
    means = [found.splits[a, "p1", "do-p1"].mean - np.log(4.0) for a in list(season.athletes)[-4:-1]]
    assert np.abs(means).max() < 0.03


def test_a_shared_early_split_has_one_effect_in_seconds():
    """Positions with different nominal times that share an early split: what practice adds is the same for both."""
    rng = np.random.default_rng(8)
    season, names = _early_season()
    rows = [
        grade_row(a, p, f"reach-{p}", float(base + shift + 0.05 * rng.standard_normal()), on=DAY, setting=setting)
        for p, base in (("p1", 1.8), ("p2", 0.2))
        for a in names
        for setting, shift in (("race", 0.0), ("practice", -0.1))
        for _ in range(12)
    ]
    found = estimate_skills(season.replace(grades=grade_table(rows)))
    assert found.setting["reach", "practice"] == pytest.approx(-0.1, abs=0.03)


def _early_season():
    shape = tuple(
        Task(f"reach-{p}", "To the wheel", p, (), "reach", seconds, early=True, release=True)
        for p, seconds in (("p1", 1.8), ("p2", 0.2))
    )
    season = tiny_season(athletes=4, positions=2, grades=0, shape=shape)
    everyone = tuple(Clearance(a, p, "cleared") for a in season.athletes for p in ("p1", "p2"))
    return season.replace(clearances=everyone), list(season.athletes)


def test_rates_of_traits_are_found_and_leave_doubt():
    """Poisson counts whose rates differ by pool and by trait; standard errors against the scatter of 200 samples."""
    rng = np.random.default_rng(9)
    pool = np.repeat(np.arange(4), 30)
    traits = (rng.random((120, 2)) < 0.4).astype(float)
    chances = rng.uniform(10, 60, 120)
    rate = np.array([0.02, 0.05, 0.1, 0.2])[pool] * np.exp(traits @ [0.5, -0.3])
    found = [fit_trait_rates(rng.poisson(rate * chances), chances, pool, traits, 1e6, 10.0) for _ in range(200)]
    effects = np.array([effect for effect, _ in found])
    np.testing.assert_allclose(effects.mean(axis=0), [0.5, -0.3], atol=0.02)
    stated = np.sqrt(np.diagonal(np.mean([cov for _, cov in found], axis=0)))
    np.testing.assert_allclose(effects.std(axis=0), stated, rtol=0.15)


def test_rates_of_traits_without_counts_stay_where_they_are_believed():
    none = np.zeros(0)
    effect, cov = fit_trait_rates(none, none, np.zeros(0, dtype=np.intp), np.zeros((0, 3)), 4.0, 0.3)
    np.testing.assert_allclose(effect, 0.0)
    np.testing.assert_allclose(cov, np.eye(3) * 0.09)
    effect, _ = fit_trait_rates(np.zeros(2), np.ones(2), np.zeros(2, dtype=np.intp), np.eye(2), 4.0, 0.3)
    np.testing.assert_allclose(effect, 0.0, atol=1e-9)
