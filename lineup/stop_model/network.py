"""A service as an activity network: who waits for whom, when each task is done, and which tasks hold up the stop."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property, reduce

import numpy as np
from numpy.typing import NDArray

from lineup.choreography import exists
from lineup.season import Choreography

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Network:
    """The activity network of a service when the seats of the positions `empty` are empty.

    A task that does not exist takes no time and passes its predecessors through. Time zero is the car's stop.
    Axis 0 of every array counts tasks, in choreography order; any further axes are free.
    """

    choreography: Choreography
    empty: frozenset[str] = frozenset()

    @cached_property
    def exists(self) -> NDArray[np.bool_]:
        """Which tasks are done, shape (tasks,)."""
        return np.array([exists(task, self.empty) for task in self.choreography.tasks], dtype=np.bool_)

    @cached_property
    def before(self) -> tuple[tuple[int, ...], ...]:
        """Indices of what each task waits for."""
        index = {task.id: i for i, task in enumerate(self.choreography.tasks)}
        return tuple(tuple(index[earlier] for earlier in task.after) for task in self.choreography.tasks)

    @cached_property
    def release(self) -> tuple[int, ...]:
        """Indices of the tasks that let the car go."""
        return tuple(i for i, task in enumerate(self.choreography.tasks) if task.release)

    def finish(self, durations: Floats) -> Floats:
        """When each task is done.

        Parameters
        ----------
        durations : seconds, shape (tasks, ...); those of tasks that do not exist are ignored.

        Returns
        -------
        Seconds from the car's stop, same shape.
        """
        return self.finish_all(self._spent(durations))

    def finish_all(self, durations: Floats) -> Floats:
        """When each task is done if every task takes the given time, whether or not it exists; same shape."""
        return np.array(self.finishes(durations))

    def finishes(self, durations: Iterable[Floats]) -> list[Floats]:
        """When each task is done, given the time each takes; arrays of any shapes that broadcast together."""
        finish: list[Floats] = []
        for own, before in zip(durations, self.before, strict=True):
            start = reduce(np.maximum, [finish[earlier] for earlier in before]) if before else None
            finish.append(own if start is None else start + own)
        return finish

    def _spent(self, durations: Floats) -> Floats:
        """Durations, 0 where a task does not exist."""
        return np.where(self.exists.reshape(-1, *[1] * (durations.ndim - 1)), durations, 0.0)

    def stop_time(self, finish: Sequence[Floats] | Floats) -> Floats:
        """When the car may go: the latest finish of the releasing tasks, shape (...)."""
        return reduce(np.maximum, [finish[task] for task in self.release])

    def longest_path(self, finish: Floats) -> NDArray[np.bool_]:
        """Which tasks lie on the longest path, same shape as `finish`; among equals the first named wins."""
        on_path = np.zeros(finish.shape, dtype=np.bool_)
        _mark_latest(on_path, finish, self.release, np.ones(finish.shape[1:], dtype=np.bool_))
        for task in range(len(self.before) - 1, -1, -1):
            if self.before[task]:
                _mark_latest(on_path, finish, self.before[task], on_path[task].copy())
        return on_path

    def slack(self, durations: Floats) -> Floats:
        """How much later each task could finish without the car leaving later.

        Seconds, same shape; infinite where no releasing task waits for it.
        """
        spent = self._spent(durations)
        finish = self.finish_all(spent)
        latest = np.full(finish.shape, np.inf)
        latest[list(self.release)] = self.stop_time(finish)
        for task in range(len(self.before) - 1, -1, -1):
            for earlier in self.before[task]:
                latest[earlier] = np.minimum(latest[earlier], latest[task] - spent[task])
        return latest - finish


def _mark_latest(
    on_path: NDArray[np.bool_], finish: Floats, candidates: tuple[int, ...], where: NDArray[np.bool_]
) -> None:
    """Mark, wherever `where` holds, the one of `candidates` that finishes last."""
    if len(candidates) == 1:
        on_path[candidates[0]] |= where
        return
    latest = np.argmax(finish[list(candidates)], axis=0)
    for rank, task in enumerate(candidates):
        on_path[task] |= where & (latest == rank)
