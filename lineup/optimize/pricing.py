"""The cheapest schedule of every athlete under given seat prices, by a dynamic program over duties in a row.

State: the seat of the last duty, and how many weekends in a row have been worked (the last state means "that many
or more" where the limit has a price). Steps know rest, overlaps, travel between two duties, and crew changes. Where
an athlete worked another race since the car's last one, his seat then is not in the state and no change is charged:
the answer is then at or below the exact cost, which keeps every bound built on it valid.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from lineup.optimize.bench import Bench
from lineup.optimize.frame import Floats, Ints
from lineup.optimize.nogoods import IN_A_ROW
from lineup.optimize.rows import Row, tying_rows

CHANGED, UNKNOWN, SAME = 0, 1, 2  # how a duty was reached: with a crew change, without knowing, in the same seat
START = -1


@dataclass(frozen=True, eq=False)
class Schedule:
    """Seats an athlete works, in order, and what they cost apart from seat prices (see `Pricing.fixed_s`)."""

    athlete: int
    seats: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class _Group:
    """Seats of a race whose car raced last in race `before` of the block (-1: none), by their rank in the race."""

    before: int
    ranks: Ints
    ranks_before: Ints


@dataclass(eq=False)
class _Tables:
    """What the forward pass leaves behind for reading off schedules; lists are by race."""

    value: list[Floats]  # (athletes, seats, runs)
    least: list[Floats]  # (athletes, runs): least over the race's seats
    seat: list[Ints]  # (athletes, runs): the seat that gives it
    how: list[NDArray[np.int8]]  # (athletes, seats, runs)


class Pricing:
    """Dynamic program of one problem; everything that does not depend on prices is computed once."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.frame = bench.frame
        self.races = len(self.frame.problem.races)
        limit = self.frame.problem.season.limits.get("weekends_in_a_row")
        bound = limit is not None and limit.at_most is not None
        self.most = int(limit.at_most or 0) if limit is not None and bound else None
        self.price = (limit.price_s or 0.0) if limit is not None and bound else 0.0
        self.hard = limit is not None and bound and limit.price_s is None
        self.runs = 1 if self.most is None else max(1, self.most if self.hard else self.most + 1)
        self.change_s = self.frame.problem.season.weights.crew_change_s

    def prepare(self) -> None:
        """Compute all that prices do not change, before several threads ask for it."""
        _ = self.ties, self.alone, self.arcs, self.first, self._groups, self._weeks

    # ------------------------------------------------------------------------------------- what prices do not change

    @cached_property
    def ties(self) -> list[Row]:
        """Rows that tie athletes or races together."""
        return tying_rows(self.bench)

    @cached_property
    def alone(self) -> Floats:
        """Seconds of each duty alone, shape (athletes, races)."""
        return np.array([self.bench.pairs.of(c)[0] for c in self.bench.schedules.class_of]).reshape(-1, self.races)

    @cached_property
    def arcs(self) -> Floats:
        """Seconds of two duties in a row on top, inf where a rule forbids it; shape (races, races, athletes)."""
        schedules = self.bench.schedules
        by_class = []
        for number, athlete in enumerate(schedules.samples):
            table = np.full((self.races, self.races), np.inf)
            _, pairs = self.bench.pairs.of(number)
            verdicts = self.frame.problem.rules.pair_verdicts(self.frame.athletes[athlete])
            for j in range(self.races):
                for i in range(j):
                    table[i, j] = pairs.get((i, j), 0.0)
            for (first, second), verdict in verdicts.items():
                if verdict.breaches:
                    table[self.frame.race_number[first], self.frame.race_number[second]] = np.inf
            by_class.append(table)
        return np.stack([by_class[c] for c in schedules.class_of], axis=-1)

    @cached_property
    def first(self) -> Floats:
        """Seconds of beginning with a race, by the run it leads to: shape (races, athletes, runs), inf elsewhere."""
        table = np.full((self.races, len(self.frame.athletes), self.runs), np.inf)
        for a in range(len(self.frame.athletes)):
            for r in range(self.races):
                broken = self.bench.schedules.of(a, 1 << r).broken
                run = int(self.bench.calendar.run_before[a, r]) + 1
                if any(rule in IN_A_ROW for rule in broken) or (
                    self.hard and self.most is not None and run > self.most
                ):
                    continue
                beyond = self.most is not None and not self.hard and run > self.most
                table[r, a, min(run, self.runs) - 1] = self.price * beyond
        return table

    @cached_property
    def _groups(self) -> tuple[tuple[_Group, ...], ...]:
        frame = self.frame
        rank = np.zeros(len(frame.seats), dtype=np.intp)
        for seats in frame.seats_of:
            rank[seats] = np.arange(len(seats))
        found = []
        for seats in frame.seats_of:
            before = np.array([frame.seat_race[b] if (b := frame.before[k]) >= 0 else -1 for k in seats], dtype=np.intp)
            groups = [
                _Group(int(b), chosen, rank[frame.before[seats[chosen]]])
                for b in np.unique(before)
                for chosen in [np.flatnonzero(before == b)]
            ]
            found.append(tuple(groups))
        return tuple(found)

    @cached_property
    def _weeks(self) -> Ints:
        return np.array(self.bench.calendar.week, dtype=np.intp)

    # --------------------------------------------------------------------------------------------------- forward pass

    def solve(self, prices: Floats) -> tuple[Floats, list[Schedule]]:
        """Cheapest schedule of each athlete.

        Parameters
        ----------
        prices : seconds each seat costs each athlete, shape (athletes, seats); inf where he may not.

        Returns
        -------
        Least cost of each of them, shape (athletes,), at most 0: he may stay at home; and the schedules below 0.
        """
        tables = _Tables([], [], [], [])
        for r in range(self.races):
            self._race(r, prices, tables)
        if not self.races:
            return np.zeros(len(prices)), []
        ends = np.stack([least.min(axis=1) for least in tables.least])  # (races, athletes)
        last = ends.argmin(axis=0)
        values = ends[last, np.arange(len(last))]
        schedules = [self._read(tables, int(a), int(last[a])) for a in np.flatnonzero(values < 0)]
        return np.minimum(values, 0.0), schedules

    def _race(self, r: int, prices: Floats, tables: _Tables) -> None:
        """Fill in one race from those before it."""
        seats = self.frame.seats_of[r]
        came = self._arrivals(r, tables)  # (races before, athletes, runs)
        first = self.first[r]
        value = np.full((len(prices), len(seats), self.runs), np.inf)
        how = np.zeros(value.shape, dtype=np.int8)
        for group in self._groups[r]:
            split = group.before + 1
            changed = np.minimum(first, _least(came[:split], first.shape))[:, None]
            unknown = _least(came[split:], first.shape)[:, None]
            ways = np.full((3, len(prices), len(group.ranks), self.runs), np.inf)
            ways[CHANGED] = changed + (self.change_s if group.before >= 0 else 0.0)
            ways[UNKNOWN] = unknown
            if group.before >= 0:
                held = self._shift(tables.value[group.before][:, group.ranks_before], group.before, r)
                ways[SAME] = held + self.arcs[group.before, r][:, None, None]
            how[:, group.ranks] = ways.argmin(axis=0)
            value[:, group.ranks] = ways.min(axis=0)
        value += (prices[:, seats] + self.alone[:, r][:, None])[:, :, None]
        tables.value.append(value)
        tables.how.append(how)
        if len(seats):
            tables.seat.append(value.argmin(axis=1))
            tables.least.append(value.min(axis=1))
        else:
            tables.seat.append(np.zeros((len(prices), self.runs), dtype=np.intp))
            tables.least.append(np.full((len(prices), self.runs), np.inf))

    def _arrivals(self, r: int, tables: _Tables) -> Floats:
        """Least cost of arriving at race r from each race before it, shape (races before, athletes, runs)."""
        came = np.empty((r, len(self.frame.athletes), self.runs))
        for earlier in range(r):
            came[earlier] = self._shift(tables.least[earlier], earlier, r) + self.arcs[earlier, r][:, None]
        return came

    def _shift(self, value: Floats, earlier: int, r: int) -> Floats:
        """Values by run after a race become values by run on arrival at race r; runs are the last axis."""
        step = self._weeks[r] - self._weeks[earlier]
        if step == 0:
            return value
        shifted = np.full(value.shape, np.inf)
        if step > 1:
            shifted[..., 0] = value.min(axis=-1)
        else:
            shifted[..., 1:] = value[..., :-1]
            if not self.hard:
                shifted[..., -1] = np.minimum(shifted[..., -1], value[..., -1])
        if self.price:
            shifted[..., -1] += self.price
        return shifted

    # ------------------------------------------------------------------------------------------------------ read off

    def _read(self, tables: _Tables, a: int, r: int) -> Schedule:
        """Follow an athlete's least cost back from race r."""
        run = int(tables.least[r][a].argmin())
        rank = int(tables.seat[r][a, run])
        seats = []
        while r != START:
            seats.append(int(self.frame.seats_of[r][rank]))
            r, rank, run = self._before(tables, a, r, rank, run)
        return Schedule(a, tuple(reversed(seats)))

    def _before(self, tables: _Tables, a: int, r: int, rank: int, run: int) -> tuple[int, int, int]:
        """Race, seat and run that a state was reached from; START where it was the first duty."""
        group = next(g for g in self._groups[r] if rank in g.ranks)
        how = tables.how[r][a, rank, run]
        if how == SAME:
            held = int(group.ranks_before[group.ranks.tolist().index(rank)])
            return group.before, held, self._run_before(tables.value[group.before][a, held], group.before, r, run)
        races = range(group.before + 1) if how == CHANGED else range(group.before + 1, r)
        costs = [float(self._shift(tables.least[e][a], e, r)[run] + self.arcs[e, r, a]) for e in races]
        best = min(costs, default=np.inf)
        if how == CHANGED and self.first[r, a, run] <= best:
            return START, 0, 0
        earlier = races[costs.index(best)]
        run = self._run_before(tables.least[earlier][a], earlier, r, run)
        return earlier, int(tables.seat[earlier][a, run]), run

    def _run_before(self, value: Floats, earlier: int, r: int, run: int) -> int:
        """Run after a race from which `_shift` led to `run` at race r; `value` by run, shape (runs,)."""
        step = self._weeks[r] - self._weeks[earlier]
        if step == 0:
            return run
        if step > 1:
            return int(value.argmin())
        if run == self.runs - 1 and not self.hard:
            return int(run if run == 0 or value[run] <= value[run - 1] else run - 1)
        return run - 1

    # ---------------------------------------------------------------------------------------------------------- costs

    def fixed_s(self, schedule: Schedule) -> float:
        """Seconds of a schedule as the program counts them, seat prices left out."""
        total, run, last = 0.0, 0, START
        a = schedule.athlete
        for k in schedule.seats:
            r = int(self.frame.seat_race[k])
            total += float(self.alone[a, r])
            if last == START:
                run = int(self.bench.calendar.run_before[a, r]) + 1
                total += self._beyond(run)
            else:
                before = int(self.frame.seat_race[last])
                total += float(self.arcs[before, r, a])
                step = self._weeks[r] - self._weeks[before]
                run = run if step == 0 else run + 1 if step == 1 else 1
                total += self._beyond(run) if step else 0.0
            total += self._change(k, last)
            last = k
        return total

    def cost(self, schedule: Schedule) -> float:
        """Seconds of a schedule as the relaxations count them, stops left out."""
        own = self.frame.cost[schedule.athlete, list(schedule.seats)]
        return self.fixed_s(schedule) + float(own.sum())

    def _beyond(self, run: int) -> float:
        return self.price if self.most is not None and not self.hard and run > self.most else 0.0

    def _change(self, seat: int, last: int) -> float:
        before = int(self.frame.before[seat])
        if before < 0 or last == before:
            return 0.0
        since = last != START and self.frame.seat_race[last] > self.frame.seat_race[before]
        return 0.0 if since else self.change_s


def _least(values: Floats, shape: tuple[int, ...]) -> Floats:
    """Least over the first axis; inf where that is empty."""
    return np.asarray(values.min(axis=0)) if len(values) else np.full(shape, np.inf)
