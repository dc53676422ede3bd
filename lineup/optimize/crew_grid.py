"""The stops of every crew at once: all combinations of candidates of a service.

A task depends on few positions, its scope. The arms of the network that meet at the release often share no position
(tires and fuel): then each is computed once for each combination of its own scope, and joined crew by crew.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from lineup.choreography import places
from lineup.optimize.frame import EMPTY, Floats, Ints
from lineup.optimize.grid_kernel import NONE, join_crews
from lineup.optimize.stopped import Over, Stopped
from lineup.stop_model.stops import ServiceBank

CELLS = 20_000  # crews of the main arm between questions whether to stop
MARGIN_S = 1e-4  # more than single numbers can be wrong by

Scope = frozenset[int]
Number = Any  # what numpy takes as the type of a number
Arm = tuple[int, int]  # a release, and what it waits for (NONE: nothing)


def weighted_stops(
    bank: ServiceBank,
    candidates: Sequence[Ints],
    weights: Floats,
    groups: int | None = None,
    over: Over = lambda: False,
) -> Floats:
    """Weighted stop times of every crew of the candidates, or bounds from below.

    Parameters
    ----------
    candidates : by position of the bank, rows into its athletes, EMPTY for nobody.
    weights : of scenarios, not negative, shape (n, scenarios).
    groups : join arms not in each scenario but in so many groups of scenarios, in each of which mostly the same arm
        is the latest. The answer is then at or below the weighted stop time (the maximum of means is at most the mean
        of maxima), and nearly it. Numbers are then single ones, which `MARGIN_S` makes up for.
    over : asked now and then.

    Returns
    -------
    Σ_s weights[n, s] stop[s], seconds, shape (n, candidates of the first position, ...).

    Raises
    ------
    Stopped
        When `over` said so.
    """
    net = _Net(bank)
    main, rest = net.arms
    inside, outside = net.order(main, candidates), net.order(rest, candidates)
    number = np.float64 if groups is None else np.float32
    scenarios = np.arange(bank.scenarios)
    count = bank.scenarios if groups is None or not rest else groups
    if rest and groups is not None:  # scenarios side by side that are alike in how far one arm is behind the other
        each = np.eye(bank.scenarios)
        one = [c[:1] for c in candidates]
        behind = [_arm(net, arms, one, scenarios, each, number)[:, 0] for arms in (main, rest)]
        scenarios = np.argsort(behind[0] - behind[1], kind="stable")
    parts = np.linspace(0, bank.scenarios, count + 1).astype(np.int64)
    own = weights[:, scenarios]
    outer = np.zeros((len(weights), 0, count), number)
    if rest:
        spread = np.zeros((count * len(own), bank.scenarios))
        for n, row in enumerate(own):
            for g in range(count):
                spread[n * count + g, parts[g] : parts[g + 1]] = row[parts[g] : parts[g + 1]]
        outer = _arm(net, rest, candidates, scenarios, spread, number)
        outer = outer.reshape(len(own), count, -1).swapaxes(1, 2).astype(number)
    table = np.empty((len(own), _cells(candidates, inside), max(1, outer.shape[1])))
    _run(net, main, candidates, scenarios, parts, own, outer, table, over)
    idle = [q for q in range(len(candidates)) if q not in (*inside, *outside)]  # the release waits for none of theirs
    shape = [*(len(candidates[q]) for q in (*inside, *outside)), *(1 for _ in idle)]
    apart = table.reshape(len(own), *shape).transpose(0, *(1 + np.argsort([*inside, *outside, *idle])))
    full = np.broadcast_to(apart, (len(own), *(len(able) for able in candidates)))
    return full - MARGIN_S if groups is not None else full


def _cells(candidates: Sequence[Ints], positions: Sequence[int]) -> int:
    return int(np.prod([len(candidates[q]) for q in positions]))


def _arm(
    net: _Net, arms: Sequence[Arm], candidates: Sequence[Ints], scenarios: Ints, weights: Floats, number: Number
) -> Floats:
    """Weighted latest of some arms, shape (n, combinations of their positions)."""
    parts = np.array([0, net.bank.scenarios])
    table = np.empty((len(weights), _cells(candidates, net.order(arms, candidates)), 1))
    _run(net, arms, candidates, scenarios, parts, weights, np.zeros((len(weights), 0, 1), number), table, lambda: False)
    return table[:, :, 0]


def _run(
    net: _Net,
    arms: Sequence[Arm],
    candidates: Sequence[Ints],
    scenarios: Ints,
    parts: Ints,
    weights: Floats,
    outer: Floats,
    table: Floats,
    over: Over,
) -> None:
    order = net.order(arms, candidates)
    program = net.program(order)
    widest = max((len(candidates[q]) for q in order), default=1)
    sizes = np.array([len(candidates[q]) for q in order], dtype=np.int64)
    empty = np.zeros((len(order), widest), dtype=np.bool_)
    for i, q in enumerate(order):
        empty[i, : sizes[i]] = candidates[q] == EMPTY
    seconds = net.seconds(candidates, order, scenarios, widest, outer.dtype)
    links = np.array(arms, dtype=np.int64).reshape(-1, 2)
    own = weights.astype(outer.dtype)
    for begin in range(0, table.shape[1], CELLS):
        if over():
            raise Stopped
        end = min(begin + CELLS, table.shape[1])
        join_crews(seconds, empty, sizes, *program, links, parts.astype(np.int64), own, outer, begin, end, table)


@dataclass(frozen=True, eq=False)
class _Net:
    """The network of a bank, and on which of its positions each part depends."""

    bank: ServiceBank

    @cached_property
    def own_scopes(self) -> tuple[Scope, ...]:
        """Positions on which the own time of each task depends."""
        columns = {position: q for q, position in enumerate(self.bank.positions)}
        return tuple(
            frozenset(columns[p] for p in (task.position, task.only_with, task.only_without) if p is not None)
            for task in self.bank.choreography.tasks
        )

    @cached_property
    def before(self) -> tuple[tuple[int, ...], ...]:
        """Tasks that each task waits for."""
        index = {task.id: i for i, task in enumerate(self.bank.choreography.tasks)}
        return tuple(tuple(index[a] for a in task.after) for task in self.bank.choreography.tasks)

    @cached_property
    def scopes(self) -> tuple[Scope, ...]:
        """Positions on which the finish of each task depends."""
        found: list[Scope] = []
        for own, before in zip(self.own_scopes, self.before, strict=True):
            found.append(own.union(*(found[a] for a in before)))
        return tuple(found)

    def scope(self, arms: Sequence[Arm]) -> Scope:
        """Positions on which some arms depend."""
        found: Scope = frozenset()
        for release, last in arms:
            found |= self.own_scopes[release] | (self.scopes[last] if last != NONE else frozenset())
        return found

    @cached_property
    def arms(self) -> tuple[list[Arm], list[Arm]]:
        """Arms on the widest scope and all that share a position with it; and the others, if any."""
        tasks = self.bank.choreography.tasks
        pairs = [(i, a) for i, task in enumerate(tasks) if task.release for a in self.before[i] or (NONE,)]
        main = [max(pairs, key=lambda pair: len(self.scope([pair])))]
        rest = [pair for pair in pairs if pair not in main]
        while joined := [pair for pair in rest if self.scope([pair]) & self.scope(main) or not self.scope([pair])]:
            main += joined
            rest = [pair for pair in rest if pair not in joined]
        return main, rest

    def order(self, arms: Sequence[Arm], candidates: Sequence[Ints]) -> list[int]:
        """Positions of some arms, the one that most work depends on first."""
        work = {q: sum(q in scope for scope in self.scopes) for q in self.scope(arms)}
        return sorted(work, key=lambda q: (-work[q], len(candidates[q]), q))

    def program(self, order: Sequence[int]) -> tuple[Ints, ...]:
        """Arrays that tell the compiled loop what to compute when; see `join_crews`."""
        tasks, columns = self.bank.choreography.tasks, {p: q for q, p in enumerate(self.bank.positions)}
        at = {q: i for i, q in enumerate(order)}
        place = [NONE if t.position is None else at.get(columns[t.position], NONE) for t in tasks]
        needs = [NONE if t.only_with is None else at.get(columns[t.only_with], NONE) for t in tasks]
        avoids = [NONE if t.only_without is None else at.get(columns[t.only_without], NONE) for t in tasks]
        first = np.cumsum([0, *(len(b) for b in self.before)])
        before = [a for b in self.before for a in b]
        levels: list[list[int]] = [[] for _ in range(len(order) + 1)]
        for t, scope in enumerate(self.scopes):
            if scope <= set(order):
                levels[max((at[q] + 1 for q in scope), default=0)].append(t)
        begin = np.cumsum([0, *(len(level) for level in levels)])
        listed = [t for level in levels for t in level]
        return tuple(np.array(x, dtype=np.int64) for x in (place, needs, avoids, first, before, begin, listed))

    def seconds(
        self, candidates: Sequence[Ints], order: Sequence[int], scenarios: Ints, widest: int, number: Number
    ) -> Floats:
        """Own times of the tasks of some positions and the car, shape (tasks, candidates, scenarios)."""
        tasks = self.bank.choreography.tasks
        table = np.zeros((len(tasks), widest, len(scenarios)), dtype=number)
        for t, (position, rank) in enumerate(places(self.bank.choreography)):
            if position is None:
                table[t, 0] = self.bank.car[rank][scenarios]
            elif (q := self.bank.positions.index(position)) in order:
                filled = np.flatnonzero(candidates[q] != EMPTY)
                table[t, filled] = self.bank.durations[position][candidates[q][filled], rank][:, scenarios]
        return table
