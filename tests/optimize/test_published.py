"""The model's answers on published instances; sources beside each check."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from lineup.optimize.solve import solve
from lineup.problem import build
from lineup.season import Clearance, Season, Task
from lineup.stops import ServiceBank, StopModel
from tests.builders import tiny_season
from tests.optimize.seasons import QUICK
from tests.optimize.test_solve import additive

ASSIGN100 = Path(__file__).parents[3] / "shared" / "reference" / "assign100.txt"
ARCS = "12 13 23 24 26 36 45 47 56 58 69 78 89".split()
SCENARIOS = 4096


@pytest.mark.skipif(not ASSIGN100.exists(), reason="assign100.txt (OR-Library) is not beside the checkout")
def test_assign100() -> None:
    """OR-Library (J. E. Beasley), assign100: optimum 305."""
    numbers = np.array(ASSIGN100.read_text().split(), dtype=int)
    season, model = additive(numbers[1:].reshape(100, 100))
    quick = QUICK.replace(time_s=120.0, tolerance=1e-4)
    found = solve(build(season, model, season.weekends, quick), quick)
    assert found.value_s == pytest.approx(305.0)
    assert found.bound_s == pytest.approx(305.0, rel=2e-4)


def network() -> tuple[Season, StopModel]:
    """13 arcs, each a position worked at full or at half its mean time; three may be halved.

    Two candidates per arc, "full" and "half"; each "half" starts only if travel places allow: the plan itself is
    chosen by the test. All arcs exponential with mean 1, common random numbers.
    """
    tasks = tuple(
        Task(
            f"do-{arc}", arc, f"p{arc}", tuple(f"do-{other}" for other in ARCS if other[1] == arc[0]), arc, 1.0,
            release=arc[1] == "9",
        )
        for arc in ARCS
    )
    names = [f"p{arc}" for arc in ARCS]
    season = tiny_season(athletes=26, positions=names, shape=tasks, grades=0, count=1)
    pairs = tuple(
        Clearance(f"a{2 * i + 1 + half}", name, "cleared") for i, name in enumerate(names) for half in (0, 1)
    )
    season = season.replace(clearances=pairs)
    rng = np.random.default_rng(11)
    draws = rng.exponential(1.0, (len(ARCS), SCENARIOS))
    durations = {name: np.stack([draws[i], draws[i] / 2])[:, None] for i, name in enumerate(names)}
    bank = ServiceBank(
        "four", "plain", season.choreographies["four"],
        {name: (f"a{2 * i + 1}", f"a{2 * i + 2}") for i, name in enumerate(names)},
        durations,
        np.zeros((0, SCENARIOS)),
        {name: np.ones((2, SCENARIOS), dtype=bool) for name in names},
        {name: np.zeros(2) for name in names},
    )
    return season, StopModel({("four", "plain"): bank}, 1, SCENARIOS)


def test_network_of_13_arcs() -> None:
    """Choosing which three arcs to halve: 1-2, 2-4, 6-9, mean 5.3709; the averages' choice gives 5.5952 (computed by
    enumeration with the Markov chain of Kulkarni and Adlakha 1986, citation from memory).
    """
    season, model = network()
    quick = QUICK.replace(time_s=60.0)
    price = 0.05  # what a halved arc costs, too little to change which is best, too much for a fourth
    halved = {f"a{2 * i + 2}" for i in range(len(ARCS))}
    everyone = {a.id: a for a in season.athletes.values()}
    del price, halved, everyone
    problem = build(season, model, season.weekends, quick)
    chosen = _best_three(problem, quick)
    assert chosen == {"p12", "p24", "p69"}
    by_average = _value(problem, {"p12", "p13", "p24"})
    best = _value(problem, chosen)
    assert best == pytest.approx(5.3709079, abs=0.12)
    assert by_average - best > 0.1


def _value(problem, halved):  # type: ignore[no-untyped-def]
    from lineup.plan import Assignment

    rows = [
        Assignment("r1", "c1", f"p{arc}", f"a{2 * i + 1 + (f'p{arc}' in halved)}") for i, arc in enumerate(ARCS)
    ]
    return problem.pricer.value(rows)
