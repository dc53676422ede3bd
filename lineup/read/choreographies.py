"""Turns raw choreographies into checked activity networks."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, StrictBool, ValidationError

from lineup.choreography import exists, order_tasks
from lineup.errors import InputError
from lineup.read.cells import PositionId, Ref, Seconds, Slug, Slugs, Text
from lineup.read.notes import Mend, Notes, nearest
from lineup.read.source import RawChoreography, RawTask, Source
from lineup.read.tables import Known, explain, ids_in, refs_of, unknown
from lineup.season import Choreography, Task


class _Keys(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class ChoreographyKeys(_Keys):
    """Keys of a choreography beside its tasks."""

    name: Text


class TaskKeys(_Keys):
    """Keys of one task."""

    id: Slug
    name: Text | None = None
    position: PositionId | None = None
    car: StrictBool = False
    after: Slugs = ()
    split: Slug | None = None
    seconds: Seconds
    misses: Annotated[Slugs, Ref("misses")] = ()
    load: StrictBool = False
    early: StrictBool = False
    only_with: PositionId | None = None
    only_without: PositionId | None = None
    release: StrictBool = False

    def task(self) -> Task:
        """Return the fact this states."""
        given = self.model_dump(exclude={"car", "name", "split"})
        return Task(**given, name=self.name or self.id, split=self.split or self.id)


class _Place:
    """Where the problems of one task are noted."""

    def __init__(self, file: str, raw: RawTask, number: int, notes: Notes) -> None:
        self._file, self._row, self._notes = file, raw.row, notes
        self._label = "" if raw.row is not None else f"task {raw.data.get('id', number)}: "

    def problem(self, key: str, value: object, message: str, mend: Mend) -> None:
        self._notes.problem(self._file, self._row, f"{self._label}{key}", value, message, mend)


def read_choreographies(
    source: Source, known: Known, if_possible: frozenset[str] | None, notes: Notes
) -> dict[str, Choreography]:
    """Read every choreography; one with a problem is noted and left out.

    Parameters
    ----------
    if_possible : positions that may stay empty; None where positions.csv cannot be used.
    """
    found = {}
    scales: dict[str, tuple[bool, str]] = {}
    for service, raw in source.choreographies.items():
        if raw is None:
            continue
        reader = _Reader(service, raw, known, if_possible, notes)
        choreography = reader.read(scales)
        if choreography is not None:
            found[service] = choreography
    return found


class _Reader:
    """Reads one choreography."""

    def __init__(
        self, service: str, raw: RawChoreography, known: Known, if_possible: frozenset[str] | None, notes: Notes
    ) -> None:
        self.service, self.raw, self.known, self.if_possible, self.notes = service, raw, known, if_possible, notes
        self.places = [_Place(raw.file, task, i + 1, notes) for i, task in enumerate(raw.tasks)]
        self.sound = True

    def read(self, scales: dict[str, tuple[bool, str]]) -> Choreography | None:
        """Return the choreography, or None when something is wrong with it."""
        name = self._keys(ChoreographyKeys, self.raw.data, None)
        read = [self._keys(TaskKeys, raw.data, place) for raw, place in zip(self.raw.tasks, self.places, strict=True)]
        for keys, place in zip(read, self.places, strict=True):
            if isinstance(keys, TaskKeys):
                self._check_task(keys, place, scales)
        self._check_ids()
        if not self.sound or name is None:
            return None
        tasks = [keys.task() for keys in read if isinstance(keys, TaskKeys)]
        try:
            ordered = order_tasks(tasks)
        except InputError as error:
            self._wrong(str(error), "Take one of these `after` entries out.")
            return None
        self._check_chains(ordered)
        self._check_release(ordered)
        return Choreography(self.service, name.name, ordered) if self.sound else None

    def _wrong(self, message: str, mend: str) -> None:
        self.sound = False
        shown = None if self.service in self.raw.file else self.service
        self.notes.problem(self.raw.file, None, None, shown, message, mend)

    def _keys(self, model: type[Any], data: dict[str, Any], place: _Place | None) -> Any:
        try:
            return model.model_validate(data)
        except ValidationError as error:
            self.sound = False
            for detail in error.errors(include_url=False):
                key = str(detail["loc"][0])
                message, mend = explain(detail)
                if detail["type"] == "extra_forbidden":
                    mend = nearest(key, [k for k in model.model_fields if k not in data], mend)
                if detail["type"] == "missing":
                    message, mend = "this key is missing", "Add it."
                value = data.get(key)
                if place is None:
                    self.notes.problem(self.raw.file, None, key, value, message, mend)
                else:
                    place.problem(key, value, message, mend)
        return None

    def _check_task(self, keys: TaskKeys, place: _Place, scales: dict[str, tuple[bool, str]]) -> None:
        for key, value, message, mend in self._task_faults(keys, scales):
            self.sound = False
            place.problem(key, value, message, mend)

    def _task_faults(
        self, keys: TaskKeys, scales: dict[str, tuple[bool, str]]
    ) -> Iterator[tuple[str, object, str, Mend]]:
        """Tell what is wrong with one task by itself, or with the names it uses."""
        if keys.car == (keys.position is not None):
            odd = "is done by a position as well as by the car" if keys.car else "is done by nobody"
            yield "position", keys.position, odd, "Give position, or car = true, not both."
        if keys.seconds <= 0 and not keys.early:
            yield "seconds", keys.seconds, "is not above 0", "Only a task with early = true can begin before the stop."
        for name, column, ref in refs_of(TaskKeys):
            ids = self.known[ref.table]
            for one in ids_in(getattr(keys, name)):
                if ids is not None and one not in ids:
                    yield column, one, *unknown(one, ref, ids)
                elif name.startswith("only") and self.if_possible is not None and one not in self.if_possible:
                    yield column, one, "is a position that is always filled", "Set it to if_possible, or drop the key."
        if keys.only_without is not None and keys.only_without in (keys.position, keys.only_with):
            yield "only_without", keys.only_without, "makes a task that is never done", "Name another position."
        others = [str(raw.data.get("id")) for raw in self.raw.tasks]
        for one in keys.after:
            if one not in others:
                yield "after", one, "no task of this service has this id", nearest(one, others, "Add it.")
        split = keys.split or keys.id
        early, first = scales.setdefault(split, (keys.early, f"{keys.id} of {self.service}"))
        if early != keys.early:
            kinds = "with and without early"
            yield "split", split, f"is shared with task {first}, {kinds}", "Give one of them a split of its own."

    def _check_ids(self) -> None:
        seen: set[str] = set()
        for raw, place in zip(self.raw.tasks, self.places, strict=True):
            name = str(raw.data.get("id"))
            if name in seen and "id" in raw.data:
                self.sound = False
                place.problem("id", name, "is there twice", "Give every task an id of its own.")
            seen.add(name)

    def _check_chains(self, ordered: Sequence[Task]) -> None:
        """One athlete does one thing at a time: any two tasks of a position are in order, or never done together."""
        before = _before(ordered)
        for first, second in combinations(ordered, 2):
            same = first.position is not None and first.position == second.position
            if same and first.id not in before[second.id] and not _never_together(first, second):
                mend = f"Let {second.id} wait for {first.id}, or the other way round."
                self._wrong(f"{first.position} does {first.id} and {second.id} at the same time", mend)

    def _check_release(self, ordered: Sequence[Task]) -> None:
        """Check that some task lets the car go, whichever seats stay empty."""
        release = [task for task in ordered if task.release]
        if not release:
            self._wrong("no task lets the car go", "Set release = true on the tasks the car waits for.")
            return
        named = {p for t in release for p in (t.position, t.only_with, t.only_without) if p is not None}
        loose = sorted(named & (self.if_possible or frozenset()))
        if any(exists(task, frozenset(loose)) and exists(task, frozenset()) for task in release):
            return
        for size in range(len(loose) + 1):
            for empty in combinations(loose, size):
                if not any(exists(task, frozenset(empty)) for task in release):
                    mend = "Set release = true on a task that is done then, too."
                    self._wrong(f"with {' and '.join(empty)} empty, no task lets the car go", mend)
                    return


def _before(ordered: Sequence[Task]) -> dict[str, set[str]]:
    """Every task that is over when a task begins."""
    before: dict[str, set[str]] = {}
    for task in ordered:
        before[task.id] = set(task.after).union(*(before[earlier] for earlier in task.after))
    return before


def _never_together(first: Task, second: Task) -> bool:
    """Whether one is done only with a position, the other only without it."""
    with_first = {first.position, first.only_with} - {None}
    with_second = {second.position, second.only_with} - {None}
    return first.only_without in with_second or second.only_without in with_first
