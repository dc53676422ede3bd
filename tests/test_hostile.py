"""A hostile season from end to end: read, estimated, planned, exported; names stay names, and files stay in place."""

from __future__ import annotations

import csv
import io
import json
import re
import sys
from collections.abc import Iterator
from pathlib import Path

import openpyxl
import pypdf
import pytest
from icalendar import Calendar

from lineup.cli import main
from lineup.errors import SeasonError
from lineup.read import read_season
from lineup.read.cells import guarded, unguarded
from lineup.report.plain import FORMULA_STARTS, one_line
from tests.builders import season_rows, tiny_season, write_csv, write_season, write_workbook
from tests.hostile import ILLEGAL_IDS, ILLEGAL_NAMES, NAMES, hostile_season
from tests.readings import check_problem, differences

NOW = "2026-04-01T08:00+00:00"
Printed = pytest.CaptureFixture[str]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The season with its plan, made by the command line."""
    place = tmp_path_factory.mktemp("hostile") / "season"
    write_season(hostile_season(), place)
    run("plan", place, "--out", place.parent / "plan.json", "--time", 5, "--scenarios", 64)
    return place


@pytest.fixture(scope="module")
def documents(folder: Path) -> dict[str, Path]:
    """Every exported document, by its path in the folder that was named."""
    place = folder.parent / "out" / "documents"
    run("export", folder, place, "--plan", folder.parent / "plan.json", "--now", NOW)
    made = sorted(p for p in folder.parent.rglob("*") if p.is_file() and folder not in p.parents)
    strays = [p.name for p in made if place not in p.parents]
    assert strays == ["plan.json"], "nothing is written outside the folder that was named"
    return {str(p.relative_to(place)): p for p in made if place in p.parents}


def run(*words: object) -> int:
    """Run a command in this process; return its exit code."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "argv", ["lineup", *map(str, words)])
        with pytest.raises(SystemExit) as ended:
            main()
    return int(ended.value.code or 0)


def test_it_is_read_the_same_from_folder_and_workbook(folder: Path, tmp_path: Path) -> None:
    season, _ = read_season(folder)
    assert differences(season, hostile_season()) == []
    assert differences(read_season(write_workbook(season, tmp_path / "season.xlsx"))[0], season) == []


@pytest.mark.parametrize("command", ["check", "skills", "depth", "train", "swaps", "audit"])
def test_commands_show_names_letter_by_letter(command: str, folder: Path, capsys: Printed) -> None:
    plan = () if command in ("check", "skills") else (folder.parent / "plan.json",)
    assert run(command, folder, *plan) in (0, 4)
    said = "".join(capsys.readouterr())
    assert "Traceback" not in said
    assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f\u202a-\u202e\u2066-\u2069]", said.replace("\r", ""))
    assert "😄" not in said, "a name with :smile: is no picture"


def test_a_profile_and_a_reason_show_names_letter_by_letter(folder: Path, capsys: Printed) -> None:
    season, _ = read_season(folder)
    for name in (NAMES[0], NAMES[1], NAMES[9]):
        key = next(k for k, a in season.athletes.items() if a.name == name)
        assert run("skills", folder, "--athlete", key) == 0
        assert name[:30] in " ".join(capsys.readouterr().out.split())


@pytest.mark.parametrize(
    ("table", "column", "values"),
    [("athletes", "name", ILLEGAL_NAMES), ("athletes", "athlete", ILLEGAL_IDS), ("graded_stops", "stop", ILLEGAL_IDS)],
)
def test_each_illegal_name_or_id_is_reported(table: str, column: str, values: tuple[str, ...], tmp_path: Path) -> None:
    season = tiny_season(athletes=len(values), grades=1)
    rows = season_rows(season)[table][: len(values)]
    for row, value in zip(rows, values, strict=True):
        row[column] = value.replace("\0", "")
    place = write_season(season, tmp_path / "season")
    write_csv(place / f"{table}.csv", rows)
    with pytest.raises(SeasonError) as caught:
        read_season(place)
    found = caught.value.report.problems
    lines = [value.count("\n") for value in values]  # a cell with a line break counts as one row
    assert sum(lines) <= 1
    wanted = {number for number, value in enumerate(values, start=2) if "\0" not in value}
    assert wanted <= {problem.row for problem in found if problem.column == column}
    for problem in found:
        check_problem(problem)


def cells_of(documents: dict[str, Path]) -> Iterator[tuple[str, str]]:
    for name, path in documents.items():
        if name.endswith(".csv"):
            text = path.read_bytes().decode("utf-8")
            yield from ((name, cell) for row in csv.reader(io.StringIO(text, newline="")) for cell in row)


def test_no_cell_of_a_csv_file_is_a_formula(documents: dict[str, Path]) -> None:
    cells = list(cells_of(documents))
    assert len(cells) > 100
    for name, cell in cells:
        if cell.startswith(FORMULA_STARTS):
            float(cell)  # only a number may begin with a sign
        assert "\x00" not in cell, name
    shown = {cell for _, cell in cells}
    assert {"'=cmd|' /C calc'!A0", NAMES[0]} <= shown


def test_no_cell_of_a_workbook_is_a_formula_or_a_link(documents: dict[str, Path]) -> None:
    (path,) = (path for name, path in documents.items() if name.endswith(".xlsx"))
    book = openpyxl.load_workbook(path)
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row if cell.value is not None]
    assert {cell.data_type for cell in cells} <= {"s", "n"}
    assert not any(cell.hyperlink for cell in cells)
    assert {NAMES[1], NAMES[5]} <= {cell.value for cell in cells}


def test_calendars_hold_no_line_that_a_name_made(documents: dict[str, Path]) -> None:
    calendars = [path for name, path in documents.items() if name.endswith(".ics")]
    assert len(calendars) > 4
    for path in calendars:
        lines = path.read_bytes().decode().split("\r\n")
        assert max(len(line.encode()) for line in lines) <= 75  # RFC 5545, 3.1
        keys = {re.split(r"[:;]", line)[0] for line in lines if line and line[0] != " "}
        assert all(re.fullmatch(r"[A-Z-]+", key) for key in keys), keys
        assert Calendar.from_ical(path.read_bytes()).walk("VEVENT")


def test_sheets_print_names_as_text_without_scripts_or_links(documents: dict[str, Path]) -> None:
    papers = [path for name, path in documents.items() if name.endswith(".pdf")]
    assert len(papers) == 6  # a travel list and two cars on each of two weekends
    for path in papers:
        data = path.read_bytes()
        assert not any(mark in data for mark in (b"/JavaScript", b"/JS", b"/URI", b"/Launch", b"/EmbeddedFile"))
        assert pypdf.PdfReader(io.BytesIO(data)).pages[0].extract_text()


def test_file_names_are_names_and_no_paths(documents: dict[str, Path]) -> None:
    for name in documents:
        assert re.fullmatch(r"((csv|calendars|sheets/[a-z0-9-]+)/)?[a-z0-9-]+\.(csv|ics|pdf|xlsx)", name), name


def test_the_plan_file_is_json_with_the_ids(folder: Path) -> None:
    plan = json.loads((folder.parent / "plan.json").read_text(encoding="utf-8"))
    assert plan["weekends"] == ["../../<b>w1</b>", "=w2|**x** [link](javascript:alert(1))"]


@pytest.mark.parametrize("name", [*NAMES, "Ana", "'", "'Ana'", "O'Brien", "'=1"])
def test_what_is_written_into_a_season_reads_back_as_it_was(name: str) -> None:
    assert not guarded(name).startswith(FORMULA_STARTS)
    assert unguarded(guarded(name)) == (name if name != "'=1" else "=1")
    assert one_line(name)
