"""Simulated annealing on whole lineups: two athletes change places over some races in a row, exact costs throughout."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from lineup.optimize.bench import Bench
from lineup.optimize.frame import EMPTY, Lineup

LOOK_EVERY = 64  # moves between looks at the clock
LONGER = 0.6  # chance that a run of races goes on


@dataclass(eq=False)
class Annealing:
    """One walk. `value` and `seats` are the lineup now, `best_value` and `best` the best one met."""

    bench: Bench
    lineup: Lineup
    seed: int
    moves: int = 0
    taken: int = 0
    rng: random.Random = field(init=False)

    def __post_init__(self) -> None:
        frame = self.bench.frame
        self.rng = random.Random(self.seed)
        self.seats: list[int] = self.lineup.tolist()
        self.value = self.best_value = self.bench.value(self.lineup)
        self.best = self.lineup.copy()
        self.sets = self.bench.race_sets(self.lineup)
        self.races = len(frame.problem.races)
        self.where = [[EMPTY] * self.races for _ in frame.athletes]
        for k, a in enumerate(self.seats):
            if a != EMPTY:
                self.where[a][int(frame.seat_race[k])] = k
        self.race_of = frame.seat_race.tolist()
        self.entry_of = frame.seat_entry.tolist()
        self.before, self.after = frame.before.tolist(), frame.after.tolist()
        self.may = [set(np.flatnonzero(row).tolist()) for row in frame.may]
        self.able = [np.flatnonzero(frame.may[:, k]).tolist() for k in range(len(frame.seats))]
        self.own = frame.cost.tolist()
        self.empty_own = frame.empty_cost.tolist()
        self.crew_seats = [tuple(entry.seats.tolist()) for entry in frame.entries]
        self.change_s = self.bench.problem.season.weights.crew_change_s
        self.entry_costs: list[dict[tuple[int, ...], float]] = [{} for _ in frame.entries]
        self.schedule_costs: list[dict[int, float]] = [{} for _ in frame.athletes]
        self.tied = self.bench.tied
        self.filled = [k for k in range(len(self.seats)) if len(self.able[k]) > 1]

    def walk(self, hot: float, cold: float, steps: int, over: Callable[[], bool]) -> None:
        """Take `steps` moves while the temperature (seconds) falls from hot to cold."""
        if not self.filled:
            return
        ratio = cold / hot
        for step in range(steps):
            if step % LOOK_EVERY == 0 and over():
                return
            self._move(hot * ratio ** (step / steps))

    def _move(self, temperature: float) -> None:
        self.moves += 1
        changes = self._propose()
        if not changes:
            return
        delta = self._delta(changes)
        if delta > 0 and (delta == math.inf or self.rng.random() >= math.exp(-delta / temperature)):
            self._put({k: old for k, (old, _) in changes.items()})
            return
        if self.tied and not self.bench.keeps_teams(np.array(self.seats)):
            self._put({k: old for k, (old, _) in changes.items()})
            return
        self.taken += 1
        for a in {a for pair in changes.values() for a in pair if a != EMPTY}:
            self.sets[a] = self._set(a)
        self.value += delta
        if self.value < self.best_value - 1e-7:
            self.best_value, self.best = self.value, np.array(self.seats)

    def _propose(self) -> dict[int, tuple[int, int]]:
        """Two athletes change places from one race on, over some races in a row: {seat: (who now, who then)}."""
        rng = self.rng
        k = self.filled[int(rng.random() * len(self.filled))]
        a = self.seats[k]
        b = self.able[k][int(rng.random() * len(self.able[k]))]
        if a in (b, EMPTY):
            return {k: (a, b)} if a == EMPTY and self.where[b][self.race_of[k]] == EMPTY else {}
        changes: dict[int, tuple[int, int]] = {}
        r = self.race_of[k]
        while r < self.races:
            mine, theirs = self.where[a][r], self.where[b][r]
            if (mine != EMPTY and mine not in self.may[b]) or (theirs != EMPTY and theirs not in self.may[a]):
                break
            if mine != EMPTY:
                changes[mine] = (a, b)
            if theirs != EMPTY:
                changes[theirs] = (b, a)
            r += 1
            if rng.random() > LONGER:
                break
        return changes

    def _delta(self, changes: dict[int, tuple[int, int]]) -> float:
        """Make the changes; return what they cost, inf where a schedule breaks a rule."""
        entries = {self.entry_of[k] for k in changes}
        links = {k for k in changes if self.before[k] >= 0} | {self.after[k] for k in changes if self.after[k] >= 0}
        people = {a for pair in changes.values() for a in pair if a != EMPTY}
        old = self._part(entries, links, changes)
        self._put({k: new for k, (_, new) in changes.items()})
        schedule = sum(self._schedule(a, self._set(a)) - self._schedule(a, self.sets[a]) for a in people)
        if schedule == math.inf:
            return math.inf
        return self._part(entries, links, changes) - old + schedule

    def _part(self, entries: set[int], links: set[int], changes: dict[int, tuple[int, int]]) -> float:
        seats = self.seats
        total = sum(self._entry(e) for e in entries)
        for k in changes:
            total += self.own[seats[k]][k] if seats[k] != EMPTY else self.empty_own[k]
        if self.change_s:
            for k in links:
                held, now = seats[self.before[k]], seats[k]
                total += self.change_s * (held != now and held != EMPTY and now != EMPTY)
        return total

    def _entry(self, number: int) -> float:
        seats = self.seats
        crew = tuple([seats[k] for k in self.crew_seats[number]])
        known = self.entry_costs[number].get(crew)
        if known is None:
            known = self.bench.values.cost(self.bench.frame.entries[number], crew)
            self.entry_costs[number][crew] = known
        return known

    def _schedule(self, athlete: int, races: int) -> float:
        known = self.schedule_costs[athlete].get(races)
        if known is None:
            broken = self.bench.schedules.of(athlete, races).broken
            known = math.inf if broken else self.bench.one_schedule_s(athlete, races)
            self.schedule_costs[athlete][races] = known
        return known

    def _set(self, athlete: int) -> int:
        return sum(1 << r for r, k in enumerate(self.where[athlete]) if k != EMPTY)

    def _put(self, new: dict[int, int]) -> None:
        for k in new:
            if self.seats[k] != EMPTY:
                self.where[self.seats[k]][self.race_of[k]] = EMPTY
        for k, a in new.items():
            self.seats[k] = a
            if a != EMPTY:
                self.where[a][self.race_of[k]] = k
