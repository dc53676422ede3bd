"""The grading sheet: written blank, filled in as a coach would, read back, added to the season's files."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from lineup.errors import InputError, SeasonError
from lineup.grading_sheet import add_grades, read_grading_sheet, write_grading_sheet
from lineup.read import read_season
from lineup.season import Miss, Season, Task
from tests.builders import tiny_season, write_season

FULL = Path(__file__).parent / "data" / "full"
Cells = Mapping[tuple[str, str, str], Any]  # (stop, position, column) -> what the coach writes


@pytest.fixture
def full(tmp_path: Path) -> Path:
    return Path(shutil.copytree(FULL, tmp_path / "season"))


def filled(path: Path, service: str, cells: Cells) -> Path:
    """Fill in a blank sheet with openpyxl, a library independent of the one that wrote it."""
    book = openpyxl.load_workbook(path)
    sheet = book[service]
    header = {cell.value: cell.column for cell in sheet[1]}
    rows = {
        (row[header["stop"] - 1].value, row[header["position"] - 1].value): row[0].row for row in sheet.iter_rows(2)
    }
    for (stop, position, column), value in cells.items():
        sheet.cell(rows[stop, position], header[column]).value = value
    book.save(path)
    return path


def blank(season: Season, folder: Path, **options: Any) -> Path:
    path = folder / "grading.xlsx"
    write_grading_sheet(season, path, **options)
    return path


ONE_STOP: Cells = {
    ("s-1", "jack", "date"): date(2027, 4, 1),
    ("s-1", "jack", "setting"): "practice",
    ("s-1", "jack", "tire"): "soft",
    ("s-1", "jack", "athlete"): "bo-ray",
    ("s-1", "jack", "lift seconds"): 1.45,
    ("s-1", "changer", "athlete"): "ana-lind",
    ("s-1", "changer", "change seconds"): 6.2,
    ("s-1", "changer", "miss re-strike"): 2,
    ("s-1", "changer", "miss loose"): 0,
    ("s-1", "changer", "car"): "seven",
    ("s-1", "(car)", "flow seconds"): 5,
    ("s-1", "(car)", "spoilers"): "car off its marks; damage",
    ("s-1", "(car)", "total_s"): 11.3,
}


def test_sheet_has_a_line_per_stop_and_position_and_a_column_per_task_and_miss(tmp_path: Path) -> None:
    season, _ = read_season(FULL)
    book = openpyxl.load_workbook(blank(season, tmp_path, stops=2))
    assert book.sheetnames == ["how to", "lists", "four", "fuel-only"]
    rows = list(book["four"].values)
    assert rows[0] == (
        *("service", "stop", "date", "setting", "tire", "race", "car", "position", "athlete"),
        *("lift seconds", "change seconds", "plug seconds", "flow seconds", "ready seconds", "drop seconds"),
        *("check-fuel seconds", "miss re-strike", "miss loose", "spoilers", "total_s"),
    )
    places = ["jack", "changer", "fueler", "wall", "(car)"]
    assert [(row[0], row[1], row[7]) for row in rows[1:]] == [
        ("four", stop, place) for stop in ("s-1", "s-2") for place in places
    ]
    assert {cell for row in rows[1:] for i, cell in enumerate(row) if i not in (0, 1, 7)} == {None}


def test_filled_sheet_gives_graded_stops_and_stops(full: Path, tmp_path: Path) -> None:
    season, _ = read_season(full)
    sheet = read_grading_sheet(filled(blank(season, tmp_path, stops=3), "four", ONE_STOP), season)
    shared = {"date": "2027-04-01", "setting": "practice", "service": "four", "tire": "soft"}
    shared |= {"stop": "s-1", "race": "", "car": "seven"}
    grade = {"finish_s": "", "misses": ""}
    assert list(sheet.grades) == [
        shared | grade | {"athlete": "bo-ray", "position": "jack", "task": "lift", "seconds": "1.45"},
        shared
        | grade
        | {"athlete": "ana-lind", "position": "changer", "task": "change", "seconds": "6.2"}
        | {"misses": "re-strike;re-strike"},
        shared | grade | {"athlete": "", "position": "", "task": "flow", "seconds": "5"},
    ]
    assert list(sheet.stops) == [shared | {"total_s": "11.3", "spoilers": "car off its marks; damage"}]


def test_added_grades_are_in_the_season_and_the_rest_of_its_files_is_as_before(full: Path, tmp_path: Path) -> None:
    season, _ = read_season(full)
    sheet = filled(blank(season, tmp_path), "four", ONE_STOP)
    before = {path: path.read_bytes() for path in full.rglob("*") if path.is_file()}
    added = add_grades(full, sheet)
    assert (added.grades, added.stops) == (3, 1)
    after, _ = read_season(full)
    new = after.grades[after.grades["stop"] == "s-1"]
    assert list(new["task"]) == ["lift", "change", "flow"]
    assert set(new["spoilers"]) == {("car off its marks", "damage")}
    assert len(after.grades) == len(season.grades) + 3
    for path, data in before.items():
        assert path.read_bytes().startswith(data), "rows are only appended"


def test_the_same_sheet_is_not_added_twice(full: Path, tmp_path: Path) -> None:
    sheet = filled(blank(read_season(full)[0], tmp_path), "four", ONE_STOP)
    add_grades(full, sheet)
    with pytest.raises(SeasonError, match=r"sheet four, row \d, column stop: is already in the season \(found 's-1'\)"):
        add_grades(full, sheet)


def test_the_next_blank_sheet_goes_on_counting_stops(full: Path, tmp_path: Path) -> None:
    add_grades(full, filled(blank(read_season(full)[0], tmp_path), "four", ONE_STOP))
    rows = list(openpyxl.load_workbook(blank(read_season(full)[0], tmp_path, service="four", stops=1))["four"].values)
    assert {row[1] for row in rows[1:]} == {"s-2"}


def test_columns_a_file_lacks_are_added(tmp_path: Path) -> None:
    season = tiny_season(misses={"slip": Miss("slip", "Slip", 0.1)})
    season = season.replace(grades=season.grades.head(4))
    folder = write_season(season, tmp_path / "season")
    table = folder / "graded_stops.csv"
    rows = [line.split(",")[:8] for line in table.read_text(encoding="utf-8").splitlines()]
    table.write_text("\n".join(",".join(row) for row in rows), encoding="utf-8")  # the file ends without a new line
    cells = {
        ("s-1", "p1", "date"): "2026-04-05",
        ("s-1", "p1", "setting"): "practice",
        ("s-1", "p1", "tire"): "plain",
        ("s-1", "p1", "athlete"): "a1",
        ("s-1", "p1", "do-p1 finish_s"): 3.9,
        ("s-1", "p1", "total_s"): 4.4,
    }
    add_grades(folder, filled(blank(season, tmp_path, marks="finish_s"), "four", cells))
    lines = table.read_text(encoding="utf-8").splitlines()
    assert lines[0] == "date,setting,service,tire,athlete,position,task,seconds,finish_s,stop"
    assert lines[1].endswith(",,")
    assert lines[-1] == "2026-04-05,practice,four,plain,a1,p1,do-p1,,3.9,s-1"
    again, _ = read_season(folder)
    assert again.grades["seconds"].iloc[-1] == 3.9
    assert list(again.stops["total_s"]) == [4.4]


TWO_NUTS = (
    Task("left", "Left nut", "p1", (), "nut", 1.0, misses=("slip",)),
    Task("right", "Right nut", "p1", ("left",), "nut", 1.0, misses=("slip",), release=True),
)


@pytest.mark.parametrize(
    ("tally", "found"),
    [
        ("left: 1; right: 2", {"left": "slip", "right": "slip;slip"}),
        ("right:1", {"left": "", "right": "slip"}),
        (0, {"left": "", "right": ""}),
    ],
)
def test_a_tally_names_its_task_where_several_could_be_meant(tally: Any, found: dict[str, str], tmp_path: Path) -> None:
    season = tiny_season(positions=1, shape=TWO_NUTS, misses={"slip": Miss("slip", "Slip", 0.1)})
    cells = {
        **nut_stop(),
        ("s-1", "p1", "miss slip"): tally,
    }
    sheet = read_grading_sheet(filled(blank(season, tmp_path), "four", cells), season)
    assert {row["task"]: row["misses"] for row in sheet.grades} == found


def nut_stop() -> dict[tuple[str, str, str], Any]:
    stop = {"date": "2026-04-05", "setting": "practice", "tire": "plain", "athlete": "a1"}
    stop |= {"left seconds": "1.1", "right seconds": "1.2"}
    return {("s-1", "p1", column): value for column, value in stop.items()}


@pytest.mark.parametrize("tally", [2, "some", "left", "left: x", "middle: 1", "-1", "1.5", "left: 1000"])
def test_a_tally_that_cannot_be_read_is_refused(tally: Any, tmp_path: Path) -> None:
    season = tiny_season(positions=1, shape=TWO_NUTS, misses={"slip": Miss("slip", "Slip", 0.1)})
    path = filled(blank(season, tmp_path), "four", {**nut_stop(), ("s-1", "p1", "miss slip"): tally})
    wanted = r"sheet four, row 2, column miss slip: is not a tally by task .* Write left: 1; right: 2\."
    with pytest.raises(SeasonError, match=wanted):
        read_grading_sheet(path, season)


def test_every_problem_of_a_sheet_is_told_with_its_cell(full: Path, tmp_path: Path) -> None:
    season, _ = read_season(full)
    cells = {
        **ONE_STOP,
        ("s-1", "jack", "athlete"): "bo-rey",
        ("s-1", "jack", "date"): "1 April",
        ("s-1", "jack", "setting"): "practise",
        ("s-1", "changer", "setting"): "practice",
        ("s-1", "jack", "lift seconds"): "1,45",
        ("s-1", "jack", "plug seconds"): 1.2,
        ("s-1", "wall", "miss loose"): 1,
        ("s-1", "changer", "miss re-strike"): 12,
        ("s-2", "jack", "spoilers"): "damage",
        ("s-2", "jack", "tire"): "soft",
    }
    path = filled(blank(season, tmp_path, service="four"), "four", cells)
    with pytest.raises(SeasonError) as caught:
        read_grading_sheet(path, season)
    place = "error: grading.xlsx, sheet four, row "
    assert str(caught.value).splitlines() == [
        place + "2, column plug seconds: is a time for a task that jack does not do (found '1.2')."
        " Move it to the line of the right position.",
        place + "2, column date: is not a date (found '1 April'). Write year-month-day, such as 2027-03-14.",
        place + "2, column setting: is not one of race, practice, tryout (found 'practise'). Did you mean practice?",
        place + "2, column lift seconds: is not a number (found '1,45'). Write 1.45.",
        place + "2, column athlete: no athlete of athletes.csv has this id (found 'bo-rey'). Did you mean bo-ray?",
        place + "3, column setting: differs from another line of this stop (found 'practice')."
        " Give it once for each stop.",
        place + "3, column change seconds: is all taken up by the loss of its misses (found '6.2')."
        " Correct the time, the misses, or loss_s in misses.csv.",
        place + "5, column miss loose: is a tally of a miss this position cannot make (found '1')."
        " Move it to the right line.",
        place + "7, column spoilers: is given without total_s, and stops.csv needs that (found 'damage')."
        " Give total_s as well.",
    ]


@pytest.mark.parametrize(
    ("change", "wanted"),
    [
        (lambda sheet: sheet.delete_cols(2), "row 1, column stop: this column is missing"),
        (
            lambda sheet: sheet.cell(1, 10, "lifft seconds"),
            r"column lifft seconds: is not a column .* mean lift seconds\?",
        ),
        (lambda sheet: sheet.cell(2, 1, "foru"), r"row 2, column service: is not a service \(found 'foru'\)"),
    ],
)
def test_a_sheet_whose_form_was_changed_is_refused(change: Any, wanted: str, full: Path, tmp_path: Path) -> None:
    season, _ = read_season(full)
    path = filled(blank(season, tmp_path), "four", ONE_STOP)
    book = openpyxl.load_workbook(path)
    change(book["four"])
    book.save(path)
    with pytest.raises(SeasonError, match=wanted):
        read_grading_sheet(path, season)


def test_a_blank_sheet_has_nothing_to_add(full: Path, tmp_path: Path) -> None:
    before = (full / "graded_stops.csv").read_bytes()
    with pytest.raises(SeasonError, match=r"grading\.xlsx: holds no grades"):
        add_grades(full, blank(read_season(full)[0], tmp_path))
    assert (full / "graded_stops.csv").read_bytes() == before


def test_what_cannot_be_written_or_read_is_told_in_one_line(full: Path, tmp_path: Path) -> None:
    season, _ = read_season(full)
    with pytest.raises(InputError, match="service 'foru' has no choreography; did you mean 'four'"):
        write_grading_sheet(season, tmp_path / "x.xlsx", service="foru")
    with pytest.raises(InputError, match="holds 1 to 2000 stops, not 0"):
        write_grading_sheet(season, tmp_path / "x.xlsx", stops=0)
    with pytest.raises(InputError, match="cannot be written"):
        write_grading_sheet(season, tmp_path / "no such folder" / "x.xlsx")
    with pytest.raises(SeasonError, match="there is no such file"):
        read_grading_sheet(tmp_path / "none.xlsx", season)
    (tmp_path / "text.xlsx").write_text("not a workbook", encoding="utf-8")
    with pytest.raises(SeasonError, match=r"text\.xlsx: is not a sound \.xlsx workbook"):
        read_grading_sheet(tmp_path / "text.xlsx", season)
    with pytest.raises(InputError, match="not to a workbook"):
        add_grades(tmp_path / "text.xlsx", tmp_path / "text.xlsx")


@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    times=st.dictionaries(
        st.tuples(st.integers(1, 3), st.sampled_from(["p1", "p2"])),
        st.tuples(st.decimals("0.5", "60", places=3), st.integers(0, 3), st.sampled_from(["a1", "a2", "a3"])),
        min_size=1,
    )
)
def test_whatever_is_filled_in_comes_back(times: dict[Any, Any], tmp_path: Path) -> None:
    tasks = tuple(Task(f"do-{p}", p, p, (), f"do-{p}", 4.0, misses=("slip",), release=True) for p in ("p1", "p2"))
    season = tiny_season(positions=2, shape=tasks, misses={"slip": Miss("slip", "Slip", 0.1)}, grades=0)
    cells: dict[tuple[str, str, str], Any] = {}
    for (stop, position), (seconds, slips, athlete) in times.items():
        line = {"date": date(2026, 4, stop), "setting": "race", "tire": "plain", "athlete": athlete}
        line |= {f"do-{position} seconds": float(seconds), "miss slip": slips}
        cells |= {(f"s-{stop}", position, column): value for column, value in line.items()}
    sheet = read_grading_sheet(filled(blank(season, tmp_path, stops=3), "four", cells), season)
    found = {
        (int(row["stop"][2:]), row["position"]): (float(row["seconds"]), row["misses"].count("slip"), row["athlete"])
        for row in sheet.grades
    }
    assert found == {key: (float(seconds), slips, who) for key, (seconds, slips, who) in times.items()}
