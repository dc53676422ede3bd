"""Adds a filled-in grading sheet to the files of a season folder."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from lineup.errors import InputError, Problem
from lineup.grading_sheet.read import GRADE_CELLS, TOTAL_CELLS, read_grading_sheet
from lineup.read import read_season


@dataclass(frozen=True, slots=True)
class Added:
    """How many rows were added to graded_stops.csv and stops.csv, and what is odd in them."""

    grades: int
    stops: int
    warnings: tuple[Problem, ...] = ()


def add_grades(folder: Path | str, sheet: Path | str) -> Added:
    """Append what a filled-in sheet says to graded_stops.csv and stops.csv; all of it or nothing.

    Raises
    ------
    SeasonError
        When the season or the sheet is broken; nothing is written then.
    InputError
        When the season is not a folder, or its files cannot be written.
    """
    folder = Path(folder)
    if folder.is_file():
        raise InputError(f"{folder}: grades can be added to a season folder only, not to a workbook")
    season, _ = read_season(folder)
    read = read_grading_sheet(sheet, season)
    files = {folder / "graded_stops.csv": (GRADE_CELLS, read.grades), folder / "stops.csv": (TOTAL_CELLS, read.stops)}
    drafts: dict[Path, Path] = {}
    try:
        for path, (columns, rows) in files.items():
            if rows:
                draft = drafts[path] = path.with_name(f".{path.name}.draft")
                draft.write_text(appended(path, columns, rows), encoding="utf-8", newline="")
        for path, draft in drafts.items():
            draft.replace(path)
    except OSError as error:
        for draft in drafts.values():
            draft.unlink(missing_ok=True)
        raise InputError(f"{folder}: cannot be written ({error})") from None
    return Added(len(read.grades), len(read.stops), read.warnings)


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
    writer.writerows([row.get(name, "") for name in header + more] for row in rows)
    return out.getvalue()
