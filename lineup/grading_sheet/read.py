"""Reads a filled-in grading sheet into rows of graded_stops.csv and stops.csv, checked against the season."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Final

from lineup.errors import Problem, Report, SeasonError
from lineup.grading_sheet.layout import CAR, END_CELLS, LINE_CELLS, MARKS, MISS, STOP_CELLS, misses_of, tasks_of
from lineup.read.graded import read_grades
from lineup.read.notes import Notes, nearest
from lineup.read.source import Source, Table, make_table
from lineup.read.stop_totals import read_stops
from lineup.read.tables import Known
from lineup.read.workbook import read_sheets
from lineup.season import Choreography, Season

GRADE_CELLS: Final = (
    "date", "setting", "service", "tire", "athlete", "position", "task", "seconds", "finish_s",
    "stop", "race", "car", "misses",
)  # fmt: skip
TOTAL_CELLS: Final = ("stop", "date", "setting", "service", "tire", "total_s", "race", "car", "spoilers")
OTHER_SHEETS: Final = ("how to", "lists")
MOST_MISSES: Final = 99
Line = tuple[int, dict[str, str]]  # row number, filled-in cells


@dataclass(frozen=True)
class GradingSheet:
    """What a filled-in sheet says: rows as graded_stops.csv and stops.csv hold them, and odd things in them."""

    grades: tuple[Mapping[str, str], ...]
    stops: tuple[Mapping[str, str], ...]
    warnings: tuple[Problem, ...] = ()


@dataclass(frozen=True)
class _Place:
    """The cell of a sheet that a row comes from, and the lines that give the facts of the whole stop."""

    sheet: str
    number: int
    column: str
    where: Mapping[str, int]


@dataclass
class _Rows:
    """Rows of one file while they are gathered, each with its place."""

    columns: tuple[str, ...]
    rows: list[dict[str, str]] = field(default_factory=list)
    places: list[_Place] = field(default_factory=list)

    def add(self, row: Mapping[str, str], place: _Place) -> None:
        self.rows.append({name: row.get(name, "") for name in self.columns})
        self.places.append(place)

    def table(self, name: str) -> Table:
        """Return these rows as a table whose numbers are their places."""
        cells = [list(row.values()) for row in self.rows]
        return Table(name, self.columns, cells, list(range(len(self.rows))))

    def at_place(self, problem: Problem) -> Problem:
        """Move a problem from a row of the file to the cell of the sheet."""
        if problem.row is None:
            return problem
        place = self.places[problem.row]
        column = problem.column or ""
        shown = place.column if column in ("seconds", "finish_s", "task") else column
        return replace(problem, file=place.sheet, row=place.where.get(column, place.number), column=shown)


def read_grading_sheet(path: Path | str, season: Season) -> GradingSheet:
    """Read a filled-in sheet.

    Raises
    ------
    SeasonError
        With a report of every problem, when anything in the sheet is wrong.
    """
    notes = Notes()
    grades, stops = _Rows(GRADE_CELLS), _Rows(TOTAL_CELLS)
    path = Path(path)
    sheets = _sheets(path, notes)
    for name, cells in sheets.items():
        if name not in OTHER_SHEETS:
            table = make_table(f"{path.name}, sheet {name}", cells, notes)
            if table is not None:
                _Reader(table, season, grades, stops, notes).read()
    if sheets and notes.clean and not grades.rows and not stops.rows:
        notes.problem(path.name, None, None, None, "holds no grades", "Fill in at least one time.")
    report = _check(grades, stops, season, notes)
    if report.problems:
        raise SeasonError(report)
    return GradingSheet(tuple(grades.rows), tuple(stops.rows), report.warnings)


def _sheets(path: Path, notes: Notes) -> dict[str, list[list[str]]]:
    if not path.is_file():
        notes.problem(str(path), None, None, None, "there is no such file", "Give the path of a filled-in sheet.")
        return {}
    return read_sheets(path, notes) or {}


def _check(grades: _Rows, stops: _Rows, season: Season, notes: Notes) -> Report:
    """Hold the rows against the season, with the same checks as the files they go to."""
    source = Source(tables={"graded_stops": grades.table("graded_stops"), "stops": stops.table("stops")})
    ids = {name: frozenset(getattr(season, name)) for name in ("athletes", "positions", "cars", "races", "misses")}
    known: Known = {**ids, "services": frozenset(season.choreographies)}
    of_stops, of_grades = Notes(), Notes()
    totals = read_stops(source, known, of_stops)
    read_grades(source, known, season.choreographies, season.misses, totals, of_grades)
    taken = {*season.stops["stop"].unique(), *season.grades["stop"].unique()}
    first = {row["stop"]: place for rows in (grades, stops) for row, place in zip(rows.rows, rows.places, strict=True)}
    for stop in first.keys() & taken:
        mend = "Was this sheet added before? If not, give the stop another id."
        notes.problem(first[stop].sheet, first[stop].number, "stop", stop, "is already in the season", mend)
    reports = (notes.report(), _moved(of_stops.report(), stops), _moved(of_grades.report(), grades))
    return Report(
        _in_order(problem for report in reports for problem in report.problems),
        _in_order(warning for report in reports for warning in report.warnings),
    )


def _in_order(problems: Iterable[Problem]) -> tuple[Problem, ...]:
    """Each once, by sheet and row."""
    return tuple(sorted(dict.fromkeys(problems), key=lambda problem: (problem.file, problem.row or 0)))


def _moved(report: Report, rows: _Rows) -> Report:
    return Report(tuple(map(rows.at_place, report.problems)), tuple(map(rows.at_place, report.warnings)))


class _Reader:
    """Reads the sheet of one service."""

    def __init__(self, table: Table, season: Season, grades: _Rows, stops: _Rows, notes: Notes) -> None:
        self.table, self.season, self.grades, self.stops, self.notes = table, season, grades, stops, notes

    def read(self) -> None:
        """Gather the rows of every stop that has anything filled in."""
        if not self._columns_fit():
            return
        for service, stop, lines in self._stops():
            choreography = self.season.choreographies.get(service)
            if not stop:
                mend = "Give every stop an id, so that its grades are never counted twice."
                self.notes.problem(self.table.file, lines[0][0], "stop", None, "is empty", mend)
            elif choreography is None:
                mend = nearest(service, self.season.choreographies, "Write a new grading sheet.")
                self.notes.problem(self.table.file, lines[0][0], "service", service, "is not a service", mend)
            else:
                self._read_stop(stop, lines, choreography)

    def _columns_fit(self) -> bool:
        """Note columns that are missing, or are no task, miss or fact of the services named."""
        file, header = self.table.file, self.table.header
        missing = [name for name in ("service", "stop", "position") if name not in header]
        for name in missing:
            self.notes.problem(file, 1, name, None, "this column is missing", "Write a new grading sheet.")
        known = {*LINE_CELLS, *END_CELLS}
        for service in {*self.table.column("service")} & {*self.season.choreographies}:
            choreography = self.season.choreographies[service]
            known |= {f"{task.id} {mark}" for task in choreography.tasks for mark in MARKS}
            known |= {f"{MISS}{miss}" for miss in misses_of(choreography)}
        strange = [name for name in header if name not in known]
        for name in strange:
            mend = nearest(name, sorted(known), "Leave it out.")
            self.notes.problem(file, 1, name, None, "is not a column of this sheet", mend)
        return not missing and not strange

    def _stops(self) -> Iterator[tuple[str, str, list[Line]]]:
        """Service, stop and lines, empty cells left out; stops where nothing is filled in are passed over."""
        stops: dict[tuple[str, str], list[Line]] = {}
        for number, cells in zip(self.table.numbers, self.table.rows, strict=True):
            line = {name: cell for name, cell in zip(self.table.header, cells, strict=True) if cell}
            stops.setdefault((line.get("service", ""), line.get("stop", "")), []).append((number, line))
        for (service, stop), lines in stops.items():
            if any(line.keys() - {"service", "stop", "position"} for _, line in lines):
                yield service, stop, lines

    def _read_stop(self, stop: str, lines: Sequence[Line], choreography: Choreography) -> None:
        facts = {"service": choreography.service, "stop": stop}
        where = dict.fromkeys((*STOP_CELLS, *END_CELLS), lines[0][0])
        for column in where:
            given = {line[column]: number for number, line in reversed(lines) if column in line}
            facts[column] = next(reversed(given), "").removesuffix("T00:00:00")
            where[column] = next(reversed(given.values()), lines[0][0])
            if len(given) > 1:
                value, number = next(iter(given.items()))
                odd = "differs from another line of this stop"
                self.notes.problem(self.table.file, number, column, value, odd, "Give it once for each stop.")
        if facts["spoilers"] and not facts["total_s"]:
            odd = "is given without total_s, and stops.csv needs that"
            place = (self.table.file, where["spoilers"], "spoilers", facts["spoilers"])
            self.notes.problem(*place, odd, "Give total_s as well.")
        if facts["total_s"]:
            self.stops.add(facts, _Place(self.table.file, where["total_s"], "total_s", where))
        for number, line in lines:
            self._read_line(number, line, facts, where, choreography)

    def _read_line(
        self,
        number: int,
        line: dict[str, str],
        facts: dict[str, str],
        where: Mapping[str, int],
        choreography: Choreography,
    ) -> None:
        place = line.get("position", "")
        tasks = tasks_of(choreography, place)
        own = {f"{task.id} {mark}": (task, mark) for task in tasks for mark in MARKS}
        who = {"position": "" if place == CAR else place, "athlete": line.get("athlete", "")}
        slips = self._slips(number, line, [(task.id, task.misses) for task in tasks])
        for column, cell in line.items():
            if column in own:
                task, mark = own[column]
                row = facts | who | {"task": task.id, mark: cell, "misses": ";".join(slips.pop(task.id, []))}
                self.grades.add(row, _Place(self.table.file, number, column, where))
            elif column.endswith(tuple(f" {mark}" for mark in MARKS)):
                odd = f"is a time for a task that {place or 'nobody'} does not do"
                self.notes.problem(
                    self.table.file, number, column, cell, odd, "Move it to the line of the right position."
                )
        for task_id in slips:
            odd = "has a miss but no time"
            self.notes.problem(self.table.file, number, f"{task_id} seconds", None, odd, "Give the time as well.")

    def _slips(
        self, number: int, line: Mapping[str, str], tasks: Sequence[tuple[str, tuple[str, ...]]]
    ) -> dict[str, list[str]]:
        """Misses of each task, from the tallies of one line."""
        slips: dict[str, list[str]] = {}
        for column, cell in line.items():
            if not column.startswith(MISS):
                continue
            miss = column.removeprefix(MISS)
            able = [task for task, listed in tasks if miss in listed]
            tally = _tally(cell, able)
            if tally is None:
                odd, mend = "is not a tally", "Write a number."
                if len(able) > 1:
                    odd, mend = "is not a tally by task", f"Write {able[0]}: 1; {able[1]}: 2."
                if not able:
                    odd, mend = "is a tally of a miss this position cannot make", "Move it to the right line."
                self.notes.problem(self.table.file, number, column, cell, odd, mend)
                continue
            for task, count in tally.items():
                slips.setdefault(task, []).extend([miss] * count)
        return {task: listed for task, listed in slips.items() if listed}


def _tally(cell: str, able: Sequence[str]) -> dict[str, int] | None:
    """Read `2`, or `left: 1; right: 2`; None where it is neither, or a plain number could mean several tasks."""
    tally: dict[str, int] = {}
    for part in cell.split(";"):
        task, _, count = part.rpartition(":")
        task, count = task.strip(), count.strip()
        if not task and count.strip("0") and len(able) != 1:
            return None
        task = task or (able[0] if able else "")
        if not count.isascii() or not count.isdecimal() or int(count) > MOST_MISSES or (task and task not in able):
            return None
        if task:
            tally[task] = tally.get(task, 0) + int(count)
    return tally
