"""What an entry's cheapest crew costs at given prices: never more than any crew does, short list or not."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from lineup.optimize import crew_oracle
from lineup.optimize.bench import Bench
from lineup.optimize.crew_oracle import CrewOracle
from lineup.optimize.crew_tables import CrewTables
from lineup.optimize.frame import EMPTY
from tests.optimize.seasons import make_problem, random_season


@pytest.mark.parametrize("shortest", [3, 4_000])
@pytest.mark.parametrize("seed", range(80))
def test_no_crew_is_cheaper(seed: int, shortest: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(crew_oracle, "SHORTEST", shortest)
    monkeypatch.setattr(crew_oracle, "CREWS", 2)
    bench = Bench(make_problem(random_season(seed, small=False), seed))
    tables = CrewTables(bench.values)
    if not tables.fit:
        return
    assert tables.prepare(lambda: False)
    rng = np.random.default_rng(seed)
    frame = bench.frame
    credit = frame.credit
    links = -3.0 * rng.random(frame.may.shape)
    oracles = [CrewOracle(frame, entry, tables.of_race[entry.race]) for entry in frame.entries]
    for step in range(6):
        for oracle in oracles:
            seats = oracle.entry.seats.tolist()
            able = [[*np.flatnonzero(frame.may[:, k]).tolist(), *([EMPTY] if frame.optional[k] else [])] for k in seats]
            crews = list(product(*able))
            paid = [
                {a: links[a, k] if a != EMPTY else credit[k] - frame.empty_cost[k] for a in own}
                for own, k in zip(able, seats, strict=True)
            ]
            earned = np.array([sum(pay[a] for pay, a in zip(paid, crew, strict=True)) for crew in crews])
            costs = bench.values.costs(oracle.entry, crews) - earned
            least, columns = oracle.cheapest(links)
            assert least <= costs.min() + 1e-7
            if tables.exact.all():
                assert least == pytest.approx(costs.min(), abs=1e-7)
            for column in columns:
                assert column.cost - sum(links[a, k] for a, k in column.where) >= costs.min() - 1e-7
        links = links + 0.1 * 2.0 ** (step % 3) * rng.standard_normal(links.shape)
