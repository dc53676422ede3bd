"""Walks keep the rules, cost what they say, and are the same for the same seed; windows leave the rest alone."""

from __future__ import annotations

import numpy as np
import pytest

from lineup.optimize.bench import Bench
from lineup.optimize.board import favour, make_board
from lineup.optimize.crew_tables import CrewTables, search_tables
from lineup.optimize.frame import Lineup
from lineup.optimize.pricing import Pricing
from lineup.optimize.run import Run
from lineup.optimize.search import first_lineup, mean_costs
from lineup.optimize.walk import Walk, Window
from lineup.problem import build
from tests.optimize.seasons import QUICK
from tests.optimize.switched import switched

SEEDS = range(60)
MOVES = 20_000


def start(seed: int) -> tuple[Bench, Lineup] | None:
    """Random season with a rule in turn, and a lineup that keeps its rules; None where none was found."""
    season, model = switched(seed)
    run = Run(Bench(build(season, model, season.weekends, QUICK)), QUICK)
    first_lineup(run, mean_costs(run), 2.0)
    return None if run.best is None else (run.bench, run.best)


def walk(bench: Bench, lineup: Lineup, races: range | None = None, seed: int = 3, sharp: bool = False) -> Walk:
    """Walk from a lineup to its end."""
    tables = CrewTables(bench.values)
    assert tables.prepare(lambda: False)
    window = Window(bench, Pricing(bench), tables, races or range(len(bench.problem.races)), lineup)
    one = Walk(window, lineup, 1e-6 if sharp else 2.0, 1e-6 if sharp else 0.01, MOVES, seed, sharp)
    one.advance(MOVES)
    return one


@pytest.mark.parametrize("seed", SEEDS)
def test_gain_is_what_the_lineup_gains(seed: int) -> None:
    begun = start(seed)
    if begun is None:
        return
    bench, lineup = begun
    one = walk(bench, lineup)
    exact = bool(one.window.tables.exact.all())
    gained = bench.value(lineup) - bench.value(one.best)
    assert one.gain == pytest.approx(gained, abs=1e-6 if exact else 0.05 * bench.value(lineup))
    if exact:
        assert bench.keeps_rules(one.best)


@pytest.mark.parametrize("seed", SEEDS)
def test_sharp_walk_ends_where_no_seat_can_be_better(seed: int) -> None:
    begun = start(seed)
    if begun is None:
        return
    bench, lineup = begun
    one = walk(bench, lineup, sharp=True)
    value = bench.value(one.best)
    assert one.gain == pytest.approx(bench.value(lineup) - value, abs=1e-6)
    for k, a in enumerate(one.best.tolist()):
        for other in np.flatnonzero(bench.frame.may[:, k]).tolist():
            changed = one.best.copy()
            changed[k] = other
            assert other == a or not bench.keeps_rules(changed) or bench.value(changed) >= value - 1e-6


def test_same_seed_same_walk_and_another_seed_another() -> None:
    bench, lineup = next(filter(None, map(start, SEEDS)))
    first, again, other = walk(bench, lineup), walk(bench, lineup), walk(bench, lineup, seed=4)
    assert np.array_equal(first.state.seats, again.state.seats)
    assert first.state.value.tolist() == again.state.value.tolist()
    assert first.state.rng[0] != other.state.rng[0]


@pytest.mark.parametrize("seed", range(12))
def test_window_leaves_other_races_alone(seed: int) -> None:
    begun = start(seed)
    if begun is None:
        return
    bench, lineup = begun
    races = range(1, len(bench.problem.races))
    best = walk(bench, lineup, races).best
    held = bench.frame.seat_race == 0
    assert np.array_equal(best[held], lineup[held])
    assert bench.keeps_teams(best)


def test_short_lists_keep_who_works_now(monkeypatch: pytest.MonkeyPatch) -> None:
    bench, lineup = next(filter(None, map(start, SEEDS)))
    monkeypatch.setattr("lineup.optimize.crew_tables.MOST_CELLS", 4)
    tables = search_tables(bench, CrewTables(bench.values), lineup)
    assert tables.fit or tables.may is not None
    assert tables.prepare(lambda: False)
    filled = np.flatnonzero(lineup >= 0)
    assert tables.allowed[lineup[filled], filled].all()
    assert tables.allowed.sum() <= bench.frame.may.sum()


def test_a_walk_that_is_over_learns_no_more() -> None:
    bench, lineup = next(filter(None, map(start, SEEDS)))
    tables = CrewTables(bench.values)
    assert tables.prepare(lambda: False)
    window = Window(bench, Pricing(bench), tables, range(len(bench.problem.races)), lineup)
    one = Walk(window, lineup, 2.0, 0.01, MOVES, 3)
    one.advance(MOVES, lambda: True)
    assert one.done < MOVES
    assert window.known.count == 0
    one.advance(MOVES)
    assert one.ended


def test_athletes_are_drawn_as_often_as_they_are_likely() -> None:
    bench, lineup = next(filter(None, map(start, SEEDS)))
    tables = CrewTables(bench.values)
    assert tables.prepare(lambda: False)
    board = make_board(bench, tables, range(len(bench.problem.races)))
    shares = np.zeros(bench.frame.may.shape)
    filled = np.flatnonzero(lineup >= 0)
    shares[lineup[filled], filled] = 1.0
    favoured = favour(board, shares)
    for k, count in enumerate(favoured.able_count):
        named = favoured.able[k, :count].tolist()
        assert set(named) == set(np.flatnonzero(board.may[:, k]))
        likely = lineup[k] if lineup[k] >= 0 else len(bench.frame.athletes)
        assert named.count(likely) > 0.9 * count - board.may[:, k].sum()
