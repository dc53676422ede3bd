"""What must hold whatever is read: a season or a report, nothing else, and no figure or row other than was given.

Three witnesses: the report's own form; pandas, which reads the same CSV files without this package's reader; and the
round trip of what was read through `tests.builders`, which writes it out in its plainest form.
"""

from __future__ import annotations

import io
import shutil
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any, Literal

import pandas as pd

from lineup.errors import PlanFileError, SeasonError
from lineup.grading_sheet import add_grades
from lineup.plan_file import read_plan, write_plan
from lineup.read import read_season
from lineup.season import Season
from tests.builders import season_rows, write_season, write_workbook

Outcome = Literal["read", "refused"]
FACTS = (
    *("athletes", "positions", "sites", "cars", "races", "entries", "service_counts", "choreographies", "clearances"),
    *("misses", "absences", "pins", "standing", "worked", "journeys", "weights"),
)
KEYS = {  # what tells one row of a table from another
    "athletes": ["athlete"],
    "positions": ["position"],
    "sites": ["site"],
    "cars": ["car"],
    "races": ["race"],
    "misses": ["miss"],
    "stops": ["stop"],
    "entries": ["race", "car"],
    "services": ["race", "service"],
    "standing_crews": ["car", "position"],
    "worked": ["athlete", "race"],
}


def check_season(path: Path, room: Path) -> Outcome:
    """Read a season; what is read is written plainly into `room`, in the same form, and read again."""
    try:
        season, report = read_season(path)
    except SeasonError as error:
        assert error.report.problems
        for problem in (*error.report.problems, *error.report.warnings):
            check_problem(problem)
        return "refused"
    assert not report.problems
    for warning in report.warnings:
        check_problem(warning)
    if path.is_dir():
        check_against_pandas(path, season)
        shutil.rmtree(room / "again", ignore_errors=True)
        again, _ = read_season(write_season(season, room / "again"))
    else:
        again, _ = read_season(write_workbook(season, room / "again.xlsx"))
    found = differences(season, again)
    assert not found, found
    return "read"


def check_problem(problem: Any) -> None:
    """A problem says where, what and the mend, and its line shows no control character."""
    assert problem.file
    assert problem.message
    assert problem.mend[-1:] in ".?!…", problem.mend
    assert problem.row is None or problem.row >= 1
    shown = str(problem)
    assert shown.isprintable(), shown
    assert len(shown) < 1500, shown[:200]


def check_plan(path: Path, season: Season, room: Path) -> Outcome:
    """Read a plan file; what is read is written and read again."""
    try:
        plan = read_plan(path, season)
    except PlanFileError as error:
        assert len(str(error)) < 5000
        return "refused"
    written = room / "plan-again.json"
    write_plan(plan, written)
    assert read_plan(written, season) == plan
    return "read"


def check_grading_sheet(folder: Path, sheet: Path) -> Outcome:
    """Add a sheet to a season; the season is whole afterwards, with just so many rows more, or untouched."""
    names = ("graded_stops.csv", "stops.csv")
    before = {name: (folder / name).read_bytes() for name in names}
    rows = {name: len(given(folder / name)) for name in names}
    try:
        added = add_grades(folder, sheet)
    except SeasonError as error:
        for problem in error.report.problems:
            check_problem(problem)
        assert {name: (folder / name).read_bytes() for name in names} == before
        return "refused"
    read_season(folder)
    assert len(given(folder / "graded_stops.csv")) == rows["graded_stops.csv"] + added.grades
    assert len(given(folder / "stops.csv")) == rows["stops.csv"] + added.stops
    return "read"


def differences(one: Season, two: Season) -> list[str]:
    """Return the names of the parts in which two seasons differ; own times that are not known do not count."""
    found = [part for part in FACTS if getattr(one, part) != getattr(two, part)]
    if _limits(one) != _limits(two):
        found.append("limits")
    found += [part for part in ("grades", "stops") if _lines(getattr(one, part)) != _lines(getattr(two, part))]
    return found


def _limits(season: Season) -> Any:
    plain = {name: (x.at_most, x.at_least, x.days, x.price_s, x.driving) for name, x in season.limits.by_name.items()}
    return plain, season.limits.reserves_count, season.limits.journeys


def _lines(table: pd.DataFrame) -> list[str]:
    known = table[table["seconds"].notna()] if "seconds" in table else table
    figures = {name: known[name].map("{:.12g}".format) for name in ("seconds", "total_s") if name in known}
    return [str(line) for line in known.assign(**figures).drop(columns="row").itertuples(index=False)]


def given(path: Path) -> pd.DataFrame:
    """Read a CSV file as text with pandas, blank rows left out."""
    text = path.read_bytes().decode("utf-8-sig")
    width = len(pd.read_csv(io.StringIO(text), nrows=0, index_col=False).columns)
    options: dict[str, Any] = {"dtype": str, "keep_default_na": False, "index_col": False, "na_filter": False}
    table = pd.read_csv(io.StringIO(text), engine="python", on_bad_lines=lambda cells: cells[:width], **options)
    table = table.fillna("")
    table = table.map(str.strip).rename(columns=str.strip)
    return table[(table != "").any(axis=1)]


def check_against_pandas(folder: Path, season: Season) -> None:
    """Every row and figure that pandas finds in the CSV files is a fact of the season, and no other."""
    for name, rows in season_rows(season).items():
        path = folder / f"{name}.csv"
        if not path.exists():
            assert not rows, name
            continue
        table = given(path)
        if name in KEYS:
            table = table.sort_values(KEYS[name], kind="stable")
            rows = sorted(rows, key=lambda row: [str(row[key]) for key in KEYS[name]])
        if name == "graded_stops":
            known = season.grades["seconds"].notna().to_numpy()
            assert len(table) == len(known)
            table = table[known]
        if name == "journeys":
            table = table[table["from"] != table["to"]]
        assert len(table) == len(rows), name
        for line, row in zip(table.to_dict("records"), rows, strict=True):
            _check_row(name, line, row)


def _check_row(name: str, line: Mapping[Any, str], row: Mapping[str, Any]) -> None:
    for column, cell in line.items():
        if column in row and cell:
            assert _plain(cell) == _plain(row[column]), (name, column, cell, row[column])


def _plain(value: Any) -> Any:
    """Return a number, a moment or a list in one form, so that two writings of one thing are equal."""
    text = "" if value is None else " ".join(str(value).split())
    if ";" in text:
        return _parts(text.split(";"))
    try:
        return round(float(text), 6)
    except ValueError:
        pass
    try:
        return pd.Timestamp(text).isoformat() if text[:4].isdigit() and "-" in text else text
    except ValueError:
        return text


def _parts(parts: Iterable[str]) -> list[Any]:
    found = [_plain(part.strip()) for part in parts if part.strip()]
    return found[0] if len(found) == 1 else found
