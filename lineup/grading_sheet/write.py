"""Writes a blank grading sheet."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any, Final

import xlsxwriter

from lineup.errors import InputError
from lineup.grading_sheet.layout import CAR, LINE_CELLS, MISS, STOP_CELLS, Marks, columns, lines, misses_of, tasks_of
from lineup.safe_files import write_whole
from lineup.season import Choreography, Season
from lineup.suggest import did_you_mean

MOST_STOPS: Final = 2000
HOW_TO: Final = (
    "One line for each stop and position. Fill in what you saw, leave blank what you did not.",
    "date, setting, tire, race, car, spoilers and total_s belong to the whole stop: give them on one of its lines.",
    "seconds: the athlete's own time for the task, waiting for others left out.",
    "finish_s: when the task was done, counted from the moment the car stopped.",
    "A shaded cell is a task or a miss of another position.",
    "A tally of misses is a number. Where a position has several such tasks, name them: left: 1; right: 2",
    "spoilers: why the stop says little about an athlete, separated by ; (car off its marks; damage).",
)


def write_grading_sheet(
    season: Season, path: Path | str, service: str | None = None, stops: int = 20, marks: Marks = "seconds"
) -> None:
    """Write a blank sheet for every service, or for one.

    Parameters
    ----------
    stops : blank stops per service.
    marks : whether tasks are graded by own time ("seconds") or by when they were done ("finish_s").

    Raises
    ------
    InputError
        When the service is unknown, the number of stops cannot be used, or the file cannot be written.
    """
    if service is not None and service not in season.choreographies:
        raise InputError(f"service {service!r} has no choreography{did_you_mean(service, season.choreographies)}")
    if not 1 <= stops <= MOST_STOPS:
        raise InputError(f"a grading sheet holds 1 to {MOST_STOPS} stops, not {stops}")
    chosen = season.choreographies.values() if service is None else (season.choreographies[service],)
    out = io.BytesIO()
    with xlsxwriter.Workbook(out, {"in_memory": True}) as book:
        _write_notes(book)
        ranges = _write_lists(book, season)
        first = _first_free_number(season)
        for place, choreography in enumerate(chosen):
            _Sheet(book, season, choreography, marks, ranges).write(first + place * stops, stops)
    try:
        write_whole(Path(path), out.getvalue())
    except OSError as error:
        raise InputError(f"{path}: cannot be written ({error.strerror or error})") from None


def _write_notes(book: Any) -> None:
    sheet = book.add_worksheet("how to")
    sheet.set_column(0, 0, 110)
    for row, line in enumerate(HOW_TO):
        sheet.write_string(row, 0, line)


def _write_lists(book: Any, season: Season) -> dict[str, str]:
    """Write what may be chosen on a sheet of its own; the range of each column."""
    tires = dict.fromkeys([race.tire for race in season.races.values()]) | dict.fromkeys(season.grades["tire"].unique())
    lists = {
        "setting": ["race", "practice", "tryout"],
        "tire": list(tires),
        "race": list(season.races),
        "car": list(season.cars),
        "athlete": list(season.athletes),
    }
    sheet = book.add_worksheet("lists")
    ranges = {}
    for place, (name, values) in enumerate(lists.items()):
        sheet.write_column(0, place, [name, *values])
        if values:
            letter = chr(ord("A") + place)
            ranges[name] = f"=lists!${letter}$2:${letter}${len(values) + 1}"
    return ranges


def _first_free_number(season: Season) -> int:
    """Return the first number n from which no stop is called s-n yet."""
    used = {*season.stops["stop"].unique(), *season.grades["stop"].unique()}
    numbers = (stop[2:] for stop in used if stop.startswith("s-"))
    return max((int(number) for number in numbers if number.isdecimal()), default=0) + 1


class _Sheet:
    """The sheet of one service."""

    def __init__(
        self, book: Any, season: Season, choreography: Choreography, marks: Marks, ranges: dict[str, str]
    ) -> None:
        self.season, self.choreography, self.marks, self.ranges = season, choreography, marks, ranges
        self.columns = columns(choreography, marks)
        self.sheet = book.add_worksheet(_sheet_name(book, choreography.service))
        edge = {"border": 1, "border_color": "#999999"}
        self.head = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 2})
        self.open = book.add_format(edge)
        self.fixed = book.add_format({**edge, "bold": True})
        self.shaded = book.add_format({**edge, "pattern": 16, "fg_color": "#999999"})
        self.day = book.add_format({**edge, "num_format": "yyyy-mm-dd"})

    def write(self, first: int, stops: int) -> None:
        """Write the header and the blank lines of so many stops, numbered from `first`."""
        sheet = self.sheet
        sheet.set_column(0, len(self.columns) - 1, 11)
        sheet.freeze_panes(1, len(LINE_CELLS))
        for place, column in enumerate(self.columns):
            sheet.write_string(0, place, column, self.head)
        self._write_comments()
        row = 0
        for number in range(first, first + stops):
            for line in lines(self.choreography):
                row += 1
                self._write_line(row, f"s-{number}", line)
        self._validate(row)

    def _write_comments(self) -> None:
        """Put the full names of tasks and misses behind their columns."""
        for task in self.choreography.tasks:
            doer = "Car and driver" if task.position is None else self.season.label("positions", task.position)
            self.sheet.write_comment(0, self.columns.index(f"{task.id} {self.marks}"), f"{doer}: {task.name}")
        for miss in misses_of(self.choreography):
            self.sheet.write_comment(0, self.columns.index(f"{MISS}{miss}"), self.season.label("misses", miss))

    def _write_line(self, row: int, stop: str, line: str) -> None:
        given = {"service": self.choreography.service, "stop": stop, "position": line}
        own = tasks_of(self.choreography, line)
        usable = {f"{task.id} {self.marks}" for task in own}
        usable |= {f"{MISS}{miss}" for task in own for miss in task.misses}
        for place, column in enumerate(self.columns):
            if column in given:
                self.sheet.write_string(row, place, given[column], self.fixed)
            elif column == "date":
                self.sheet.write_blank(row, place, None, self.day)
            else:
                graded = column.endswith(f" {self.marks}") or column.startswith(MISS)
                barred = (graded and column not in usable) or (column == "athlete" and line == CAR)
                self.sheet.write_blank(row, place, None, self.shaded if barred else self.open)

    def _validate(self, last_row: int) -> None:
        """Offer what may be chosen; anything else is let pass, and reported when the sheet is read."""
        for column, cells in self.ranges.items():
            place = self.columns.index(column)
            rule = {"validate": "list", "source": cells, "error_type": "warning" if column in STOP_CELLS else "stop"}
            self.sheet.data_validation(1, place, last_row, place, rule)


def _sheet_name(book: Any, service: str) -> str:
    """Return a sheet name of at most 31 characters that is not taken."""
    taken = {sheet.get_name() for sheet in book.worksheets()}
    names = (service[:31], *(f"{service[:27]}-{number}" for number in range(2, 1000)))
    return next(name for name in names if name not in taken)
