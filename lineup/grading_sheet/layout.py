"""The columns of a grading sheet, shared by writing and reading."""

from __future__ import annotations

from typing import Final, Literal

from lineup.season import Choreography, Task

Marks = Literal["seconds", "finish_s"]

CAR: Final = "(car)"  # stands where a line grades what car and driver do
STOP_CELLS: Final = ("date", "setting", "tire", "race", "car")
LINE_CELLS: Final = ("service", "stop", *STOP_CELLS, "position", "athlete")
END_CELLS: Final = ("spoilers", "total_s")
MARKS: Final[tuple[Marks, ...]] = ("seconds", "finish_s")
MISS: Final = "miss "


def lines(choreography: Choreography) -> tuple[str, ...]:
    """Who has a line in every stop: the positions with a task, then car and driver if they have one."""
    doers = [task.position for task in choreography.tasks]
    places = tuple(place for place in choreography.positions if place in doers)
    return (*places, CAR) if None in doers else places


def tasks_of(choreography: Choreography, line: str) -> tuple[Task, ...]:
    """Tasks that a line grades."""
    return tuple(task for task in choreography.tasks if (task.position or CAR) == line)


def misses_of(choreography: Choreography) -> tuple[str, ...]:
    """Misses that some task lists, in order of first mention."""
    return tuple(dict.fromkeys(miss for task in choreography.tasks for miss in task.misses))


def columns(choreography: Choreography, marks: Marks) -> tuple[str, ...]:
    """Return every column of the sheet of one service."""
    tasks = (f"{task.id} {marks}" for task in choreography.tasks)
    misses = (f"{MISS}{miss}" for miss in misses_of(choreography))
    return (*LINE_CELLS, *tasks, *misses, *END_CELLS)
