"""Adds a filled-in grading sheet to the files of a season folder."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from lineup.errors import InputError, Problem
from lineup.grading_sheet.read import GRADE_CELLS, TOTAL_CELLS, read_grading_sheet
from lineup.read import read_season
from lineup.read.cells import guarded
from lineup.read.folder import is_season_file
from lineup.safe_files import finish_step, one_writer, replace_together, step_waits


@dataclass(frozen=True, slots=True)
class Added:
    """How many rows were added to graded_stops.csv and stops.csv, and what is odd in them."""

    grades: int
    stops: int
    warnings: tuple[Problem, ...] = ()


def add_grades(folder: Path | str, sheet: Path | str) -> Added:
    """Append what a filled-in sheet says to graded_stops.csv and stops.csv; all of it or nothing, and once.

    A run that was interrupted is finished by the next one, and a season whose step waits for that is not read.

    Raises
    ------
    SeasonError
        When the season or the sheet is broken; nothing is written then.
    InputError
        When the season is not a folder, or its files cannot be written.
    """
    folder, sheet = Path(folder), Path(sheet)
    if folder.is_file():
        raise InputError(f"{folder}: grades can be added to a season folder only, not to a workbook")
    if not folder.is_dir():
        raise InputError(f"{folder}: there is no such season folder")
    try:
        with one_writer(folder):
            return _add(folder, sheet)
    except OSError as error:
        then = "run this again, it goes on from there" if step_waits(folder) else "nothing was added"
        raise InputError(f"{folder}: cannot be written ({error.strerror or error}); {then}") from None


def _add(folder: Path, sheet: Path) -> Added:
    mark = hashlib.sha256(sheet.read_bytes()).hexdigest() if sheet.is_file() else ""
    told = finish_step(folder, is_season_file)
    if isinstance(told, dict) and told.get("sheet") == mark:  # an interrupted run with this very sheet
        return Added(int(told["grades"]), int(told["stops"]))
    season, _ = read_season(folder)
    read = read_grading_sheet(sheet, season)
    # totals and spoilers first: grades of a spoiled stop never stand there without them
    rows = {"stops.csv": (TOTAL_CELLS, read.stops), "graded_stops.csv": (GRADE_CELLS, read.grades)}
    files = {name: appended(folder / name, *given).encode() for name, given in rows.items() if given[1]}
    added = Added(len(read.grades), len(read.stops), read.warnings)
    replace_together(folder, files, {"sheet": mark, "grades": added.grades, "stops": added.stops})
    return added


def appended(path: Path, columns: Sequence[str], rows: Sequence[Mapping[str, str]]) -> str:
    """Return the text of a CSV file with rows added; columns it lacks are added where a row needs them."""
    text = path.read_bytes().decode("utf-8-sig") if path.exists() else ",".join(columns) + "\n"
    lines = list(csv.reader(io.StringIO(text, newline="")))
    header = [name.strip() for name in lines[0]]
    more = [name for name in columns if name not in header and any(row[name] for row in rows)]
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\r\n" if "\r\n" in text else "\n")
    width = len(header)
    writer.writerow(header + more)
    writer.writerows((line + [""] * width)[:width] + [""] * len(more) if line else line for line in lines[1:])
    writer.writerows([_cell(name, row.get(name, "")) for name in header + more] for row in rows)
    return out.getvalue()


def _cell(column: str, text: str) -> str:
    return guarded(text) if column == "spoilers" else text  # the one column that holds any text
