"""Turns graded_stops.csv into the table of own times: matched to tasks and stops, finish marks taken apart."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from itertools import groupby
from operator import itemgetter
from typing import Any, Final

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from lineup.choreography import Mark, own_times
from lineup.read.big import Frame, check_frame_refs, flagged, read_frame, typed, warn_of_far_out
from lineup.read.notes import Notes, nearest
from lineup.read.rows import GradeRow
from lineup.read.source import Source
from lineup.read.tables import Known
from lineup.season import GRADE_COLUMNS, Choreography, Miss, Task

SAME_IN_STOP: Final = ("date", "setting", "service", "tire", "race", "car")
Bools = NDArray[np.bool_]


def read_grades(
    source: Source,
    known: Known,
    choreographies: Mapping[str, Choreography],
    misses: Mapping[str, Miss],
    stops: pd.DataFrame,
    notes: Notes,
) -> pd.DataFrame:
    """Read graded_stops.csv into the columns `GRADE_COLUMNS`; finish marks become own times."""
    table = source.tables.get("graded_stops")
    frame = None if table is None else read_frame(table, GradeRow, notes)
    if frame is None:
        return typed(pd.DataFrame(columns=list(GRADE_COLUMNS)), GRADE_COLUMNS)
    check_frame_refs(frame, GradeRow, known, notes)
    grades = _Grades(frame, choreographies, misses, notes)
    grades.match_tasks()
    grades.match_stops(stops)
    grades.turn_finish_marks()
    grades.check_times()
    grades.warn()
    return grades.finished(stops)


class _Grades:
    """The graded rows while they are checked; what depends on a cell with a fault is not looked at."""

    def __init__(
        self, frame: Frame, choreographies: Mapping[str, Choreography], misses: Mapping[str, Miss], notes: Notes
    ) -> None:
        self.frame, self.cells, self.notes = frame, frame.cells, notes
        self.choreographies, self.misses = choreographies, misses
        for column in ("seconds", "finish_s"):
            self.cells[column] = self.cells[column].astype(float)
        tasks = {(c.service, task.id): task for c in choreographies.values() for task in c.tasks}
        keys = zip(self.cells["service"], self.cells["task"], strict=True)
        self.tasks: list[Task | None] = [tasks.get(key) for key in keys]
        self.early = np.array([task is not None and task.early for task in self.tasks], dtype=bool)

    def flag(self, mask: Any, column: str, message: str, mend: str, *needs: str, show: str | None = None) -> None:
        """Note rows as wrong, unless a column this rests on already is."""
        flagged(self.frame, np.asarray(mask, dtype=bool), column, message, mend, (column, *needs), self.notes, show)

    def match_tasks(self) -> None:
        """Every grade belongs to a task of its service, and to the position that does it."""
        cells, faults = self.cells, self.frame.faults
        faults["service"] |= ~cells["service"].isin(list(self.choreographies)).to_numpy()  # noted elsewhere
        found = np.array([task is not None for task in self.tasks], dtype=bool)
        lost = ~found & ~faults["service"] & ~faults["task"]
        faults["task"] |= lost
        for row, task, service in cells.loc[lost, ["row", "task", "service"]].itertuples(index=False):
            message = f"no task of service {service} has this id"
            self.notes.problem(self.frame.file, row, "task", task, message, partial(self._nearest, task, service))
        doer = np.array([None if task is None else task.position for task in self.tasks], dtype=object)
        position, athlete = cells["position"].to_numpy(dtype=object), cells["athlete"].to_numpy(dtype=object)
        by_car, named, placed = found & pd.isna(doer), pd.notna(athlete), pd.notna(position)
        by_crew = found & ~by_car
        mend = "Leave athlete and position empty."
        self.flag(by_car & named, "athlete", "is named, but the car and its driver do this task", mend, "task")
        self.flag(by_car & placed, "position", "is named, but the car and its driver do this task", mend, "task")
        odd = "is empty, but a position does this task"
        self.flag(by_crew & ~named, "athlete", odd, "Name the athlete.", "task", show="task")
        self.flag(by_crew & ~placed, "position", odd, "Name the position.", "task", show="task")
        odd = "does not do this task in this service"
        differs = by_crew & placed & np.not_equal(position, doer)
        self.flag(differs, "position", odd, "Correct the position or the task.", "task")

    def _nearest(self, task: str, service: str) -> str:
        return nearest(task, [other.id for other in self.choreographies[service].tasks], "Correct it.")

    def match_stops(self, stops: pd.DataFrame) -> None:
        """Rows of one stop agree with each other and with stops.csv, and grade a task once."""
        cells = self.cells
        inside = cells["stop"].notna().to_numpy()
        self.flag(
            inside & cells.duplicated(["stop", "task"]), "task", "is graded twice in this stop", "Keep one.", "stop"
        )
        rows = cells[inside]
        told = stops.assign(date=stops["date"].dt.date).set_index("stop")[list(SAME_IN_STOP)]
        first = rows.drop_duplicates("stop").set_index("stop")[list(SAME_IN_STOP)]
        agreed = pd.concat([told, first[~first.index.isin(told.index)]]).astype(object)
        for column in SAME_IN_STOP:
            said, own = rows["stop"].map(agreed[column]), rows[column]
            differs = said.notna() & (said != "") & own.notna() & (said != own)
            mask = cells.index.isin(rows.index[differs])
            self.flag(mask, column, "differs from the rest of this stop", "Correct it, or the stop.", "stop")

    def turn_finish_marks(self) -> None:
        """Own time = finish mark less the latest finish of what the task waits for, in the same stop."""
        cells = self.cells
        seconds, marked = cells["seconds"].notna().to_numpy(), cells["finish_s"].notna().to_numpy()
        self.flag(seconds & marked, "finish_s", "is given as well as seconds", "Keep one of them.")
        odd = "is empty, and so is finish_s"
        self.flag(~seconds & ~marked, "seconds", odd, "Give one of them.", "finish_s", show="task")
        kept = cells[~self.frame.bad]
        stop = kept["stop"].where(kept["stop"].notna(), kept["row"].astype(str) + " alone")
        in_marked = kept.assign(stop=stop)[stop.isin(stop[kept["finish_s"].notna()])].sort_values("stop", kind="stable")
        columns = (in_marked[name].tolist() for name in ("stop", "service", "task", "seconds", "finish_s"))
        rows = list(zip(in_marked.index, *columns, strict=True))
        own: dict[int, float | None] = {}
        for _, group in groupby(rows, key=itemgetter(1)):
            stop_rows = list(group)
            marks: dict[str, Mark] = {
                task: ("seconds", plain) if plain == plain else ("finish_s", finish)  # NaN differs from itself
                for _, _, _, task, plain, finish in stop_rows
            }
            times = own_times(self.choreographies[stop_rows[0][2]], marks)
            own |= {i: times[task] for i, _, _, task, _, _ in stop_rows}
        cells.loc[list(own), "seconds"] = np.array(list(own.values()), dtype=float)
        for i in (i for i, time in own.items() if time is None):
            odd = "says nothing about the own time: what the task waits for has no mark in this stop"
            row, mark = int(cells["row"][i]), cells["finish_s"][i]
            self.notes.warning(self.frame.file, row, "finish_s", mark, odd, "Mark that as well, or give seconds.")

    def check_times(self) -> None:
        """Own times are above zero, with and without what the misses cost; early tasks may begin before the stop."""
        cells = self.cells
        seconds = cells["seconds"].to_numpy(dtype=float)
        from_mark = cells["finish_s"].notna().to_numpy()
        nothing = ~self.early & (seconds <= 0)
        mend = "Correct it; only a task with early = true can be at or below 0."
        self.flag(nothing & ~from_mark, "seconds", "is not above 0", mend, "task", "service")
        odd = "is not later than what the task waits for"
        self.flag(nothing & from_mark, "finish_s", odd, "Correct this mark, or those before it.", "task")
        losses = {key: sum(self.misses[m].loss_s for m in key if m in self.misses) for key in set(cells["misses"])}
        lost = np.array([losses[key] for key in cells["misses"]], dtype=float)
        swallowed = ~self.early & (lost > 0) & (seconds > 0) & (seconds - lost <= 0)
        odd = "is all taken up by the loss of its misses"
        mend = "Correct the time, the misses, or loss_s in misses.csv."
        column = np.where(from_mark, "finish_s", "seconds")
        for name in ("seconds", "finish_s"):
            self.flag(swallowed & (column == name), name, odd, mend, "task", "service", "misses")

    def warn(self) -> None:
        """Note what is odd but possible."""
        good = ~self.frame.bad
        late = self.cells[good & ~self.early]
        splits = pd.Series([t and f"{t.position} {t.split}" for t in self.tasks], dtype=object)[late.index]
        warn_of_far_out(self.frame.file, late, "seconds", splits, "the median of its split", self.notes)
        rows, given = self.cells["row"], self.cells["misses"]
        for i in np.flatnonzero(good & (given.str.len() > 0).to_numpy(dtype=bool)):
            task = self.tasks[i]
            for miss in dict.fromkeys(given[i]):
                if task is not None and miss not in task.misses:
                    odd = "is not among the misses of this task, so no stop will be predicted with it"
                    mend = "Add it to the task's misses."
                    self.notes.warning(self.frame.file, int(rows[i]), "misses", miss, odd, mend)
        crews = self.cells[good & self.cells["stop"].notna() & self.cells["athlete"].notna()]
        crews = crews.drop_duplicates(["stop", "position", "athlete"])
        for column, other in (("position", "athlete"), ("athlete", "position")):
            again = crews[crews.duplicated(["stop", column])]
            for row, value in zip(again["row"], again[column], strict=True):
                odd = f"has another {other} in an earlier row of this stop"
                self.notes.warning(self.frame.file, int(row), column, value, odd, "Check who did what.")

    def finished(self, stops: pd.DataFrame) -> pd.DataFrame:
        """Return the sound rows, with the spoilers of their stops."""
        spoilers = dict(zip(stops["stop"], stops["spoilers"], strict=True))
        good = self.cells[~self.frame.bad].copy()
        good["spoilers"] = pd.Series([spoilers.get(stop, ()) for stop in good["stop"]], index=good.index, dtype=object)
        return typed(good, GRADE_COLUMNS)
