"""Whatever lies on the path, reading ends with a season or with a report, and touches nothing."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from lineup.errors import SeasonError
from lineup.read import read_season
from lineup.read.notes import MOST_ALIKE
from tests.builders import tiny_season, write_season
from tests.read.test_facts import DATA


@pytest.fixture
def tiny(tmp_path: Path) -> Path:
    return Path(shutil.copytree(DATA / "tiny", tmp_path / "season"))


def report_of(path: Path) -> list[str]:
    with pytest.raises(SeasonError) as caught:
        read_season(path)
    return [str(problem) for problem in caught.value.report.problems]


def test_a_path_that_leads_nowhere_is_told_in_one_line(tmp_path: Path) -> None:
    (told,) = report_of(tmp_path / "none")
    assert told.endswith("none: there is no such season. Give the path of a season folder or workbook.")
    (tmp_path / "notes.txt").write_text("hello", encoding="utf-8")
    (told,) = report_of(tmp_path / "notes.txt")
    assert "is neither a folder nor an .xlsx workbook" in told
    (told,) = report_of(tmp_path / "a\0b")
    assert "there is no such season" in told or "cannot be read" in told


def test_an_empty_folder_names_every_file_it_lacks(tmp_path: Path) -> None:
    told = report_of(tmp_path)
    assert [line.split(":")[0] for line in told] == [
        *("sites.csv", "positions.csv", "athletes.csv", "clearances.csv", "cars.csv", "races.csv", "entries.csv"),
        *("services.csv", "graded_stops.csv", "choreography"),
    ]


def test_a_folder_or_a_pipe_in_place_of_a_file_is_refused(tiny: Path) -> None:
    (tiny / "pins.csv").mkdir()
    os.mkfifo(tiny / "worked.csv")
    (tiny / "limits.toml").symlink_to(tiny / "limits.toml")
    told = report_of(tiny)
    assert "pins.csv: is not a file. Put a plain file in its place." in told
    assert "worked.csv: is not a file. Put a plain file in its place." in told
    assert any(line.startswith("limits.toml: ") for line in told)


def test_files_larger_than_memory_should_hold_are_refused(tiny: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("lineup.read.folder.LARGEST_BYTES", 1000)
    (tiny / "graded_stops.csv").write_text("x" * 1001, encoding="utf-8")
    assert "graded_stops.csv: is larger than 0 MB. Leave out what is not needed." in report_of(tiny)


def test_grades_need_a_column_for_the_time(tiny: Path) -> None:
    table = tiny / "graded_stops.csv"
    rows = [line.rsplit(",", 1)[0] for line in table.read_text(encoding="utf-8").splitlines()]
    table.write_text("\n".join(rows), encoding="utf-8")
    assert report_of(tiny) == ["graded_stops.csv, row 1, column seconds or finish_s: this column is missing. Add it."]


def test_other_files_beside_the_choreographies_are_told(tiny: Path) -> None:
    (tiny / "choreography" / "four.txt").write_text("notes", encoding="utf-8")
    (tiny / "choreography" / ".hidden").write_text("notes", encoding="utf-8")
    (tiny / "readme.md").write_text("notes", encoding="utf-8")
    _, report = read_season(tiny)
    assert [str(warning) for warning in report.warnings] == [
        "choreography/four.txt: is not a .toml file and was not read. Name it SERVICE.toml."
    ]


def test_a_toml_file_nested_too_deep_is_refused(tiny: Path) -> None:
    (tiny / "limits.toml").write_text("rest_hours = " + "[" * 100_000, encoding="utf-8")
    assert any(line.startswith("limits.toml: is not TOML") for line in report_of(tiny))


def test_ids_never_become_paths(tiny: Path) -> None:
    (tiny / "services.csv").write_text("race,service,count\noval-1,../../four,6\nmesa-1,four,6\n", encoding="utf-8")
    (tiny.parent / "four.toml").write_text("name = 'Elsewhere'", encoding="utf-8")
    (told,) = report_of(tiny)
    assert told.startswith("services.csv, row 2, column service: is not an id")


def test_a_fault_in_every_row_is_listed_so_often_and_then_counted(tmp_path: Path) -> None:
    season = tiny_season(grades=20)
    folder = write_season(season, tmp_path)
    table = folder / "graded_stops.csv"
    table.write_text(table.read_text(encoding="utf-8").replace("practice", "practise"), encoding="utf-8")
    told = report_of(folder)
    assert len(told) == MOST_ALIKE + 1
    rows = len(season.grades)
    assert told[-1] == (
        f"graded_stops.csv, column setting: {rows - MOST_ALIKE} more rows have the same problem:"
        " is not one of race, practice, tryout. Did you mean practice?"
    )


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_line_ends_and_byte_order_mark_make_no_difference(ending: str, tiny: Path) -> None:
    wanted = read_season(DATA / "tiny")[0].fingerprints
    for path in tiny.glob("*.csv"):
        text = path.read_text(encoding="utf-8").replace("\n", ending)
        path.write_bytes(b"\xef\xbb\xbf" + text.encode())
    assert read_season(tiny)[0].fingerprints == wanted


def test_rows_are_counted_as_a_spreadsheet_shows_them(tiny: Path) -> None:
    rows = 'car,series,priority,home,name\nseven,cup,2,shop,"Car\nseven"\n\n,,,,\nnine,cup,none,shop,\n'
    (tiny / "cars.csv").write_text(rows, encoding="utf-8")
    (told,) = report_of(tiny)
    assert told.startswith("cars.csv, row 5, column priority: is not a number (found 'none')")


def test_reading_changes_nothing(tiny: Path) -> None:
    before = {path: (path.read_bytes(), path.stat().st_mtime_ns) for path in tiny.rglob("*") if path.is_file()}
    read_season(tiny)
    after = {path: (path.read_bytes(), path.stat().st_mtime_ns) for path in tiny.rglob("*") if path.is_file()}
    assert after == before
