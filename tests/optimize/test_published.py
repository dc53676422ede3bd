"""The model's answers on published instances; sources beside each check."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from lineup.optimize.solve import solve
from lineup.problem import build
from lineup.season import Clearance, Position, Season, Task
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
    """13 arcs: the car takes an arc's time while its helper's seat is empty, the helper takes half of it.

    All arcs are exponential with mean 1, on common random numbers; three helpers can travel.
    """
    tasks = []
    for arc in ARCS:
        after = tuple(f"{who}-{other}" for other in ARCS if other[1] == arc[0] for who in ("car", "help"))
        last = arc[1] == "9"
        tasks.append(Task(f"car-{arc}", arc, None, after, arc, 1.0, only_without=f"p{arc}", release=last))
        tasks.append(Task(f"help-{arc}", arc, f"p{arc}", after, arc, 1.0, release=last))
    names = [f"p{arc}" for arc in ARCS]
    season = tiny_season(athletes=13, positions=names, shape=tasks, grades=0, count=1)
    season = season.replace(
        clearances=tuple(Clearance(f"a{i + 1}", name, "cleared") for i, name in enumerate(names)),
        positions={name: Position(name, name, filled="if_possible") for name in names},
        races={"r1": replace(season.races["r1"], travel_places=3)},
    )
    draws = np.random.default_rng(11).exponential(1.0, (len(ARCS), SCENARIOS))
    bank = ServiceBank(
        "four",
        "plain",
        season.choreographies["four"],
        {name: (f"a{i + 1}",) for i, name in enumerate(names)},
        {name: draws[i][None, None] / 2 for i, name in enumerate(names)},
        draws,
        {name: np.ones((1, SCENARIOS), dtype=bool) for name in names},
        {name: np.zeros(1) for name in names},
    )
    return season, StopModel({("four", "plain"): bank}, 1, SCENARIOS)


def test_network_of_13_arcs() -> None:
    """Choosing which three arcs to halve: 1-2, 2-4, 6-9, exact mean 5.3709; the averages' choice gives 5.5952.

    Computed by enumeration with the Markov chain of Kulkarni and Adlakha 1986 (citation from memory).
    """
    season, model = network()
    quick = QUICK.replace(time_s=60.0)
    problem = build(season, model, season.weekends, quick)
    found = solve(problem, quick)
    halved = {a.position for a in found.assignments}
    assert found.status == "proven"
    assert halved == {"p12", "p24", "p69"}
    best, by_averages = _mean(model, halved), _mean(model, {"p12", "p13", "p24"})
    assert best == pytest.approx(5.3709079, abs=0.1)  # 4096 plain random scenarios: three standard errors
    assert by_averages - best == pytest.approx(5.5952 - 5.3709, abs=0.06)


def _mean(model: StopModel, halved: set[str]) -> float:
    bank = model.banks["four", "plain"]
    crew = [0 if position in halved else -1 for position in bank.positions]
    return float(bank.stop_times(np.array([crew])).mean())
