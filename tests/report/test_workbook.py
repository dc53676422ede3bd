"""The block as a workbook: opened by another library than wrote it, and read back without loss."""

from __future__ import annotations

from pathlib import Path

import pytest
from openpyxl import Workbook, load_workbook

from lineup.errors import InputError, PlanFileError
from lineup.plan import Plan
from lineup.report.workbook import read_workbook, write_workbook
from lineup.season import Season
from tests.report.papers import HEAD, HOSTILE, PRINTED, SIGNED, full_plan, named_season


@pytest.fixture
def season() -> Season:
    return named_season()


def test_assignments_and_reserves_come_back(tmp_path: Path, season: Season) -> None:
    plan = full_plan(season, r2_c2_p1="a8")
    path = write_workbook(tmp_path / "block.xlsx", season, plan, made_at=PRINTED, stamp=SIGNED)
    back = read_workbook(path, season)
    assert sorted(back.assignments) == sorted(plan.assignments)
    assert sorted(back.reserves) == sorted(plan.reserves)
    assert back.weekends == ("w1", "w2")


def test_another_library_finds_every_sheet(tmp_path: Path, season: Season) -> None:
    path = write_workbook(tmp_path / "block.xlsx", season, full_plan(season), made_at=PRINTED, stamp=SIGNED)
    book = load_workbook(path)
    assert book.sheetnames == [
        "roster",
        "assignments",
        "reserves",
        "travel",
        "cover",
        "forecasts",
        "costs",
        "about",
    ]
    roster = [[cell.value for cell in row] for row in book["roster"].iter_rows()]
    assert roster[0] == ["car", "position", "w1 · Race 1", "w2 · Race 2"]
    assert roster[1] == ["Car 1", "P1", "Athlete 1", "Athlete 1"]
    assert len(roster) == 7
    first = [cell.value for cell in book["assignments"][2]]
    assert first[:7] == ["r1", "c1", "p1", "a1", "Athlete 1", "P1", "Car 1"]
    assert first[-2:] == ["2026-04-05T08:00-04:00", "2026-04-05T13:00-04:00"]
    assert [c.value for c in book["forecasts"][2]] == ["r1", "c1", "four", 11.417, 11.3, 12.25, 12.9, 0.8]
    about = {row[0].value: row[1].value for row in book["about"].iter_rows(min_row=2)}
    assert (about["state"], about["revision"], about["check code"]) == ("signed", 14, HEAD)
    assert "no log-in was checked" in about["signature"]
    assert "clears nobody to compete" in about["take care"]
    assert sum(row[1].value for row in book["costs"].iter_rows(min_row=2) if row[0].value != "value") == 102.0


def test_no_name_becomes_a_formula_a_link_or_a_number(tmp_path: Path) -> None:
    names = {**HOSTILE, "a2": "=cmd|' /C calc'!A0", "a3": "http://example.org/x", "a5": "00123", "a7": "x" * 40_000}
    season = named_season(names)
    path = write_workbook(tmp_path / "block.xlsx", season, full_plan(season), made_at=PRINTED)
    book = load_workbook(path)
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row if cell.value is not None]
    assert {cell.data_type for cell in cells} == {"s", "n"}  # no "f": nothing is a formula
    assert all(cell.hyperlink is None for cell in cells)
    shown = {cell.value for cell in cells}
    assert {"=cmd|' /C calc'!A0", "http://example.org/x", "00123", "Nguyễn Thị Hương Trần"} <= shown
    assert max(len(value) for value in shown if isinstance(value, str)) <= 32_767
    assert sorted(read_workbook(path, season).assignments) == sorted(full_plan(season).assignments)


def test_no_reason_leaves_the_season_folder(tmp_path: Path, season: Season) -> None:
    path = write_workbook(tmp_path / "block.xlsx", season, full_plan(season), made_at=PRINTED, stamp=SIGNED)
    texts = " ".join(str(c.value) for sheet in load_workbook(path) for row in sheet.iter_rows() for c in row)
    assert not any(secret in texts for secret in ("medical", "SECRET", "doctor"))


def test_a_workbook_edited_by_hand_is_read(tmp_path: Path, season: Season) -> None:
    path = write_workbook(tmp_path / "block.xlsx", season, full_plan(season), made_at=PRINTED)
    book = load_workbook(path)
    book["assignments"]["D2"] = "a8"
    book["assignments"].append([])
    del book["reserves"]
    book.save(path)
    back = read_workbook(path, season)
    assert back.crew("r1", "c1")["p1"] == "a8"
    assert back.reserves == ()


def test_ids_of_digits_survive(tmp_path: Path) -> None:
    season = named_season()
    twelve = {"12": season.athletes["a1"]}
    season = season.replace(athletes={**season.athletes, **twelve})
    path = tmp_path / "typed.xlsx"
    book = Workbook()
    book.active.title = "assignments"
    book.active.append(["race", "car", "position", "athlete"])
    book.active.append(["r1", "c1", "p1", 12])
    book.save(path)
    assert read_workbook(path, season).crew("r1", "c1") == {"p1": "12"}


@pytest.mark.parametrize(
    ("sheet", "rows", "message"),
    [
        ("other", [], "has no sheet 'assignments'; it has other"),
        ("assignments", [["race", "car", "athlete"]], "sheet 'assignments', row 1: the column 'position' is missing"),
        (
            "assignments",
            [["race", "car", "position", "athlete"], ["r1", "c1", "p1", None]],
            "sheet 'assignments', row 2, column 'athlete': is empty",
        ),
        (
            "assignments",
            [["race", "car", "position", "athlete"], ["r1", "c1", "p1", "a11"]],
            "athlete 'a11' is not in the season; did you mean",
        ),
    ],
)
def test_a_wrong_workbook_gets_one_line(tmp_path: Path, season: Season, sheet: str, rows: list, message: str) -> None:
    path = tmp_path / "wrong.xlsx"
    book = Workbook()
    book.active.title = sheet
    for row in rows:
        book.active.append(row)
    book.save(path)
    with pytest.raises(PlanFileError, match=message) as told:
        read_workbook(path, season)
    assert "\n" not in str(told.value)


def test_what_is_no_workbook_gets_one_line(tmp_path: Path, season: Season) -> None:
    path = tmp_path / "notes.xlsx"
    path.write_text("not a workbook")
    with pytest.raises(PlanFileError, match="cannot be read as a workbook"):
        read_workbook(path, season)
    with pytest.raises(PlanFileError, match="cannot be read as a workbook"):
        read_workbook(tmp_path / "none.xlsx", season)
    with pytest.raises(InputError, match="cannot be written"):
        write_workbook(tmp_path / "none" / "x.xlsx", season, full_plan(season), made_at=PRINTED)
    with pytest.raises(InputError, match="does not say its offset"):
        write_workbook(tmp_path / "x.xlsx", season, full_plan(season), made_at=PRINTED.replace(tzinfo=None))


def test_the_same_block_is_the_same_file(tmp_path: Path, season: Season) -> None:
    plan: Plan = full_plan(season)
    one = write_workbook(tmp_path / "1.xlsx", season, plan, made_at=PRINTED).read_bytes()
    two = write_workbook(tmp_path / "2.xlsx", season, plan, made_at=PRINTED).read_bytes()
    assert one == two
