"""A service's tasks: their order, which of them exist, and what the marks of one stop say about each."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Literal

from lineup.errors import InputError
from lineup.season import Choreography, Task

Mark = tuple[Literal["seconds", "finish_s"], float]


def order_tasks(tasks: Iterable[Task]) -> tuple[Task, ...]:
    """Order tasks so that each follows what it waits for, keeping the given order wherever that is possible.

    Raises
    ------
    InputError
        When a task waits for one that is not there, or when tasks wait for each other in a circle.
    """
    waiting = {task.id: task for task in tasks}
    for task in waiting.values():
        for earlier in task.after:
            if earlier not in waiting:
                raise InputError(f"task {task.id} waits for {earlier}, which is not a task of this service")
    ordered: dict[str, Task] = {}
    while waiting:
        ready = next((t for t in waiting.values() if all(earlier in ordered for earlier in t.after)), None)
        if ready is None:
            raise InputError(f"tasks wait for each other in a circle: {' → '.join(_circle(waiting))}")
        ordered[ready.id] = waiting.pop(ready.id)
    return tuple(ordered.values())


def _circle(waiting: Mapping[str, Task]) -> list[str]:
    """Ids along one circle, first one repeated at the end; every task of `waiting` waits for another of them."""
    trail: list[str] = []
    here = next(iter(waiting))
    while here not in trail:
        trail.append(here)
        here = next(earlier for earlier in waiting[here].after if earlier in waiting)
    circle = trail[trail.index(here) :]
    return [here, *reversed(circle)]


def exists(task: Task, empty: frozenset[str]) -> bool:
    """Whether a task is done at all when the seats of the positions `empty` are empty."""
    return (
        task.position not in empty
        and task.only_with not in empty
        and (task.only_without is None or task.only_without in empty)
    )


def places(choreography: Choreography) -> tuple[tuple[str | None, int], ...]:
    """Position of each task (None: the car), and its rank among that position's tasks."""
    seen: dict[str | None, int] = {}
    found = []
    for task in choreography.tasks:
        rank = seen.get(task.position, 0)
        seen[task.position] = rank + 1
        found.append((task.position, rank))
    return tuple(found)


def own_times(choreography: Choreography, marks: Mapping[str, Mark]) -> dict[str, float | None]:
    """Own time of each marked task of one stop, seconds; None where what it waited for is not known.

    A mark in "seconds" is the own time already. From a finish mark the latest finish of what the task waits for
    is taken away; that finish is known when it was marked, or follows from marked times before it. Which seats
    were empty is read off the marks: a mark of a position, or of a task done only with it, shows it was filled;
    a mark of a task done only without it shows it was empty. A task shown not to exist passes its predecessors
    through; an unmarked task that may exist leaves what follows unknown.
    """
    filled, empty = seats_shown(choreography, marks)
    finish: dict[str, float | None] = {}
    own: dict[str, float | None] = {}
    for task in choreography.tasks:
        start = _latest([finish[earlier] for earlier in task.after])
        mark = marks.get(task.id)
        if mark is None:
            gone = task.position in empty or task.only_with in empty or task.only_without in filled
            finish[task.id] = start if gone else None
        elif mark[0] == "finish_s":
            own[task.id] = None if start is None else mark[1] - start
            finish[task.id] = mark[1]
        else:
            own[task.id] = mark[1]
            finish[task.id] = None if start is None else start + mark[1]
    return own


def seats_shown(choreography: Choreography, done: Collection[str]) -> tuple[set[str], set[str]]:
    """Positions whose seats are shown to be filled, and to be empty, by tasks known to have been done."""
    known = [task for task in choreography.tasks if task.id in done]
    filled = {p for task in known for p in (task.position, task.only_with) if p is not None}
    empty = {task.only_without for task in known if task.only_without is not None}
    return filled, empty - filled


def _latest(finishes: Sequence[float | None]) -> float | None:
    """Latest finish, 0 when there is none to wait for, None when one of them is unknown."""
    known = [finish for finish in finishes if finish is not None]
    if len(known) < len(finishes):
        return None
    return max(known, default=0.0)
