"""Whatever was graded, every estimate is finite, positive where it must be, and without a warning."""

from datetime import timedelta

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from lineup.season import Miss, Task
from lineup.skills import estimate_skills, profile, skills_table
from tests.builders import FIRST_SUNDAY, grade_row, grade_table, tiny_season

TASKS = (
    Task("reach", "Reach", "p1", (), "reach", 0.2, early=True),
    Task("do-p1", "Work", "p1", ("reach",), "do-p1", 4.0, misses=("slip", "fine"), load=True, release=True),
    Task("do-p2", "Work", "p2", (), "do-p2", 4.0, misses=("slip",), release=True),
    Task("brake", "Stop", None, (), "brake", 1.0),
)
MISSES = {"slip": Miss("slip", "Slip", 0.5), "fine": Miss("fine", "Fine", 0.0, 20.0)}
WHERE = {"reach": "p1", "do-p1": "p1", "do-p2": "p2", "brake": ""}

ROWS = st.lists(
    st.tuples(
        st.sampled_from(["a1", "a2", "a3"]),
        st.sampled_from(list(WHERE)),
        st.one_of(st.floats(-1, 50), st.just(float("nan")), st.just(4.0)),
        st.integers(-30, 4000),
        st.sampled_from(["race", "practice", "tryout"]),
        st.sampled_from(["plain", "heavy"]),
        st.lists(st.sampled_from(["slip", "fine"]), max_size=3),
        st.sampled_from(["", "s1", "s2"]),
    ),
    max_size=25,
)


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(ROWS)
def test_any_grades(rows):
    made = [
        grade_row("" if task == "brake" else who, WHERE[task], task, seconds, on=FIRST_SUNDAY - timedelta(days=age),
                  setting=setting, tire=tire, misses=() if task in ("reach", "brake") else tuple(misses), stop=stop)
        for who, task, seconds, age, setting, tire, misses, stop in rows
    ]  # fmt: skip
    season = tiny_season(athletes=3, positions=2, shape=TASKS, grades=0, misses=MISSES)
    season = season.replace(grades=grade_table(made))
    estimates = estimate_skills(season)
    assert len(estimates.splits) == 3 * 3 + 1
    for own in estimates.splits.values():
        assert np.isfinite([own.mean, own.sd, own.spread, own.grades]).all()
        assert own.sd > 0
        assert own.spread > 0
        assert own.scale == "plain" or own.median_s > 0
    for miss in estimates.misses.values():
        assert 0 < miss.rate < 10
    assert all(loss >= 0 for loss in estimates.loss_s.values())
    assert all(0.5 < pace < 2 for pace in estimates.pace.values())
    assert len(skills_table(season, estimates)) == 10
    assert profile(season, estimates, "a1").positions
