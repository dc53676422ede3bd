"""Workbooks: the same facts as a folder, values as spreadsheets hold them, and files that would fill the memory."""

from __future__ import annotations

import shutil
import zipfile
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from lineup.errors import SeasonError
from lineup.read import read_season
from lineup.read.workbook import cell_text
from lineup.season import Choreography
from tests.builders import simple_tasks, tiny_season, write_season, write_workbook
from tests.read.test_facts import DATA, rich_season


@pytest.fixture
def book(tmp_path: Path) -> Path:
    return write_workbook(rich_season(), tmp_path / "season.xlsx")


def change(path: Path, sheet: str, cell: str, value: Any) -> None:
    """Change one cell with openpyxl, a library independent of the one that reads it here."""
    loaded = openpyxl.load_workbook(path)
    loaded[sheet][cell] = value
    loaded.save(path)


def test_folder_and_workbook_have_the_same_fingerprints(tmp_path: Path) -> None:
    season = rich_season()
    folder = read_season(write_season(season, tmp_path / "folder"))[0]
    workbook = read_season(write_workbook(season, tmp_path / "season.xlsx"))[0]
    assert folder.fingerprints == workbook.fingerprints
    assert len(set(folder.fingerprints.values())) == len(folder.fingerprints)


def test_the_full_folder_is_the_same_as_a_workbook(tmp_path: Path) -> None:
    folder = read_season(DATA / "full")[0]
    workbook = read_season(write_workbook(folder, tmp_path / "season.xlsx"))[0]
    differing = {part for part, print_ in folder.fingerprints.items() if workbook.fingerprints[part] != print_}
    assert differing == {"grades"}, "an own time that is not known cannot be written as seconds"


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (5.0, "5"),
        (5.25, "5.25"),
        (-0.4, "-0.4"),
        (True, "yes"),
        (False, "no"),
        ("007", "007"),
        (date(2027, 4, 11), "2027-04-11T00:00:00"),
        (datetime(2027, 4, 11, 7, 59, 59, 999_998), "2027-04-11T08:00:00"),  # spreadsheets keep days as fractions
        (time(8, 30), "08:30:00"),
        (timedelta(hours=2), "2:00:00"),
        ("", ""),
    ],
)
def test_values_are_written_as_the_csv_file_would_hold_them(value: Any, text: str) -> None:
    assert cell_text(value) == text


def test_numbers_that_are_names_are_read_as_names(book: Path) -> None:
    change(book, "cars", "E2", 7)
    assert read_season(book)[0].cars["c1"].name == "7"


def test_problems_name_sheet_row_and_column(book: Path) -> None:
    change(book, "cars", "C2", "fast")
    change(book, "races", "E3", datetime(2026, 3, 8, 2, 30))
    change(book, "choreography", "I1", "relase")
    change(book, "limits", "A2", "rest_hour")
    change(book, "limits", "B3", "{ at_most = ")
    change(book, "weights", "B3", "lots")
    with pytest.raises(SeasonError) as caught:
        read_season(book)
    assert str(caught.value).splitlines() == [
        "error: sheet cars, row 2, column priority: is not a number (found 'fast'). Write a number, such as 4.25.",
        "error: sheet choreography, row 3, column relase: is not a known key (found 'yes'). Did you mean release?",
        "error: sheet races, row 3, column report: does not exist in America/New_York: the clocks go forward over it"
        " (found '2026-03-08T02:30:00'). Give a time before or after the change.",
        "error: sheet limits, column rest_hour: is not a known limit (found '11'). Did you mean rest_hours?",
        "error: sheet limits, column weekends_in_a_row: is not a number of zero or more (found '{ at_most =')."
        " Write a number, such as at_most = 3.",
        "error: sheet weights, column tail: is not a number (found 'lots'). Write a number, such as 4.25.",
    ]


def test_a_choreography_sheet_names_the_service_of_a_circle(tmp_path: Path) -> None:
    tasks = simple_tasks(["p1", "p2"], "chained")
    season = tiny_season(positions=2, shape=tasks)
    book = write_workbook(season, tmp_path / "season.xlsx")
    loaded = openpyxl.load_workbook(book)
    sheet = loaded["choreography"]
    header = [cell.value for cell in sheet[1]]
    sheet.cell(2, header.index("after") + 1).value = "do-p2"
    loaded.save(book)
    with pytest.raises(SeasonError, match=r"sheet choreography: tasks wait for each other in a circle.*found 'four'"):
        read_season(book)


def test_service_names_and_several_services_are_read_from_one_sheet(tmp_path: Path) -> None:
    two = {
        name: Choreography(name, title, simple_tasks(["p1", "p2"], "parallel"))
        for name, title in (("four", "Four tires"), ("fuel-only", "Fuel only"))
    }
    season = tiny_season(positions=2, choreographies=two)
    assert read_season(write_workbook(season, tmp_path / "season.xlsx"))[0].choreographies == two


def test_sheets_of_a_wrong_form_are_told(tmp_path: Path) -> None:
    book = write_workbook(rich_season(), tmp_path / "season.xlsx")
    loaded = openpyxl.load_workbook(book)
    loaded["limits"]["C1"] = "why"
    loaded["weights"].append(["tail", 0.5])
    tasks = loaded["choreography"]
    column = {cell.value: cell.column for cell in tasks[1]}
    tasks.cell(2, column["service"]).value = "Four Tires"
    tasks.cell(3, column["release"]).value = "perhaps"
    loaded["cars"]["H2"] = "lost"
    loaded["cars"]["I1"] = "colour"
    for row in loaded["entries"]["A1:B9"]:
        for cell in row:
            cell.value = None
    loaded.save(book)
    with pytest.raises(SeasonError) as caught:
        read_season(book)
    assert [str(problem) for problem in caught.value.report.problems] == [
        "sheet cars, row 1, column colour: is not a column of this table. Leave the column out.",
        "sheet cars, row 2: stands under no column name (found 'lost'). Give the column a name, or clear it.",
        "sheet entries, row 1: is empty, it has not even a header. Give the names of the columns.",
        "sheet choreography, row 2, column service: is not an id (found 'Four Tires')."
        " Write lower-case letters, digits, - and _ only.",
        "sheet choreography, row 3, column release: is neither yes nor no (found 'perhaps'). Write yes or no.",
        "sheet choreography, row 3, column after: no task of this service has this id (found 'do-p1')."
        " Did you mean do-p2?",
        "sheet limits, row 1: does not have the columns key and value alone (found 'key, value, why')."
        " Write key, value in its first row.",
        "sheet weights, row 4, column key: this key is there twice (found 'tail'). Keep one.",
    ]


def test_a_choreography_sheet_needs_its_service(tmp_path: Path) -> None:
    book = write_workbook(rich_season(), tmp_path / "season.xlsx")
    change(book, "choreography", "A1", None)
    with pytest.raises(SeasonError, match="sheet choreography, row 1, column service: this column is missing"):
        read_season(book)


def test_sheets_nobody_reads_are_told(book: Path) -> None:
    loaded = openpyxl.load_workbook(book)
    loaded.create_sheet("shopping")["A1"] = "milk"
    loaded.save(book)
    _, report = read_season(book)
    assert [str(warning) for warning in report.warnings] == [
        "shopping: is not a known name and was not read. Nothing to do, if that is meant."
    ]


def test_missing_sheets_are_told_all_at_once(tmp_path: Path) -> None:
    loaded = openpyxl.Workbook()
    loaded.save(tmp_path / "season.xlsx")
    with pytest.raises(SeasonError) as caught:
        read_season(tmp_path / "season.xlsx")
    files = [problem.file for problem in caught.value.report.problems]
    needed = ["sites", "positions", "athletes", "clearances", "cars", "races", "entries", "services", "graded_stops"]
    assert files == [f"sheet {name}" for name in [*needed, "choreography"]]


# ------------------------------------------------------------------------------------------- what fills the memory


def repack(path: Path, part: str, data: bytes) -> None:
    """Replace one part of a workbook."""
    with zipfile.ZipFile(path) as packed:
        parts = {info.filename: packed.read(info) for info in packed.infolist()}
    parts[part] = data
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as packed:
        for name, content in parts.items():
            packed.writestr(name, content)


def refused(path: Path) -> str:
    with pytest.raises(SeasonError) as caught:
        read_season(path)
    (problem,) = caught.value.report.problems
    return str(problem)


def test_a_workbook_that_unpacks_to_too_much_is_refused(book: Path) -> None:
    repack(book, "xl/media/image1.png", bytes(260_000_000))
    assert book.stat().st_size < 1_000_000
    assert "unpacks to more than 250 MB" in refused(book)


def test_a_workbook_that_lies_about_its_size_is_refused(book: Path) -> None:
    repack(book, "xl/theme/theme1.xml", b" " * 3_000_000)
    data = book.read_bytes()
    lied = data.replace((3_000_000).to_bytes(4, "little"), (3_000).to_bytes(4, "little"))
    assert lied != data
    book.write_bytes(lied)
    assert "is not a sound .xlsx workbook" in refused(book)


def test_a_sheet_with_two_cells_far_apart_is_refused(book: Path) -> None:
    change(book, "cars", "XFD1048576", "here")
    assert "spans more than 10,000,000 cells" in refused(book)


def test_a_workbook_with_thousands_of_parts_is_refused(book: Path) -> None:
    with zipfile.ZipFile(book, "a") as packed:
        for number in range(1001):
            packed.writestr(f"xl/media/{number}.txt", "")
    assert "holds more than 1000 parts" in refused(book)


@pytest.mark.parametrize("data", [b"", b"PK", b"not a workbook", b"PK\x03\x04" + bytes(100)])
def test_what_is_no_workbook_is_refused_in_one_line(data: bytes, tmp_path: Path) -> None:
    (tmp_path / "season.xlsx").write_bytes(data)
    assert refused(tmp_path / "season.xlsx").startswith("season.xlsx: is not a sound .xlsx workbook")


def test_a_zip_file_that_is_no_workbook_is_refused_in_one_line(tmp_path: Path) -> None:
    shutil.make_archive(str(tmp_path / "season"), "zip", DATA / "tiny")
    (tmp_path / "season.zip").rename(tmp_path / "season.xlsx")
    assert refused(tmp_path / "season.xlsx").startswith("season.xlsx: is not a sound .xlsx workbook")
