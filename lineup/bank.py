"""Sampled stops of one service on one kind of tire: what any crew takes, and linear bounds on it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from lineup.blend import blend_weights
from lineup.choreography import Network
from lineup.errors import InputError
from lineup.season import Choreography, Task

Floats = NDArray[np.float64]
Cut = tuple[float, dict[str, Floats]]

CHUNK_CREWS = 16  # crews evaluated together: their arrays stay in the processor's cache


@dataclass(frozen=True, eq=False)
class ServiceBank:
    """Sampled durations of every athlete who could work a position, with scenarios shared by all of them.

    Attributes
    ----------
    service, tire : which stops these are.
    choreography : the tasks and who waits for whom.
    athletes : athlete ids of each position of the choreography; a row below is an index into them.
    durations : seconds, by position, shape (athletes, tasks of the position in choreography order, scenarios).
    car : seconds of what car and driver do, shape (car tasks in choreography order, scenarios).
    clean : by position, whether an athlete's stop is free of misses, shape (athletes, scenarios).
    penalty_s : by position, expected penalty seconds per stop, shape (athletes,).

    `clean` and `penalty_s` speak of the tasks that exist when every seat is filled.
    """

    service: str
    tire: str
    choreography: Choreography
    athletes: Mapping[str, tuple[str, ...]]
    durations: Mapping[str, Floats]
    car: Floats
    clean: Mapping[str, NDArray[np.bool_]]
    penalty_s: Mapping[str, Floats]

    @property
    def scenarios(self) -> int:
        """Number of sampled stops."""
        return int(self.car.shape[-1])

    @property
    def positions(self) -> tuple[str, ...]:
        """Positions in the order of a crew row."""
        return self.choreography.positions

    @cached_property
    def rows(self) -> Mapping[str, Mapping[str, int]]:
        """Row of each athlete, by position."""
        return {p: {athlete: i for i, athlete in enumerate(self.athletes[p])} for p in self.positions}

    @cached_property
    def place(self) -> tuple[tuple[int, int], ...]:
        """Of each task: column of its position in a crew row (-1: the car) and rank among that position's tasks."""
        seen: dict[str | None, int] = {}
        places = []
        for task in self.choreography.tasks:
            rank = seen.get(task.position, 0)
            seen[task.position] = rank + 1
            places.append((-1 if task.position is None else self.positions.index(task.position), rank))
        return tuple(places)

    def crew_row(self, crew: Mapping[str, str]) -> NDArray[np.intp]:
        """Rows of a crew given as athlete by position, shape (positions,); -1 where a seat is empty.

        Positions that this service does not name are passed over.

        Raises
        ------
        InputError
            When someone in the crew has no clearance, hence no sampled stops, at the position.
        """
        row = np.full(len(self.positions), -1, dtype=np.intp)
        for column, position in enumerate(self.positions):
            if position in crew:
                athlete = crew[position]
                if athlete not in self.rows[position]:
                    raise InputError(f"{athlete} has no clearance for {position}, so no stop can be forecast")
                row[column] = self.rows[position][athlete]
        return row

    def stop_times(self, crews: NDArray[np.integer]) -> Floats:
        """Stop time of each crew in each scenario.

        Parameters
        ----------
        crews : rows into `athletes`, shape (n, positions), -1 where a seat is empty.

        Returns
        -------
        Seconds, shape (n, scenarios).
        """
        crews = np.atleast_2d(crews)
        times = np.empty((len(crews), self.scenarios))
        patterns, group = np.unique(crews < 0, axis=0, return_inverse=True)
        for number, pattern in enumerate(patterns):
            network = self.network(pattern)
            members = np.flatnonzero(group.ravel() == number)
            for first in range(0, len(members), CHUNK_CREWS):
                chunk = members[first : first + CHUNK_CREWS]
                times[chunk] = network.stop_time(network.finish(self.crew_durations(crews[chunk])))
        return times

    def network(self, empty: NDArray[np.bool_]) -> Network:
        """Network when the seats flagged in `empty`, shape (positions,), are empty."""
        return Network(self.choreography, frozenset(p for p, gone in zip(self.positions, empty, strict=True) if gone))

    def crew_durations(self, crews: NDArray[np.integer]) -> Floats:
        """Seconds of each task, shape (tasks, n, scenarios); meaningless where a seat is empty."""
        durations = np.empty((len(self.choreography.tasks), len(crews), self.scenarios))
        for task, (column, rank) in enumerate(self.place):
            if column < 0:
                durations[task] = self.car[rank]
            elif len(self.athletes[self.positions[column]]) > 0:
                durations[task] = self.durations[self.positions[column]][crews[:, column], rank]
            else:
                durations[task] = 0.0
        return durations

    def path_cut(self, mix: Mapping[str, Floats], scenario_weights: Floats) -> Cut:
        """Linear bound from below on a crew's weighted stop time, touching it at `mix`.

        With x[p, a] = 1 where athlete a works position p, every crew satisfies
        Σ_s w_s stop_s(x) >= constant + Σ coefficients[p][a] x[p, a], with equality at `mix` when that is a crew.
        For any scenario the stop of any crew lasts at least as long as the tasks along any one path; the path taken
        is the longest one at `mix`.

        Parameters
        ----------
        mix : share of each athlete in each position, shape (athletes,) each; shares of a position sum to at most 1.
        scenario_weights : not negative, shape (scenarios,).

        Returns
        -------
        Constant in seconds, and coefficients by position, shape (athletes,) each.
        """
        bounds = self._bounds(mix)
        network = Network(self.choreography)
        finish = network.finish_all(self._values(bounds, mix))
        return self._along(bounds, network.longest_path(finish) * scenario_weights)

    def blended_cut(self, mix: Mapping[str, Floats], tail: float, tail_share: float) -> Cut:
        """Bound from below on mean and tail mean blended, touching it at `mix`; see `path_cut` and `blend_weights`."""
        bounds = self._bounds(mix)
        network = Network(self.choreography)
        finish = network.finish_all(self._values(bounds, mix))
        weights = blend_weights(network.stop_time(finish), tail, tail_share)
        return self._along(bounds, network.longest_path(finish) * weights)

    def mix_times(self, mix: Mapping[str, Floats]) -> Floats:
        """Bound from below on the stop time at `mix`, exact when it is a crew; seconds, shape (scenarios,)."""
        network = Network(self.choreography)
        return network.stop_time(network.finish_all(self._values(self._bounds(mix), mix)))

    def crew_mix(self, crew: NDArray[np.integer]) -> dict[str, Floats]:
        """Mix in which each position of a crew row, shape (positions,), is worked by one athlete or by nobody."""
        mix = {p: np.zeros(len(self.athletes[p])) for p in self.positions}
        for position, row in zip(self.positions, crew, strict=True):
            if row >= 0:
                mix[position][row] = 1.0
        return mix

    def _bounds(self, mix: Mapping[str, Floats]) -> list[_Linear]:
        """Linear bound from below on the time of each task, touching it at `mix` when that is a crew."""
        bounds = []
        for task, (_, rank) in zip(self.choreography.tasks, self.place, strict=True):
            if task.position is None:
                own = _Linear(self.car[rank], {})
                times = self.car[rank][None]
            else:
                times = self.durations[task.position][:, rank]
                own = _Linear(np.zeros(self.scenarios), {task.position: times})
            bounds.append(_conditional(task, own, times, mix))
        return bounds

    def _values(self, bounds: list[_Linear], mix: Mapping[str, Floats]) -> Floats:
        return np.array([bound.value(mix) for bound in bounds])

    def _along(self, bounds: list[_Linear], weights: Floats) -> Cut:
        """Sum of the tasks' bounds, weighted, shape of `weights` (tasks, scenarios)."""
        constant = 0.0
        coefficients = {p: np.zeros(len(self.athletes[p])) for p in self.positions}
        for bound, weight in zip(bounds, weights, strict=True):
            constant += float(bound.constant @ weight)
            for position, term in bound.terms.items():
                coefficients[position] += term @ weight
        return constant, coefficients


@dataclass(frozen=True, slots=True)
class _Linear:
    """A linear function of a mix in every scenario: constant (scenarios,), terms (athletes or 1, scenarios)."""

    constant: Floats
    terms: Mapping[str, Floats]

    def value(self, mix: Mapping[str, Floats]) -> Floats:
        """Value at a mix, shape (scenarios,)."""
        total = self.constant
        for position, term in self.terms.items():
            shares = mix[position]
            total = total + (shares @ term if len(term) == len(shares) else shares.sum() * term[0])
        return total

    def plus(self, other: _Linear, factor: Floats) -> _Linear:
        """Add the other function, times a factor of each scenario, shape (scenarios,)."""
        terms = dict(self.terms)
        for position, term in other.terms.items():
            terms[position] = terms[position] + term * factor if position in terms else term * factor
        return _Linear(self.constant + other.constant * factor, terms)


def _conditional(task: Task, own: _Linear, times: Floats, mix: Mapping[str, Floats]) -> _Linear:
    """Bound from below on a task that exists only when some seats are filled or empty.

    With c_i = 1 where condition i holds and M = max(0, longest time), m = min(0, shortest time) over athletes, the
    time of the task is at least own - M Σ (1 - c_i) and at least m c_i for each i: the first is exact where all
    hold, the second where one does not. In each scenario the one that is larger at `mix` is taken.
    """
    one = np.ones(own.constant.shape)
    holds = []
    if task.only_with is not None:
        holds.append(_Linear(0 * one, {task.only_with: one[None]}))
    if task.only_without is not None:
        holds.append(_Linear(one, {task.only_without: -one[None]}))
    if not holds:
        return own
    longest = np.maximum(times.max(axis=0, initial=0.0), 0.0)
    shortest = np.minimum(times.min(axis=0, initial=0.0), 0.0)
    if_done = own
    for condition in holds:
        if_done = if_done.plus(_Linear(one, {}), -longest).plus(condition, longest)
    least = min(holds, key=lambda condition: float(condition.value(mix)[0]))
    if_not = _Linear(0 * one, {}).plus(least, shortest)
    done = if_done.value(mix) >= if_not.value(mix)
    return _Linear(0 * one, {}).plus(if_done, done.astype(float)).plus(if_not, (~done).astype(float))
