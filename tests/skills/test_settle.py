"""One round of estimation, its steps worked out by hand, and when the rounds end."""

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest

from lineup.season import Miss, Task
from lineup.skills import Assumptions
from lineup.skills.effects import effect_columns
from lineup.skills.estimate import _blocks, _has_clean_time
from lineup.skills.grades import make_cells, make_rows
from lineup.skills.levels import Levels
from lineup.skills.settle import Given, State, _agree, _look, _next_losses, _pull_in, _round, _shrunk, settle
from lineup.skills.slips import Losses
from tests.builders import FIRST_SUNDAY, grade_row, grade_table, tiny_season

TASKS = (
    Task("reach", "Reach", "p1", (), "reach", 2.0, early=True),
    Task("do-1", "Work", "p1", ("reach",), "do", 4.0, misses=("slip",)),
    Task("do-2", "Work", "p1", ("do-1",), "do", 4.0, misses=("slip",), release=True),
    Task("late", "Late", "p1", ("do-2",), "late", 2.0, early=True),
)


def given(rows, beliefs=None):
    """What estimation starts from, given rows of (athlete, task, seconds, facts), all in a race."""
    beliefs = beliefs or Assumptions()
    season = tiny_season(athletes=3, positions=1, shape=TASKS, grades=0, misses={"slip": Miss("slip", "A slip", 0.5)})
    made = [grade_row(a, "p1", task, s, **{"setting": "race", **facts}) for a, task, s, facts in rows]
    season = season.replace(grades=grade_table(made))
    cells = make_cells(season, beliefs.least_unit_s)
    found, _ = make_rows(season, cells, FIRST_SUNDAY, beliefs.half_life_days)
    stated = np.array([0.5])
    usable = _has_clean_time(cells, found, stated)
    return Given(cells, _blocks(cells), found, effect_columns(found, cells, 0), stated, usable, beliefs)


def start(facts, loss_s=0.5, varies=0.3, pace=0.0):
    rows, cells = facts.rows, facts.cells
    return State(
        np.full(len(cells.keys), 0.01),
        Losses(np.array([loss_s]), varies),
        np.full(len(cells.athletes), pace),
        np.zeros(len(rows.cell)),
        np.full(2, 0.07),
    )


def test_losses_and_pace_are_taken_out():
    facts = given(
        [
            ("a1", "do-1", 4.5, {"stop": "s1", "misses": ("slip",)}),
            ("a1", "do-2", 4.4, {"stop": "s1"}),
            ("a1", "late", 1.0, {"stop": "s1"}),
            ("a1", "do-1", 0.7, {"misses": ("slip",)}),
            ("a1", "do-1", float("nan"), {}),
            ("a1", "do-1", 0.4, {"misses": ("slip",)}),
        ]
    )
    view = _look(facts, start(facts, pace=0.1))
    np.testing.assert_allclose(view.x, [np.log(4.0), np.log(4.4) - 0.1, 0.5, np.log(0.2), np.nan, np.nan])
    assert view.ok.tolist() == [True, True, True, True, False, False]
    np.testing.assert_array_equal(view.lag, [0, 0.1, 0, 0, 0, 0])  # no pace in tasks that may begin early
    assert view.slipped.tolist() == [True, False, False, True, False, True]
    # A loss of 0.5 s that varies by 30 % is 0.15 s of doubt, in ln seconds of a clean 4 s or 0.2 s.
    np.testing.assert_allclose(view.doubt[:4], [(0.15 / 4.0) ** 2, 0, 0, (0.15 / 0.2) ** 2])
    dear = _look(facts, start(facts, loss_s=0.6))
    assert dear.ok.tolist() == [True, True, True, True, False, False]
    gone = _look(facts, start(facts, loss_s=0.8))
    assert gone.ok.tolist() == [True, True, True, False, False, False]


def test_a_grade_far_off_counts_as_the_edge():
    """Four spreads from the median of the athlete's own; a spread is 1.4826 times the median distance."""
    times = [4.0, 4.1, 3.9, 4.2, 4.0, 9.0, 1.0]
    facts = given([("a1", "do-1", s, {}) for s in times])
    view = _look(facts, start(facts))
    pulled_in, pulled = _pull_in(facts, start(facts), view)
    x = np.log(times)
    spread = 1.4826 * np.median(np.abs(x - np.median(x)))
    assert pulled.tolist() == [False] * 5 + [True] * 2
    np.testing.assert_allclose(pulled_in.x[:5], x[:5])
    np.testing.assert_allclose(pulled_in.x[5:], np.median(x) + 4 * spread * np.array([1, -1]))
    strict = replace(facts, beliefs=Assumptions(pull_in=1.0))
    assert _pull_in(strict, start(facts), view)[1].tolist() == [False, False, False, True, False, True, True]
    # What setting and tire add is no part of it, and comes back on.
    moved = replace(start(facts), effects=np.array([0, 0, 0, 0, 0, 1.0, 0]))
    after, pulled = _pull_in(facts, moved, view)
    assert pulled.tolist() == [False] * 5 + [True] * 2
    net = x - moved.effects
    spread = 1.4826 * np.median(np.abs(net - np.median(net)))
    np.testing.assert_allclose(after.x[5], np.median(net) - 4 * spread + 1.0)


def test_who_has_few_grades_is_measured_by_the_pool():
    """Three grades are few, four are enough; grades all alike are off from 3 % times four."""
    rows = [("a1", "do-1", 4.0, {})] * 5 + [("a2", "do-1", s, {}) for s in (8.0, 4.4, 8.0)]
    facts = given(rows)
    view = _look(facts, start(facts))
    after, pulled = _pull_in(facts, start(facts), view)
    assert pulled.tolist() == [False] * 5 + [True, False, True]
    assert after.x[5] == pytest.approx(np.log(4.0) + 4 * 0.03)
    enough = given([*rows, ("a2", "do-1", 8.0, {})])
    _, pulled = _pull_in(enough, start(enough), _look(enough, start(enough)))
    assert pulled.tolist() == [False] * 6 + [True, False, False]
    thin = given([(a, "do-1", s, {}) for a in ("a1", "a2", "a3") for s in (3.4, 4.0, 4.6)])
    assert not _pull_in(thin, start(thin), _look(thin, start(thin)))[1].any()  # their own scatter is the pool's


def test_the_usual_distance_is_taken_from_athletes_with_enough_grades():
    """Two athletes with three grades all alike say nothing of how far grades scatter."""
    times = [4.0, 4.6, 3.4, 4.4, 3.6, 4.2, 12.0]
    facts = given(
        [("a1", "do-1", s, {}) for s in times] + [(a, "do-1", 4.0, {}) for a in ("a2", "a3") for _ in range(3)]
    )
    after, _ = _pull_in(facts, start(facts), _look(facts, start(facts)))
    x = np.log(times)
    spread = 1.4826 * np.median(np.abs(x - np.median(x)))
    assert after.x[6] == pytest.approx(np.median(x) + 4 * spread)


def test_misses_leave_room_and_are_no_measure_of_what_is_far_off():
    """A miss varies by 1.5 s here; what else the pool does is within its usual spread."""
    rows = [("a1", "do-1", s, {}) for s in (3.9, 4.0, 4.1, 3.9, 4.0, 4.1)]
    slips = [("a1", "do-1", s, {"misses": ("slip",)}) for s in (2.0, 3.0, 6.5, 7.0, 7.5, 8.0, 9.0, 12.5)]
    facts = given([*rows, *slips])
    state = start(facts, varies=3.0)
    view = _look(facts, state)
    after, pulled = _pull_in(facts, state, view)
    spread = 1.4826 * np.median(np.abs(view.x[:6] - np.median(view.x)))
    edge = 4 * np.sqrt(max(spread, 0.03) ** 2 + view.doubt)
    off = np.abs(view.x - np.median(view.x))
    assert pulled.tolist() == (off > edge).tolist()
    assert not pulled[:6].any()
    np.testing.assert_allclose(after.x, np.median(view.x) + np.clip(view.x - np.median(view.x), -edge, edge))


def test_a_level_lies_between_the_own_record_and_the_pool():
    """Conjugate normal: weights 1 / own variance and 1 / scale²; without a record the pool's."""
    none = np.zeros(0)
    levels = Levels(
        np.array([4.0, 0.0]), np.array([0.3, np.inf]), np.array([3.0, 2.0]), none, np.array([0.1, 0.1]), *[none] * 5
    )
    w, v = 1 / 0.3, 1 / 0.01
    np.testing.assert_allclose(_shrunk(levels), [(4 * w + 3 * v) / (w + v), 2.0])


def test_rounds_agree_when_nothing_moves_much():
    facts = given([("a1", "do-1", 4.0, {})])
    one = start(facts, pace=0.05)
    assert _agree(one, one)
    first = np.eye(1, len(one.noise))[0]
    who = np.eye(1, len(one.pace))[0]
    for small, large, change in (
        (0.019, 0.021, lambda d: {"noise": one.noise * np.exp(d * first)}),
        (0.0019, 0.0021, lambda d: {"losses": Losses(one.losses.loss_s + d, 0.3)}),
        (0.0009, 0.0011, lambda d: {"pace": one.pace + d * who}),
    ):
        for sign in (1, -1):
            assert _agree(one, replace(one, **change(sign * small)))
            assert not _agree(one, replace(one, **change(sign * large)))
    empty = State(one.noise, Losses(np.zeros(0), 0.3), np.zeros(0), one.effects, one.typical)
    assert _agree(empty, empty)


def test_losses_are_read_off_what_a_clean_grade_would_have_taken():
    """Five slips on 4 s of work (ln variance 0.02: mean 4 s · exp(0.01)) and five in early work of 2 s units."""
    rows = [("a1", "do-1", 4.0 * np.exp(0.01) + 0.8, {"misses": ("slip",)})] * 50
    facts = given(rows)
    free = replace(facts, stated_s=np.array([0.0]))
    noise = np.full(len(facts.cells.keys), 0.02)
    before = Losses(np.array([0.0]), 0.3)
    found = _next_losses(free, before, np.full(50, np.log(4.0)), noise)
    noise_s2 = 0.02 * (4.0 * np.exp(0.01)) ** 2
    assert found.loss_s[0] == pytest.approx(0.8 / (1 + noise_s2 / 50 / 0.05**2))  # conjugate normal around nothing
    early = given([("a1", "reach", 2.2 + 0.8, {"misses": ("slip",)})] * 50)
    early = replace(early, stated_s=np.array([0.0]))
    found = _next_losses(early, before, np.full(50, 1.1), noise)
    assert found.loss_s[0] == pytest.approx(0.8 / (1 + 0.02 * 2.0**2 / 50 / 0.05**2))
    unusable = replace(early, usable=np.zeros(50, dtype=bool))
    assert _next_losses(unusable, before, np.full(50, 1.1), noise) is before


def test_grades_with_a_doubtful_loss_say_less_of_pace():
    """After a slip: twenty clean grades as ever, and twenty with another slip, whose loss may be anything, quicker."""
    rng = np.random.default_rng(5)
    rows = [("a1", "do-1", s, {}) for s in 4 * np.exp(0.05 * rng.standard_normal(60))]
    for n in range(40):
        again = ("slip",) if n % 2 else ()
        seconds = 4 * np.exp(0.05 * rng.standard_normal() - (0.2 if again else 0.0)) + (0.5 if again else 0.0)
        rows.append(("a1", "do-1", 4.5, {"stop": f"s{n}", "misses": ("slip",)}))
        rows.append(("a1", "do-2", seconds, {"stop": f"s{n}", "misses": again}))
    facts = given(rows)
    doubtful, sure = (_round(facts, start(facts, varies=varies)).pace[0] for varies in (1.0, 0.0))
    assert -0.04 < doubtful < 0  # weights 1 / 0.05² and 1 / (0.05² + (0.5 / 3.3)²): a tenth of 0.2 at most
    assert sure < 2 * doubtful


def test_a_loss_is_no_part_of_what_practice_and_pace_add():
    """Slips of 0.5 s in practice, which takes a tenth longer, and after a slip, when the athlete is a tenth slower."""
    rows = [("a1", "do-1", 4.0, {})] * 40 + [("a1", "do-1", 4.4, {"setting": "practice"})] * 40
    slip = {"misses": ("slip",)}
    in_practice = given(rows + [("a1", "do-1", 4.9, {**slip, "setting": "practice"})] * 20)
    assert _round(in_practice, start(in_practice)).losses.loss_s[0] == pytest.approx(0.5, abs=0.1)
    pairs = [
        (("a1", "do-1", 4.5, {**slip, "stop": str(n)}), ("a1", "do-2", 4.9, {**slip, "stop": str(n)}))
        for n in range(20)
    ]
    pressed = given(rows + [row for pair in pairs for row in pair])
    losses = _round(pressed, start(pressed, pace=np.log(1.1))).losses
    assert losses.loss_s[0] == pytest.approx(0.5, abs=0.1)


def test_rounds_go_on_until_they_agree():
    rng = np.random.default_rng(2)
    rows = []
    for athlete, fast in (("a1", -0.1), ("a2", 0.0), ("a3", 0.1)):
        for n in range(30):
            slip = n % 5 == 0
            lost = (0.9 if slip else 0.0) * rng.uniform(0.5, 1.5)
            day = {"on": FIRST_SUNDAY - timedelta(days=n), "stop": f"{athlete}-{n}"}
            work, again = (4 * np.exp(fast + 0.05 * rng.standard_normal()) for _ in range(2))
            rows.append((athlete, "do-1", work + lost, day | {"misses": ("slip",) if slip else ()}))
            rows.append((athlete, "do-2", again * (1.1 if slip else 1.0), day))
    facts = given(rows)
    fit = settle(facts)
    again = _round(facts, fit)
    assert np.abs(np.log(again.noise / fit.noise)).max() < 0.02
    assert fit.losses.loss_s[0] == pytest.approx(0.9, abs=0.1)  # stated: 0.5 s
    first = _round(facts, start(facts))
    assert not _agree(first, fit)
    slow = fit.pace[: len(facts.cells.athletes) - 1]
    assert 0.03 < slow.mean() < 0.12  # 10 % slower after a slip, leaning on no change ± 5 %
