"""Stop times of one crew at a time, without copies: what a search asks for most."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lineup.optimize.frame import EMPTY, Floats
from lineup.stop_model.stops import ServiceBank


class FastBank:
    """The network of a bank as a list of steps on arrays that stay in place. Same numbers as `ServiceBank.stop_times`.

    Not for several threads at once: the arrays are reused.
    """

    def __init__(self, bank: ServiceBank) -> None:
        self.bank = bank
        tasks = bank.choreography.tasks
        index = {task.id: i for i, task in enumerate(tasks)}
        rank: dict[str | None, int] = {}
        self.steps: list[tuple[int, tuple[int, ...], int, int]] = []  # task, waits for, column (-1: car), rank
        for i, task in enumerate(tasks):
            column = -1 if task.position is None else bank.positions.index(task.position)
            own = rank.get(task.position, 0)
            rank[task.position] = own + 1
            self.steps.append((i, tuple(index[earlier] for earlier in task.after), column, own))
        self.release = [i for i, task in enumerate(tasks) if task.release]
        self.plain = not any(task.only_with or task.only_without for task in tasks)
        self.rows = [
            [[np.ascontiguousarray(task) for task in athlete] for athlete in bank.durations[position]]
            for position in bank.positions
        ]
        self.car = [np.ascontiguousarray(task) for task in bank.car]
        self.finish = [np.empty(bank.scenarios) for _ in tasks]
        self.total = np.empty(bank.scenarios)

    def stop_times(self, crew: Sequence[int]) -> Floats:
        """Stop time of a crew row, shape (scenarios,); overwritten by the next call."""
        if not self.plain or EMPTY in crew:
            return np.asarray(self.bank.stop_times(np.array([crew], dtype=np.intp))[0])
        finish = self.finish
        for task, waits, column, rank in self.steps:
            own = self.car[rank] if column < 0 else self.rows[column][crew[column]][rank]
            out = finish[task]
            if not waits:
                out[:] = own
                continue
            latest = finish[waits[0]]
            for other in waits[1:]:
                latest = np.maximum(latest, finish[other], out=out)
            np.add(latest, own, out=out)
        total = finish[self.release[0]]
        for other in self.release[1:]:
            total = np.maximum(total, finish[other], out=self.total)
        return total
