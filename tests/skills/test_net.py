"""What setting, tire and pace do to a row, and what is left of it without them."""

from datetime import date

import numpy as np
import pytest

from lineup.season import Miss, Task
from lineup.skills import SkillEstimates
from lineup.skills.grades import make_cells, make_rows
from lineup.skills.net import net_values, row_effects
from tests.builders import FIRST_SUNDAY, grade_row, grade_table, tiny_season

TASKS = (
    Task("reach", "To the wheel", "p1", (), "reach", 0.25, early=True),
    Task("do-1", "Work", "p1", ("reach",), "do", 4.0, ("slip",)),
    Task("do-2", "Work", "p1", ("do-1",), "do", 4.0, ("slip",), release=True),
)
KNOWN = SkillEstimates(
    on=date(2026, 4, 5),
    splits={},
    misses={},
    tire={("do", "heavy"): 0.05},
    setting={("do", "practice"): -0.03, ("reach", "practice"): 0.2, ("reach", "tryout"): -0.5},
    loss_s={"slip": 0.5},
    pace={"a1": 1.1},
)


@pytest.mark.parametrize(
    ("who", "task", "seconds", "facts", "effect", "left"),
    [
        ("a1", "do-1", 4.5, {"setting": "race", "misses": ("slip",)}, 0.0, np.log(4.0)),
        ("a1", "do-2", 4.0, {"setting": "practice", "tire": "heavy"}, 0.02, np.log(4.0) - 0.02),
        ("a1", "do-2", 4.0, {"setting": "race", "stop": "s1"}, np.log(1.1), np.log(4.0 / 1.1)),
        ("a2", "do-2", 4.0, {"setting": "race", "stop": "s1"}, 0.0, np.log(4.0)),  # whose pace is not known
        ("a1", "reach", 0.3, {"setting": "practice", "tire": "heavy"}, 0.2, 0.1),  # plain scale: in seconds
        ("a1", "reach", 0.3, {"setting": "tryout"}, -0.5, 0.8),
        ("a1", "do-1", 0.4, {"setting": "race", "misses": ("slip",)}, 0.0, np.nan),
    ],
)
def test_a_row_by_hand(who, task, seconds, facts, effect, left):
    rows = [grade_row(who, "p1", task, seconds, **facts)]
    if "stop" in facts:  # a slip earlier in the stop
        rows.append(grade_row(who, "p1", "do-1", 5.0, stop=facts["stop"], misses=("slip",)))
    season = tiny_season(positions=1, shape=TASKS, grades=0, misses={"slip": Miss("slip", "A slip", 0.4)})
    season = season.replace(grades=grade_table(rows))
    cells = make_cells(season, 0.5)
    found, _ = make_rows(season, cells, FIRST_SUNDAY, 90.0)
    assert row_effects(KNOWN, cells, found)[0] == pytest.approx(effect)
    assert net_values(KNOWN, cells, found)[0] == pytest.approx(left, nan_ok=True)
