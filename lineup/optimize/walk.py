"""Simulated annealing on whole lineups, exact costs throughout; the moves are compiled, and ask for what they need."""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from lineup.optimize.bench import Bench
from lineup.optimize.board import Board, State, crew_cell, make_board, make_state, seated
from lineup.optimize.crew_tables import CrewTables
from lineup.optimize.frame import EMPTY, Floats, Lineup
from lineup.optimize.moves import CREW, UNKNOWN, slot_of, walk
from lineup.optimize.pricing import Pricing
from lineup.optimize.schedules import members, race_set

SLOTS = 2**14


@dataclass(eq=False)
class KnownSchedules:
    """Seconds by schedule for the compiled moves: an open table that grows."""

    keys: np.ndarray[tuple[int], np.dtype[np.int64]] = field(
        default_factory=lambda: np.full(SLOTS, UNKNOWN, dtype=np.int64)
    )
    costs: Floats = field(default_factory=lambda: np.zeros(SLOTS))
    count: int = 0

    def add(self, key: int, seconds: float) -> None:
        """Remember the seconds of a key that is not there yet."""
        if 2 * self.count >= len(self.keys):
            old = [(int(k), float(s)) for k, s in zip(self.keys, self.costs, strict=True) if k != UNKNOWN]
            self.keys = np.full(2 * len(self.keys), UNKNOWN, dtype=np.int64)
            self.costs = np.zeros(len(self.keys))
            for known, cost in old:
                self._put(known, cost)
        self._put(key, seconds)
        self.count += 1

    def _put(self, key: int, seconds: float) -> None:
        slot = slot_of(self.keys, key)
        self.keys[slot], self.costs[slot] = key, seconds


@dataclass(eq=False)
class Window:
    """Seats of some races in a row that may change, the others held as they are in the lineup it begins with."""

    bench: Bench
    pricing: Pricing
    tables: CrewTables
    races: Collection[int]
    lineup: Lineup
    board: Board = field(init=False)
    known: KnownSchedules = field(default_factory=KnownSchedules)

    def __post_init__(self) -> None:
        self.board = make_board(self.bench, self.tables, self.races)
        self.order = sorted(self.races)
        inside = race_set(self.order)
        self.held = [races & ~inside for races in self.bench.race_sets(self.lineup)]

    def sharp_board(self, lineup: Lineup) -> Board:
        """Board for walks on exact costs only, the crews of a lineup known."""
        for entry in self.bench.frame.entries:
            self.settle(crew_cell(self.board, entry, seated(self.bench, lineup)))
        return self.board._replace(seconds=self.tables.seconds, exact=self.tables.exact)

    def settle(self, cell: int) -> None:
        """Make a cell of the tables exact."""
        r = int(np.searchsorted(self.tables.first, cell, side="right")) - 1
        self.tables.of_race[r].settle(np.array([cell - self.tables.first[r]]))

    def learn(self, athlete: int, races: int) -> None:
        """Find out what a schedule costs that a walk asks for; bit i of `races` is the i-th race of the window."""
        worked = self.held[athlete] | race_set(r for i, r in enumerate(self.order) if races >> i & 1)
        in_row = members(worked)
        clash = any(np.isinf(self.pricing.arcs[i, j, athlete]) for i, j in pairwise(in_row))
        broken = clash or self.bench.schedules.of(athlete, worked).broken
        seconds = np.inf if broken else self.bench.one_schedule_s(athlete, worked)
        self.known.add(int(self.board.group[athlete]) << 32 | races, seconds)


@dataclass(eq=False)
class Walk:
    """One walk of `moves` moves from a lineup, cooling from `hot` to `cold` (seconds); the same for the same seed.

    Attributes
    ----------
    sharp : only exact costs will do, where tables hold bounds; for short, cold walks.
    done : moves tried so far.
    """

    window: Window
    lineup: Lineup
    hot: float
    cold: float
    moves: int
    seed: int
    sharp: bool = False
    done: int = 0
    board: Board = field(init=False)
    state: State = field(init=False)

    def __post_init__(self) -> None:
        self.board = self.window.sharp_board(self.lineup) if self.sharp else self.window.board
        self.state = make_state(self.window.bench, self.board, self.lineup, self.seed)
        if not len(self.window.board.free):
            self.done = self.moves

    @property
    def ended(self) -> bool:
        """Whether all moves have been tried."""
        return self.done >= self.moves

    @property
    def gain(self) -> float:
        """Seconds that the best lineup met costs less than the one the walk began with."""
        return -float(self.state.value[1])

    @property
    def best(self) -> Lineup:
        """Best lineup met."""
        return np.where(self.state.best == len(self.window.bench.frame.athletes), EMPTY, self.state.best)

    def advance(self, moves: int, over: Callable[[], bool] = lambda: False) -> None:
        """Try so many moves, or those that are left; `over`, asked when a walk needs to know more, ends it early."""
        until, window = min(self.moves, self.done + moves), self.window
        ratio = float(self.cold / self.hot)
        while self.done < until:
            known, hot = window.known, float(self.hot)
            args = (self.board, self.state, known.keys, known.costs, hot, ratio, self.done, until, self.moves)
            self.done = int(walk(*args))
            if self.done == until or over():
                break
            if self.state.ask[0] == CREW:
                window.settle(int(self.state.ask[1]))
            else:
                window.learn(int(self.state.ask[0]), int(self.state.ask[1]))
