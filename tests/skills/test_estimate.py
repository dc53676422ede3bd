"""Estimates where grades are few, missing, spoiled, odd or all alike."""

import math
from dataclasses import replace
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


def two_kinds(scale=1.0):
    """Work on either scale with misses, pace, practice and two tires; all seconds, losses too, times `scale`."""
    shape = (
        Task("reach", "Reach", "p1", (), "reach", 1.0 * scale, early=True),
        Task("do-1", "Work", "p1", ("reach",), "do", 4.0 * scale, misses=("slip",), load=True),
        Task("do-2", "Work", "p1", ("do-1",), "do", 4.0 * scale, misses=("slip",), load=True, release=True),
        Task("do-p2", "Work", "p2", (), "do-p2", 2.0 * scale, misses=("slip", "foul"), release=True),
    )
    misses = {"slip": Miss("slip", "A slip", 0.5 * scale), "foul": Miss("foul", "A foul", 1.0 * scale, 9.0)}
    season = tiny_season(athletes=5, positions=2, shape=shape, grades=0, misses=misses)
    crew = {
        a: type(who)(a, who.name, who.home, group="lead" if a == "a2" else "regular")
        for a, who in season.athletes.items()
    }
    crew |= {"a5": type(crew["a5"])("a5", "New", "shop", group="candidate")}
    rng = np.random.default_rng(1)
    rows = []
    for number, athlete in enumerate(["a1", "a2", "a3"]):
        for stop in range(24):
            facts = {
                "setting": str(rng.choice(["race", "practice"])),
                "tire": str(rng.choice(["plain", "heavy"], p=[0.7, 0.3])),
            }
            facts |= {"stop": f"{athlete}-{stop}", "on": FIRST_SUNDAY - timedelta(days=1 + 4 * stop)}
            for task in shape[: 3 if stop < 18 else 4]:
                slips = tuple(m for m in task.misses if rng.random() < 0.1)
                late = 0.02 * number * task.seconds + 0.6 * scale * len(slips)
                seconds = task.seconds * float(np.exp(0.06 * rng.standard_normal())) + late
                rows.append(grade_row(athlete, task.position or "", task.id, seconds, misses=slips, **facts))
    return season.replace(athletes=crew, grades=grade_table(rows))


def assert_alike(one, other, scale=1.0, rel=1e-9):
    """Estimates agree, seconds of `other` being `scale` times those of `one`."""
    near = {"rel": rel, "abs": rel}
    assert one.splits.keys() == other.splits.keys()
    for key, a in one.splits.items():
        b = other.splits[key]
        shift, unit = (np.log(scale), 1.0) if a.scale == "log" else (0.0, scale)
        assert (b.mean, b.sd, b.spread) == pytest.approx((unit * a.mean + shift, unit * a.sd, unit * a.spread), **near)
        assert b.grades == pytest.approx(a.grades)
    for key, p in one.pools.items():
        q = other.pools[key]
        shift, unit = (np.log(scale), 1.0) if p.scale == "log" else (0.0, scale)
        figures = (unit * p.mean + shift, unit * p.se, unit * p.between, unit * p.spread)
        assert (q.mean, q.se, q.between, q.spread) == pytest.approx(figures, **near)
        assert q.athletes == p.athletes
    for key, m in one.misses.items():
        assert (other.misses[key].rate, other.misses[key].alpha) == pytest.approx((m.rate, m.alpha), **near)
    assert other.pace == pytest.approx(one.pace, **near)
    assert other.loss_s == pytest.approx({m: scale * s for m, s in one.loss_s.items()}, **near)
    early = {split for (_, split), p in one.pools.items() if p.scale == "plain"}
    for mine, theirs in ((one.setting, other.setting), (one.tire, other.tire)):
        assert theirs == pytest.approx({k: v * (scale if k[0] in early else 1.0) for k, v in mine.items()}, **near)


def test_estimates_know_no_unit_of_time():
    """Minutes for seconds, in grades, nominal times and losses alike, changes nothing but the unit."""
    assert_alike(estimate_skills(two_kinds()), estimate_skills(two_kinds(3.0)), 3.0, rel=2e-3)


def test_the_order_of_grades_changes_nothing():
    season = two_kinds()
    mixed = season.grades.sample(frac=1.0, random_state=4, ignore_index=True)
    assert_alike(estimate_skills(season), estimate_skills(season.replace(grades=mixed)), rel=1e-6)


def test_grades_of_another_day_are_told_from_the_day_asked():
    """A month later, with grades a month later, everything is as it was."""
    season = two_kinds()
    later = season.replace(grades=season.grades.assign(date=season.grades["date"] + timedelta(days=30)))
    assert_alike(estimate_skills(season), estimate_skills(later, FIRST_SUNDAY + timedelta(days=30)))
    assert_alike(estimate_skills(season), estimate_skills(season, FIRST_SUNDAY, Assumptions()))


def test_what_is_stated_of_pools_effects_and_tires():
    found = estimate_skills(two_kinds())
    assert {pool: (p.position, p.split, p.scale, p.athletes) for pool, p in found.pools.items()} == {
        ("p1", "reach"): ("p1", "reach", "plain", 3),
        ("p1", "do"): ("p1", "do", "log", 3),
        ("p2", "do-p2"): ("p2", "do-p2", "log", 3),
    }
    assert found.reference_tire == "plain"
    assert set(found.tire) == {("do", "plain"), ("do", "heavy")}
    assert set(found.setting) == {(s, setting) for s in ("reach", "do", "do-p2") for setting in ("practice", "tryout")}
    assert set(found.loss_s) == {"slip", "foul"}
    assert set(found.pace) == {"a1", "a2", "a3", "a4", "a5"}
    pool = found.pools["p1", "do"]
    assert pool.se < pool.between < 0.2
    assert pool.spread == pytest.approx(0.06, rel=0.3)


def test_what_a_tire_adds_is_told_of_that_tire():
    """A wet wheel takes 0.2 in ln seconds longer; it stands after the reference tire by name, or before it."""
    shape = (Task("do-p1", "Work", "p1", (), "do-p1", 4.0, load=True, release=True),)
    wobble = np.exp(0.05 * np.random.default_rng(6).standard_normal(90))
    for usual, wet in (("plain", "wet"), ("plain", "drenched")):
        rows = [
            ("a1", "p1", s * (4.0 if n % 3 else 4.0 * math.exp(0.2)), {"tire": usual if n % 3 else wet})
            for n, s in enumerate(wobble)
        ]
        found = estimate_skills(graded(tiny_season(positions=1, shape=shape, grades=0), rows))
        assert found.tire == {("do-p1", usual): 0.0, ("do-p1", wet): pytest.approx(0.2, abs=0.04)}


def test_correlations_that_no_grade_shows_are_those_believed():
    found, believed = estimate_skills(tiny_season(grades=0)), Assumptions()
    assert (found.same_position, found.other_position) == (believed.correlation, believed.correlation_other)


def test_the_tire_of_most_grades_is_the_reference_as_far_as_they_count():
    old = {"on": FIRST_SUNDAY - timedelta(days=900), "tire": "old"}
    rows = [("a1", "p1", 4.0, old)] * 9 + [("a1", "p1", 4.0, {"tire": "new"})]
    assert estimate_skills(graded(tiny_season(), rows)).reference_tire == "new"
    assert estimate_skills(tiny_season(grades=0)).reference_tire == ""
    even = [("a1", "p1", 4.0, {"tire": tire}) for tire in ("new", "old")]
    assert {estimate_skills(graded(tiny_season(), rows)).reference_tire for rows in (even, even[::-1])} == {"new"}


def test_what_practice_adds_is_taken_out_in_seconds_of_an_early_task():
    """Practice 0.3 s slower in a task of 2 s that may begin early: the race level and the effect, both in seconds."""
    tasks = (Task("do-p1", "Reach", "p1", (), "do-p1", 2.0, early=True, release=True),)
    wobble = 0.01 * np.random.default_rng(2).standard_normal((4, 2, 40))
    rows = [
        (f"a{a + 1}", "p1", 1.5 + shift + wobble[a, k, n], {"setting": setting})
        for a in range(4)
        for k, (setting, shift) in enumerate((("race", 0.0), ("practice", 0.3)))
        for n in range(40)
    ]
    found = estimate_skills(graded(tiny_season(positions=1, shape=tasks, grades=0), rows))
    own = found.splits[key()]
    assert own.median_s == pytest.approx(1.5, abs=0.01)
    assert own.spread == pytest.approx(0.01, rel=0.2)
    assert own.sd < 0.005
    assert found.setting["do-p1", "practice"] == pytest.approx(0.3, abs=0.02)
    pool = found.pools["p1", "do-p1"]
    assert (pool.mean, pool.spread) == (pytest.approx(1.5, abs=0.03), pytest.approx(0.01, rel=0.2))
    assert found.tire == {}


def test_notes_in_full():
    """Every sentence about what was left out or assumed, once in the singular and once in the plural."""
    race = {"setting": "race"}
    slip = {"misses": ("slip",), "setting": "race"}
    fine = [("a1", "p1", s, race) for s in (4.0, 4.1, 3.9, 4.0, 4.1, 3.9)]
    below = "of graded_stops.csv is at or below zero once the cost of its misses is taken off: left out."
    below += " Check the time and the misses."
    far = "of graded_stops.csv is far from the athlete's others: it counts as the edge of what is believable."
    one = [*fine, ("a1", "p1", 0.9, slip), ("a1", "p1", 40.0, race)]
    assert estimate_skills(graded(with_miss(), one)).notes == (
        f"The clean time of row 8 {below}",
        f"The time of row 9 {far}",
    )
    spoiled = {"spoilers": ("late",)}
    many = [*fine, *[("a1", "p1", 0.9, slip)] * 12, *[("a1", "p1", 40.0, race)] * 2, *[("a1", "p1", 4.0, spoiled)] * 2]
    assert estimate_skills(graded(with_miss(), many)).notes == (
        "2 grades belong to spoiled stops: left out.",
        f"The clean time of rows 8, 9, 10, 11, 12, 13, 14, 15, 16, 17 and 2 more {below}",
        f"The time of rows 20, 21 {far}",
    )
    for number, more in ((10, ""), (11, " and 1 more")):
        notes = estimate_skills(graded(with_miss(), [*fine, *[("a1", "p1", 0.9, slip)] * number])).notes
        assert notes == (f"The clean time of rows 8, 9, 10, 11, 12, 13, 14, 15, 16, 17{more} {below}",)
    tasks = (
        Task("do-p1", "Work", "p1", (), "do-p1", 4.0, load=True, release=True),
        Task("brake", "Stop", None, (), "brake", 1.0),
    )
    season = tiny_season(positions=1, shape=tasks, grades=0)
    nominal = "the choreography's nominal seconds stand in, unsure."
    assert estimate_skills(season).notes == (f"No grade of do-p1 (p1), brake (car and driver): {nominal}",)
    other = estimate_skills(graded(season, [("a1", "p1", 4.0, {"tire": "hard"})]))
    assert other.notes == (
        "No grade is from a race: practice times stand for race times.",
        f"No grade of brake (car and driver): {nominal}",
        "No graded stop has tire 'plain': counted like the reference tire.",
    )
    first = season.races["r1"]
    races = {"r1": first, "r2": replace(first, id="r2", tire="soft")}
    two = estimate_skills(graded(season.replace(races=races), [("a1", "p1", 4.0, {"tire": "hard"})]))
    assert two.notes[-1] == "No graded stop has tire 'plain', 'soft': counted like the reference tire."
    light = tiny_season(positions=1, grades=0)
    assert estimate_skills(graded(light, [("a1", "p1", 4.0, {"tire": "hard", "setting": "race"})])).notes == ()


def test_what_car_and_driver_do_in_one_split_says_nothing_of_another():
    """Slow to brake by 0.3 in ln seconds, over many grades: leaving the pit box is expected as it was."""
    tasks = (
        Task("do-p1", "Work", "p1", (), "do-p1", 4.0, release=True),
        Task("brake", "Stop", None, (), "brake", 1.0),
        Task("go", "Leave", None, ("brake",), "go", 1.0),
    )
    season = tiny_season(positions=1, shape=tasks, grades=0)
    before = estimate_skills(season)
    wobble = np.exp(0.3 + 0.05 * np.random.default_rng(3).standard_normal(40))
    found = estimate_skills(graded(season, [("", "", s, {"setting": "race"}) for s in wobble]))
    assert found.splits["", "", "brake"].mean == pytest.approx(0.3, abs=0.03)
    assert found.splits["", "", "go"].mean == before.splits["", "", "go"].mean
    assert found.splits["", "", "go"].sd == pytest.approx(before.splits["", "", "go"].sd)


def test_a_lone_athlete_is_not_taken_for_the_car():
    """One cell for the athlete, two for car and driver: his thirty slow stops leave theirs as they were."""
    tasks = (
        Task("do-p1", "Work", "p1", (), "do-p1", 4.0, release=True),
        Task("brake", "Stop", None, (), "brake", 1.0),
        Task("go", "Leave", None, ("brake",), "go", 1.0),
    )
    season = tiny_season(athletes=1, positions=1, shape=tasks, grades=0)
    wobble = 6.0 * np.exp(0.05 * np.random.default_rng(4).standard_normal(30))
    found = estimate_skills(graded(season, [("a1", "p1", s, {"setting": "race"}) for s in wobble]))
    before = estimate_skills(season)
    for split in ("brake", "go"):
        assert found.splits["", "", split].mean == before.splits["", "", split].mean


def test_nobody_cleared_and_nothing_for_the_car_to_do_is_nothing_to_estimate():
    shape = (Task("do-p1", "Work", "p1", (), "do-p1", 4.0, release=True),)
    assert estimate_skills(tiny_season(positions=1, shape=shape, grades=0, clearances=())).splits == {}


def test_a_clean_time_that_vanishes_at_the_estimated_loss_is_reported_too():
    """Stated 0.5 s, really 1.5 s: a grade of 1 s with that miss was above zero as stated, and is below it now."""
    rows = [("a1", "p1", 4.0 + 0.01 * n, {}) for n in range(20)]
    rows += [("a1", "p1", 5.5 + 0.01 * n, {"misses": ("slip",)}) for n in range(40)]
    rows += [("a1", "p1", 1.0, {"misses": ("slip",)})]
    found = estimate_skills(graded(with_miss(loss_s=0.5), rows))
    assert found.loss_s["slip"] == pytest.approx(1.5, abs=0.1)
    assert found.left_out.not_positive == (62,)
