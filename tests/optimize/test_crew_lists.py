"""What an entry's cheapest crew costs at given prices, and what is near it: as by looking at every crew there is."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from lineup.optimize import crew_lists
from lineup.optimize.bench import Bench
from lineup.optimize.crew_lists import CrewLists
from lineup.optimize.crew_tables import CrewTables
from lineup.optimize.frame import EMPTY, EntryFrame, Floats
from tests.optimize.seasons import make_problem, random_season

HEAT_S = 0.05


def every_crew(bench: Bench, entry: EntryFrame, links: Floats) -> tuple[list[tuple[int, ...]], Floats]:
    """All crews of an entry, and their cost less what they earn."""
    frame, seats = bench.frame, entry.seats.tolist()
    able = [[*np.flatnonzero(frame.may[:, k]).tolist(), *([EMPTY] if frame.optional[k] else [])] for k in seats]
    crews = list(product(*able))
    saved = frame.credit - frame.empty_cost
    earned = [sum(links[a, k] if a != EMPTY else saved[k] for a, k in zip(c, seats, strict=True)) for c in crews]
    return crews, bench.values.costs(entry, crews) - np.array(earned)


def lists_of(seed: int) -> tuple[Bench, CrewTables, CrewLists] | None:
    """Lists of a random season; None where a seat has no candidate."""
    bench = Bench(make_problem(random_season(seed, small=False), seed))
    tables = CrewTables(bench.values)
    if not tables.fit:
        return None
    assert tables.prepare(lambda: False)
    return bench, tables, CrewLists(bench.frame, tables)


@pytest.mark.parametrize("room", [3, 20_000])
@pytest.mark.parametrize("seed", range(80))
def test_no_crew_is_cheaper(seed: int, room: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(crew_lists, "ROOM", room)
    monkeypatch.setattr(crew_lists, "DRIFTED_S", 0.2)
    made = lists_of(seed)
    if made is None:
        return
    bench, tables, lists = made
    rng = np.random.default_rng(seed)
    links = -3.0 * rng.random(bench.frame.may.shape)
    for step in range(6):
        best = sum(float(every_crew(bench, entry, links)[1].min()) for entry in bench.frame.entries)
        least, soft, _ = lists.soften(links, HEAT_S)
        assert least <= best + 1e-7
        assert soft <= least + 1e-12
        if tables.exact.all():
            assert least == pytest.approx(best, abs=1e-7)
        lists.settle(HEAT_S)
        links = links + 0.1 * 2.0 ** (step % 3) * rng.standard_normal(links.shape)


@pytest.mark.parametrize("seed", range(30))
def test_softened_as_over_every_crew(seed: int) -> None:
    """The sum over all crews (log-sum-exp) and its derivatives, taken without the lists."""
    made = lists_of(seed)
    if made is None or not made[1].exact.all():
        return
    bench, _, lists = made
    links = -3.0 * np.random.default_rng(seed).random(bench.frame.may.shape)
    _, soft, sits = lists.soften(links, HEAT_S)
    expected, shares = 0.0, np.zeros(links.shape)
    for entry in bench.frame.entries:
        crews, costs = every_crew(bench, entry, links)
        weights = np.exp((costs.min() - costs) / HEAT_S)
        expected += costs.min() - HEAT_S * np.log(weights.sum())
        for crew, weight in zip(crews, weights / weights.sum(), strict=True):
            for a, k in zip(crew, entry.seats.tolist(), strict=True):
                if a != EMPTY:
                    shares[a, k] += weight
    assert soft == pytest.approx(expected, abs=1e-6)
    assert sits == pytest.approx(shares, abs=1e-6)


def test_settling_makes_bounds_exact() -> None:
    """Where tables only bound, crews near the least become exact, and the least rises to the true one."""
    found = 0
    for seed in range(80):
        made = lists_of(seed)
        if made is None or made[1].exact.all():
            continue
        bench, _, lists = made
        links = np.zeros(bench.frame.may.shape)
        before, _, _ = lists.soften(links, HEAT_S)
        while lists.settle(HEAT_S):
            lists.soften(links, HEAT_S)
        after, _, _ = lists.soften(links, HEAT_S)
        best = sum(float(every_crew(bench, entry, links)[1].min()) for entry in bench.frame.entries)
        assert before <= after + 1e-9
        assert after == pytest.approx(best, abs=1e-7)
        found += before < after - 1e-9
    assert found
