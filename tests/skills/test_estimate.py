"""Estimates where grades are few, missing, spoiled, odd or all alike."""

import math
from datetime import date, timedelta

import numpy as np
import pytest

from lineup.season import Clearance, Miss, Season, Task
from lineup.skills import Assumptions, estimate_skills
from tests.builders import FIRST_SUNDAY, grade_row, grade_table, tiny_season


def key(athlete="a1", position="p1"):
    return athlete, position, f"do-{position}"


def graded(season, rows):
    """The season with these rows of (athlete, position, seconds, more) as its grades, the day before the race."""
    day = FIRST_SUNDAY - timedelta(days=1)
    made = [grade_row(a, p, f"do-{p}" if p else "brake", s, **{"on": day, **more}) for a, p, s, more in rows]
    return season.replace(grades=grade_table(made))


def test_without_grades_the_nominal_seconds_stand_in_unsure():
    estimates = estimate_skills(tiny_season(grades=0))
    own = estimates.splits[key()]
    assert own.median_s == pytest.approx(4.0)
    assert own.grades == 0
    low, high = own.interval90_s
    assert low < 3.0
    assert high > 5.5
    assert any("nominal" in note for note in estimates.notes)


def test_a_season_without_a_grade_table_or_races():
    empty = Season.__dataclass_fields__["grades"].default_factory()
    estimates = estimate_skills(tiny_season(grades=0).replace(grades=empty, races={}))
    assert estimates.splits[key()].median_s == pytest.approx(4.0)


def test_every_clearance_gets_every_split():
    season = tiny_season()
    extra = (Clearance("a1", "p3", "training"),)
    season = season.replace(clearances=(*(c for c in season.clearances if c.position != "p3"), *extra))
    estimates = estimate_skills(season.replace(grades=season.grades[season.grades["position"] != "p3"]))
    assert {k for k in estimates.splits if k[1] == "p3"} == {key("a1", "p3")}
    assert len([k for k in estimates.splits if k[1] == "p1"]) == 4


def test_a_lone_athlete_in_a_pool():
    own = estimate_skills(tiny_season(athletes=1, grades=8, own=lambda *_: 4.4)).splits[key()]
    assert own.median_s == pytest.approx(4.4, rel=0.05)
    assert 0.005 < own.sd < 0.05


def test_grades_all_alike():
    """No spread at all: the estimate stays finite, and nobody is believed perfect."""
    season = graded(tiny_season(), [(a, "p1", 4.0, {}) for a in ("a1", "a2", "a3") for _ in range(6)])
    own = estimate_skills(season).splits[key()]
    assert own.median_s == pytest.approx(4.0)
    assert own.spread >= Assumptions().least_spread
    assert 0 < own.sd < 0.01
    assert math.isfinite(own.mean)


def test_few_grades_lean_on_the_pool_and_many_on_themselves():
    noise = np.exp(0.1 * np.random.default_rng(4).standard_normal(200))
    rows = [(a, "p1", 4.0 * n, {}) for a in ("a1", "a2") for n in noise[:30]]
    rows += [("a3", "p1", 5.0 * n, {}) for n in noise[:30]] + [("a4", "p1", 5.0, {})]
    estimates = estimate_skills(graded(tiny_season(), rows))
    many, one = estimates.splits[key("a3")], estimates.splits[key("a4")]
    assert many.median_s == pytest.approx(5.0 * np.exp(np.log(noise[:30]).mean()), rel=0.01)
    assert 4.2 < one.median_s < 4.95
    assert one.sd > 2 * many.sd


def test_candidates_and_training_without_grades_are_wider_and_slower_than_cleared():
    season = tiny_season(athletes=8, grades=0)
    rows = [(f"a{i}", "p1", 4.0 + 0.1 * i + 0.05 * n, {}) for i in range(1, 6) for n in range(8)]
    season = graded(season, rows)
    crew = dict(season.athletes)
    crew["a7"] = type(crew["a7"])("a7", "Candidate", "shop", group="candidate")
    clearances = (*(c for c in season.clearances if c.athlete != "a8"), Clearance("a8", "p1", "training"))
    estimates = estimate_skills(season.replace(athletes=crew, clearances=clearances))
    cleared, candidate, trainee = (estimates.splits[key(a)] for a in ("a6", "a7", "a8"))
    graded_one = estimates.splits[key("a3")]
    assert cleared.grades == candidate.grades == trainee.grades == 0
    assert candidate.sd > 1.2 * cleared.sd > 2 * graded_one.sd
    assert candidate.mean > cleared.mean
    assert trainee.mean > cleared.mean
    assert candidate.sd > trainee.sd > 1.1 * cleared.sd  # nothing is known of what sets candidates apart either


def test_recent_grades_weigh_more():
    old, new = {"on": FIRST_SUNDAY - timedelta(days=240)}, {"on": FIRST_SUNDAY - timedelta(days=2)}
    rows = [(a, "p1", s, when) for a in ("a1", "a2") for s, when in ((4.0, old), (5.0, new)) for _ in range(6)]
    own = estimate_skills(graded(tiny_season(), rows)).splits[key()]
    assert own.median_s > 4.7
    assert own.grades == pytest.approx(6 * (2 ** (-240 / 90) + 2 ** (-2 / 90)), rel=1e-6)


def test_the_day_is_an_argument_and_later_grades_count_as_fresh():
    season = tiny_season(grades=4)
    estimates = estimate_skills(season, on=date(2026, 1, 1))
    assert estimates.on == date(2026, 1, 1)
    assert estimates.splits[key()].grades == pytest.approx(4)
    assert estimate_skills(season).on == FIRST_SUNDAY


def test_spoiled_stops_are_left_out_and_counted():
    rows = [("a1", "p1", 4.0, {}), ("a1", "p1", 4.1, {}), ("a1", "p1", 9.0, {"spoilers": ("off-marks",)})]
    estimates = estimate_skills(graded(tiny_season(), rows))
    assert estimates.splits[key()].median_s == pytest.approx(4.05, rel=0.02)
    assert estimates.left_out.spoiled == 1
    assert "1 grade belongs to spoiled stops: left out." in " ".join(estimates.notes)


def with_miss(loss_s=1.0):
    """One position whose task can bring the miss "slip"."""
    tasks = (Task("do-p1", "Work", "p1", (), "do-p1", 4.0, misses=("slip",), release=True),)
    return tiny_season(positions=1, shape=tasks, grades=0, misses={"slip": Miss("slip", "A slip", loss_s)})


def test_a_clean_time_at_or_below_zero_is_reported_and_left_out():
    season = graded(
        with_miss(loss_s=3.0), [("a1", "p1", 4.0, {}), ("a1", "p1", 4.2, {}), ("a1", "p1", 2.5, {"misses": ("slip",)})]
    )
    estimates = estimate_skills(season)
    assert estimates.left_out.not_positive == (4,)
    assert "row 4 of graded_stops.csv is at or below zero" in " ".join(estimates.notes)
    assert estimates.splits[key()].median_s == pytest.approx(4.1, rel=0.03)


def test_clean_time_leaves_the_cost_of_misses_out():
    rows = [("a1", "p1", 4.0 + 0.02 * i + lost, {"misses": misses}) for i in range(10) for lost, misses in
            ((0.0, ()), (0.0, ()), (1.0, ("slip",)))]  # fmt: skip
    estimates = estimate_skills(graded(with_miss(), rows))
    assert estimates.splits[key()].median_s == pytest.approx(4.09, rel=0.01)
    assert estimates.loss_s["slip"] == pytest.approx(1.0, abs=0.1)
    assert estimates.misses["a1", "p1", "slip"].chances == pytest.approx(30, rel=0.02)
    assert estimates.misses["a1", "p1", "slip"].rate == pytest.approx(1 / 3, rel=0.35)


def test_a_typing_error_hardly_moves_the_estimate():
    times = [4.0, 4.1, 3.9, 4.05, 3.95, 4.0, 4.1, 3.9, 4.02]
    rows = [(a, "p1", s, {}) for a in ("a1", "a2", "a3") for s in times]
    estimates = estimate_skills(graded(tiny_season(), [*rows, ("a1", "p1", 41.0, {})]))
    assert estimates.splits[key()].median_s == pytest.approx(4.0, rel=0.02)
    assert estimates.left_out.pulled_in == (29,)


def test_rows_without_a_time_count_for_misses_only():
    rows = [("a1", "p1", 4.0, {}), ("a1", "p1", float("nan"), {"misses": ("slip", "slip")})]
    estimates = estimate_skills(graded(with_miss(), rows))
    assert estimates.left_out.no_time == 1
    assert estimates.splits[key()].grades == pytest.approx(1, rel=0.02)
    assert estimates.misses["a1", "p1", "slip"].chances == pytest.approx(2, rel=0.02)
    assert estimates.misses["a1", "p1", "slip"].rate > estimates.misses["a2", "p1", "slip"].rate


def test_early_tasks_are_on_the_plain_scale():
    """Zero and negative seconds are fine there."""
    tasks = (Task("do-p1", "Reach", "p1", (), "do-p1", 0.1, early=True, release=True),)
    rows = [(a, "p1", s, {}) for a in ("a1", "a2") for s in (-0.05, 0.0, 0.05, 0.02)]
    estimates = estimate_skills(graded(tiny_season(positions=1, shape=tasks, grades=0), rows))
    own = estimates.splits[key()]
    assert own.scale == "plain"
    assert own.median_s == pytest.approx(0.005, abs=0.02)
    assert 0.01 < own.spread < 0.12
    assert estimates.left_out.not_positive == ()


def test_car_and_driver_are_graded_too():
    tasks = (*tiny_season(positions=1).choreographies["four"].tasks, Task("brake", "Stop", None, (), "brake", 1.0))
    season = tiny_season(positions=1, shape=tasks, grades=0)
    estimates = estimate_skills(graded(season, [("", "", 1.3 + 0.01 * i, {}) for i in range(20)]))
    own = estimates.splits["", "", "brake"]
    assert own.median_s == pytest.approx(1.395, rel=0.02)
    assert own.grades == pytest.approx(20, rel=0.02)


def test_cross_trained_athletes_lean_on_their_own_record_elsewhere():
    """Fast in p1 and never graded in p2: expected faster in p2 than whoever is slow in p1; shrunk, and less sure."""
    noise = np.exp(0.05 * np.random.default_rng(8).standard_normal((12, 2, 12)))
    rows = [
        (f"a{i + 1}", f"p{p + 1}", 4.0 * (1 + 0.03 * (i - 5)) * n, {})
        for i in range(12)
        for p in range(2)
        for n in noise[i, p]
        if (i, p) not in ((0, 1), (11, 1))
    ]
    estimates = estimate_skills(graded(tiny_season(athletes=12, positions=2), rows))
    fast, slow = estimates.splits[key("a1", "p2")], estimates.splits[key("a12", "p2")]
    pool = estimates.pools["p2", "do-p2"]
    assert estimates.other_position > 0.15
    assert fast.mean < pool.mean < slow.mean
    gap = estimates.splits[key("a12")].mean - estimates.splits[key("a1")].mean
    assert 0.1 * gap < slow.mean - fast.mean < gap
    assert fast.sd > 2 * estimates.splits[key("a2", "p2")].sd


def test_a_split_shared_by_two_positions_has_two_pools():
    tasks = tuple(Task(f"do-p{i}", "", f"p{i}", (), "shared", 4.0, load=True, release=True) for i in (1, 2))
    season = tiny_season(positions=2, shape=tasks, own=lambda _, p: {"p1": 4.0, "p2": 5.0}[p])
    estimates = estimate_skills(season)
    assert estimates.splits["a1", "p1", "shared"].median_s == pytest.approx(4.0, rel=0.05)
    assert estimates.splits["a1", "p2", "shared"].median_s == pytest.approx(5.0, rel=0.05)
    assert estimates.tire["shared", "plain"] == 0.0


def test_practice_only_does_not_drown_comparisons():
    """What practice adds is unknown, but shared by all: it is named in a note, and kept out of each estimate's sd."""
    estimates = estimate_skills(tiny_season(grades=30))
    assert estimates.splits[key()].sd < 0.02
    assert "No grade is from a race: practice times stand for race times." in estimates.notes


def test_the_same_season_gives_the_same_numbers():
    season = tiny_season()
    assert estimate_skills(season).splits == estimate_skills(season).splits
