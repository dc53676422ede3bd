"""Turns graded_stops.csv and stops.csv into the tables of own times and stop times."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final, Literal

import numpy as np
import pandas as pd

from lineup.choreography import own_times
from lineup.read.notes import Notes, nearest
from lineup.read.rows import GradeRow, StopRow
from lineup.read.source import Source
from lineup.read.tables import Known, check_frame_refs, read_frame
from lineup.season import GRADE_COLUMNS, STOP_COLUMNS, Choreography, Miss

FAR_OUT: Final = 10.0
SAME_IN_STOP: Final = ("date", "setting", "service", "tire", "race", "car")


def read_stops(source: Source, known: Known, notes: Notes) -> pd.DataFrame:
    """Read stops.csv into the columns `STOP_COLUMNS`."""
    table = source.tables.get("stops")
    frame = None if table is None else read_frame(table, StopRow, notes)
    if table is None or frame is None:
        return _typed(pd.DataFrame(columns=list(STOP_COLUMNS)), "total_s")
    check_frame_refs(table.file, frame, StopRow, known, notes)
    twice = frame["stop"].notna() & frame["stop"].duplicated()
    first = frame.drop_duplicates("stop").set_index("stop")["row"]
    for row, stop in _pairs(frame, twice, "stop"):
        notes.problem(table.file, row, "stop", stop, f"repeats row {first[stop]}", "Keep one.")
    good = frame[~frame["bad"].astype(bool) & ~twice]
    typical = good.groupby("service")["total_s"].transform("median").astype(float)
    _warn_far_out(table.file, good, "total_s", typical, "the median of its service", notes)
    return _typed(good, "total_s")


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
    if table is None or frame is None:
        return _typed(pd.DataFrame(columns=list(GRADE_COLUMNS)).assign(spoilers=None), "seconds")
    check_frame_refs(table.file, frame, GradeRow, known, notes)
    grades = _Grades(table.file, frame, notes)
    grades.match_tasks(choreographies)
    grades.match_stops(stops)
    grades.turn_finish_marks(choreographies)
    grades.check_times(misses)
    grades.warn(misses)
    spoilers = dict(zip(stops["stop"], stops["spoilers"], strict=True))
    good = grades.good
    good["spoilers"] = pd.Series([spoilers.get(stop, ()) for stop in good["stop"]], index=good.index, dtype=object)
    return _typed(good, "seconds")


class _Grades:
    """The graded rows while they are checked; a row in `bad` has been noted and takes no part in what follows."""

    def __init__(self, file: str, frame: pd.DataFrame, notes: Notes) -> None:
        self.file, self.frame, self.notes = file, frame, notes
        self.bad = frame["bad"].to_numpy(dtype=bool, copy=True)
        self.number("seconds")
        self.number("finish_s")
        self.early = np.zeros(len(frame), dtype=bool)
        self.listed = np.full(len(frame), None, dtype=object)
        self.split = np.full(len(frame), "", dtype=object)

    @property
    def good(self) -> pd.DataFrame:
        return self.frame[~self.bad].copy()

    def number(self, column: str) -> None:
        self.frame[column] = self.frame[column].astype(float)

    def flag(self, mask: Any, column: str | None, message: str, mend: str, show: str | None = None) -> None:
        """Note rows as wrong, once each."""
        wrong = np.asarray(mask, dtype=bool) & ~self.bad
        for row, value in _pairs(self.frame, wrong, show or column or "row"):
            self.notes.problem(self.file, row, column, value, message, mend)
        self.bad |= wrong

    def match_tasks(self, choreographies: Mapping[str, Choreography]) -> None:
        """Every grade belongs to a task of its service, and to the position that does it."""
        frame = self.frame
        tasks = {(c.service, task.id): task for c in choreographies.values() for task in c.tasks}
        keys = list(zip(frame["service"], frame["task"], strict=True))
        found = [tasks.get(key) for key in keys]
        self.bad |= ~frame["service"].isin(list(choreographies)).to_numpy()  # that service is noted elsewhere
        lost = np.array([task is None for task in found], dtype=bool) & ~self.bad
        for row, task, service in frame.loc[lost, ["row", "task", "service"]].itertuples(index=False):
            ids = [task.id for task in choreographies[service].tasks]
            message = f"no task of service {service} has this id"
            self.notes.problem(self.file, row, "task", task, message, nearest(task, ids, "Correct it."))
        self.bad |= lost
        done_by = np.array([None if task is None else task.position for task in found], dtype=object)
        position, athlete = frame["position"].to_numpy(dtype=object), frame["athlete"].to_numpy(dtype=object)
        by_car, named, placed = pd.isna(done_by), pd.notna(athlete), pd.notna(position)
        car_mend = "Leave athlete and position empty."
        self.flag(by_car & named, "athlete", "is named, but the car and its driver do this task", car_mend)
        self.flag(by_car & placed, "position", "is named, but the car does this task", car_mend)
        self.flag(~by_car & ~named, "athlete", "is empty, but a position does this task", "Name the athlete.", "task")
        self.flag(~by_car & ~placed, "position", "is empty", "Name the task's position.", "task")
        mend = "Correct the position or the task."
        self.flag(placed & np.not_equal(position, done_by), "position", "does not do this task in this service", mend)
        self.early = np.array([task is not None and task.early for task in found], dtype=bool)
        self.listed = np.array([() if task is None else frozenset(task.misses) for task in found] + [None], object)[:-1]
        self.split = np.array(["" if task is None else f"{task.position} {task.split}" for task in found], dtype=object)

    def match_stops(self, stops: pd.DataFrame) -> None:
        """Rows of one stop agree with each other and with stops.csv, and grade a task once."""
        frame = self.frame
        stop = frame["stop"]
        twice = stop.notna() & frame.duplicated(["stop", "task"]) & ~self.bad
        self.flag(twice, "task", "is graded twice in this stop", "Keep one.")
        inside = frame[stop.notna() & ~self.bad]
        told = stops.assign(date=stops["date"].dt.date).set_index("stop")[list(SAME_IN_STOP)]
        first = inside.drop_duplicates("stop").set_index("stop")[list(SAME_IN_STOP)]
        agreed = pd.concat([told, first[~first.index.isin(told.index)]]).astype(object)
        for column in SAME_IN_STOP:
            said, own = inside["stop"].map(agreed[column]), inside[column]
            known = said.notna() & (said != "") & own.notna()
            differs = frame.index.isin(inside.index[known & (said != own)])
            self.flag(differs, column, "differs from the rest of this stop", "Correct it, or the stop.")

    def turn_finish_marks(self, choreographies: Mapping[str, Choreography]) -> None:
        """Own time = finish mark less the latest finish of what the task waits for, in the same stop."""
        frame = self.frame
        seconds, marked = frame["seconds"].notna().to_numpy(), frame["finish_s"].notna().to_numpy()
        self.flag(seconds & marked, "finish_s", "is given as well as seconds", "Keep one of them.")
        self.flag(~seconds & ~marked, "seconds", "is empty, and so is finish_s", "Give one of them.", "task")
        kept = frame[~self.bad]
        alone = kept["stop"].where(kept["stop"].notna(), kept["row"].astype(str) + " alone")
        with_marks = set(alone[kept["finish_s"].notna()])
        own: dict[Any, float] = {}
        for _, rows in kept[alone.isin(with_marks)].groupby(alone, sort=False):
            marks: dict[str, tuple[Literal["seconds", "finish_s"], float]] = {}
            for task, plain, finish in zip(rows["task"], rows["seconds"], rows["finish_s"], strict=True):
                marks[task] = ("finish_s", finish) if plain != plain else ("seconds", plain)
            times = own_times(choreographies[rows["service"].iloc[0]], marks)
            own.update({i: _or_nan(times[task]) for i, task in rows["task"].items()})
        found = pd.Series(own, dtype=float)
        frame.loc[found.index, "seconds"] = found
        for row, mark in _pairs(frame, frame.index.isin(found[found.isna()].index), "finish_s"):
            odd = "says nothing about the own time: what the task waits for has no mark in this stop"
            self.notes.warning(self.file, row, "finish_s", mark, odd, "Mark that as well, or give seconds.")

    def check_times(self, misses: Mapping[str, Miss]) -> None:
        """Own times are above zero, with and without what the misses cost; early tasks may begin before the stop."""
        frame = self.frame
        seconds = frame["seconds"].to_numpy(dtype=float)
        mend = "Correct it; only a task with early = true can be at or below 0."
        from_mark = frame["finish_s"].notna().to_numpy()
        plain = ~self.early & (seconds <= 0)
        self.flag(plain & ~from_mark, "seconds", "is not above 0", mend)
        odd = "is not later than what the task waits for"
        self.flag(plain & from_mark, "finish_s", odd, "Correct this mark, or those before it.")
        losses = {key: sum(misses[m].loss_s for m in key if m in misses) for key in set(frame["misses"])}
        lost = np.array([losses[key] for key in frame["misses"]], dtype=float)
        swallowed = ~self.early & (lost > 0) & (seconds - lost <= 0)
        odd = "leaves nothing once the loss of its misses is taken away"
        self.flag(swallowed, "misses", odd, "Correct the time, the misses, or loss_s in misses.csv.", "seconds")

    def warn(self, misses: Mapping[str, Miss]) -> None:
        """Note what is odd but possible."""
        good = self.good
        late = self.frame[~self.bad & ~self.early]
        typical = late["seconds"].groupby(self.split[~self.bad & ~self.early]).transform("median").astype(float)
        _warn_far_out(self.file, late, "seconds", typical, "the median of its split", self.notes)
        for row, given, may in zip(good["row"], good["misses"], self.listed[~self.bad], strict=True):
            for miss in dict.fromkeys(given):
                if miss in misses and miss not in may:
                    odd = "is not among the misses of this task, so no stop will be predicted with it"
                    self.notes.warning(self.file, row, "misses", miss, odd, "Add it to the task's misses.")
        stops = good[good["stop"].notna() & good["athlete"].notna()]
        crews = stops.drop_duplicates(["stop", "position", "athlete"])
        for column, other in (("position", "athlete"), ("athlete", "position")):
            twice = crews.duplicated(["stop", column]).to_numpy()
            odd = f"has another {other} in an earlier row of this stop"
            for row, value in _pairs(crews, twice, column):
                self.notes.warning(self.file, row, column, value, odd, "Check who did what.")


def _warn_far_out(
    file: str, frame: pd.DataFrame, column: str, typical: pd.Series[float], what: str, notes: Notes
) -> None:
    """Note times ten times, or a tenth of, what is typical."""
    times = frame[column].astype(float)
    far = (times >= FAR_OUT * typical) | (times <= typical / FAR_OUT)
    for row, value, usual in zip(frame["row"][far], times[far], typical[far], strict=True):
        odd = f"is {'ten times' if value > usual else 'a tenth of'} {what}, {usual:.2f} s, or further out"
        notes.warning(file, int(row), column, value, odd, "Check the decimal point.")


def _pairs(frame: pd.DataFrame, mask: Any, column: str) -> list[tuple[int, Any]]:
    chosen = frame[np.asarray(mask, dtype=bool)]
    values = [value if value is not None else None for value in chosen[column]]
    return [(int(row), value) for row, value in zip(chosen["row"], values, strict=True)]


def _or_nan(value: float | None) -> float:
    return np.nan if value is None else value


def _typed(frame: pd.DataFrame, number: str) -> pd.DataFrame:
    """Bring a table to the columns and types that `Season` promises."""
    columns = GRADE_COLUMNS if number == "seconds" else STOP_COLUMNS
    typed: dict[str, Any] = {}
    for column in columns:
        cells = frame[column]
        if column == "row":
            typed[column] = cells.to_numpy(dtype="int64")
        elif column == "date":
            typed[column] = pd.to_datetime(cells).to_numpy(dtype="datetime64[s]")
        elif column == number:
            typed[column] = cells.to_numpy(dtype="float64")
        elif column in ("misses", "spoilers"):
            typed[column] = pd.Series(list(cells), dtype=object)
        else:
            typed[column] = pd.Series(["" if cell is None else cell for cell in cells], dtype="str")
    return pd.DataFrame(typed)
