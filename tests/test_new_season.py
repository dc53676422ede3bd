"""A new season: valid as folder and workbook, plannable, and never written over anything."""

from __future__ import annotations

from pathlib import Path

import pytest
from python_calamine import CalamineWorkbook

from lineup.errors import InputError
from lineup.new_season import write_new_season
from lineup.optimize.solve import solve
from lineup.read import read_season
from lineup.read.choreographies import TaskKeys
from lineup.settings import Settings
from lineup.study import Study


def test_folder_and_workbook_are_the_same_valid_season(tmp_path):
    written = write_new_season(tmp_path / "mine")
    folder, first = read_season(tmp_path / "mine")
    book, second = read_season(tmp_path / "mine.xlsx")
    assert (first.problems, first.warnings) == ((), ())
    assert (second.problems, second.warnings) == ((), ())
    assert folder.fingerprints == book.fingerprints
    assert tmp_path / "mine" / "README.txt" in written


def test_it_can_be_planned(tmp_path):
    write_new_season(tmp_path / "mine")
    season, _ = read_season(tmp_path / "mine")
    study = Study(season, season.weekends, Settings(scenarios=64, time_s=20))
    outcome = solve(study.problem, study.settings)
    assert outcome.status == "proven"
    # who is cleared for one job only has it: the standing crew, as nothing was graded
    assert {a.athlete for a in outcome.assignments} >= {"alba-moor", "cleo-hart"}


def test_every_key_of_a_task_is_shown(tmp_path):
    write_new_season(tmp_path / "mine")
    with CalamineWorkbook.from_path(tmp_path / "mine.xlsx") as book:
        header = book.get_sheet_by_name("choreography").to_python()[0]
    assert header[2:] == list(TaskKeys.model_fields)
    comments = (tmp_path / "mine" / "choreography" / "four-tires.toml").read_text().split("[[task]]")[0]
    assert all(key in comments for key in TaskKeys.model_fields)


def test_nothing_is_overwritten(tmp_path):
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "notes.txt").write_text("keep")
    with pytest.raises(InputError, match="nothing is overwritten"):
        write_new_season(tmp_path / "mine")
    assert [p.name for p in (tmp_path / "mine").iterdir()] == ["notes.txt"]


def test_a_workbook_of_somebody_else_is_left_alone(tmp_path):
    (tmp_path / "mine.xlsx").write_bytes(b"keep")
    with pytest.raises(InputError, match="nothing is overwritten"):
        write_new_season(tmp_path / "mine")
    assert [(p.name, p.read_bytes()) for p in tmp_path.iterdir()] == [("mine.xlsx", b"keep")]


def test_killed_between_workbook_and_folder_the_same_command_finishes(tmp_path, monkeypatch):
    rename = Path.rename

    def killed(path, target):
        if path.suffix != ".xlsx":
            raise KeyboardInterrupt
        return rename(path, target)

    with monkeypatch.context() as patch:
        patch.setattr(Path, "rename", killed)
        with pytest.raises(KeyboardInterrupt):
            write_new_season(tmp_path / "mine")
    assert [p.name for p in tmp_path.iterdir()] == ["mine.xlsx"]
    write_new_season(tmp_path / "mine")
    folder, book = (read_season(tmp_path / name)[0] for name in ("mine", "mine.xlsx"))
    assert folder.fingerprints == book.fingerprints
