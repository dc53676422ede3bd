"""Linear bounds from below on the time of each task, which add up along a path to a bound on the stop."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lineup.choreography import places
from lineup.season import Choreography, Task

Floats = NDArray[np.float64]
Cut = tuple[float, dict[str, Floats]]


@dataclass(frozen=True, slots=True)
class Linear:
    """A linear function of a mix in every scenario: constant (scenarios,), terms (athletes or 1, scenarios).

    A term with one row counts the filled seat, whoever fills it.
    """

    constant: Floats
    terms: Mapping[str, Floats]

    def value(self, mix: Mapping[str, Floats]) -> Floats:
        """Value at a mix, shape (scenarios,)."""
        total = self.constant
        for position, term in self.terms.items():
            shares = mix[position]
            total = total + (shares @ term if len(term) == len(shares) else shares.sum() * term[0])
        return total

    def plus(self, other: Linear, factor: Floats) -> Linear:
        """Add the other function, times a factor of each scenario, shape (scenarios,)."""
        terms = dict(self.terms)
        for position, term in other.terms.items():
            terms[position] = terms[position] + term * factor if position in terms else term * factor
        return Linear(self.constant + other.constant * factor, terms)


@dataclass(frozen=True, slots=True)
class BoundsAtMix:
    """Bounds of all tasks, chosen to be largest at one mix, and their values there, shape (tasks, scenarios)."""

    bounds: tuple[Linear, ...]
    values: Floats
    sizes: Mapping[str, int]

    def along(self, weights: Floats) -> Cut:
        """Sum of the bounds under weights of shape (tasks, scenarios), 0 off the path."""
        constant = 0.0
        coefficients = {position: np.zeros(size) for position, size in self.sizes.items()}
        for bound, weight in zip(self.bounds, weights, strict=True):
            constant += float(bound.constant @ weight)
            for position, term in bound.terms.items():
                coefficients[position] += term @ weight
        return constant, coefficients


@dataclass(frozen=True, eq=False)
class TaskBounds:
    """Bounds of the tasks of a service; `durations` and `car` as in `ServiceBank`."""

    choreography: Choreography
    durations: Mapping[str, Floats]
    car: Floats

    def at(self, mix: Mapping[str, Floats]) -> BoundsAtMix:
        """Bounds that are exact at `mix` when it is a crew."""
        bounds = []
        for task, (position, rank) in zip(self.choreography.tasks, places(self.choreography), strict=True):
            if position is None:
                times = self.car[rank][None]
                own = Linear(self.car[rank], {})
            else:
                times = self.durations[position][:, rank]
                own = Linear(np.zeros(times.shape[-1]), {position: times})
            bounds.append(_conditional(task, own, times, mix))
        values = np.array([bound.value(mix) for bound in bounds])
        return BoundsAtMix(tuple(bounds), values, {p: len(d) for p, d in self.durations.items()})


def _conditional(task: Task, own: Linear, times: Floats, mix: Mapping[str, Floats]) -> Linear:
    """Bound from below on the time of a task, `own` when it exists; `times` has shape (athletes, scenarios).

    With c_i = 1 where condition i (a seat filled, or empty) holds and M = max(0, longest time), m = min(0, shortest
    time) over athletes, the time of the task is at least own - M Σ (1 - c_i) and at least m c_i for each i: the
    first is exact where all hold, the second where one does not. In each scenario the larger at `mix` is taken.
    """
    one = np.ones(times.shape[-1])
    holds = []
    if task.only_with is not None:
        holds.append(Linear(0 * one, {task.only_with: one[None]}))
    if task.only_without is not None:
        holds.append(Linear(one, {task.only_without: -one[None]}))
    if not holds:
        return own
    longest = times.max(axis=0, initial=0.0)
    shortest = times.min(axis=0, initial=0.0)
    if_done = own
    for condition in holds:
        if_done = if_done.plus(Linear(-one, {}), longest).plus(condition, longest)
    least = min(holds, key=lambda condition: float(condition.value(mix)[0]))
    if_not = Linear(0 * one, {}).plus(least, shortest)
    done = np.where(if_done.value(mix) >= if_not.value(mix), 1.0, 0.0)
    return Linear(0 * one, {}).plus(if_done, done).plus(if_not, 1.0 - done)
