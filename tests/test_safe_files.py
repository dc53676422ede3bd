"""A kill before any change on the disk, and a full disk, leave either what was there or what is new."""

from __future__ import annotations

import errno
import json
import resource
import shutil
import stat
import subprocess
import sys
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from lineup.errors import InputError, LineupError, SeasonError
from lineup.grading_sheet import add_grades, write_grading_sheet
from lineup.new_season import write_new_season
from lineup.plan import Assignment, Plan
from lineup.plan_file import read_plan, write_plan
from lineup.read import read_season
from lineup.read.drafts import save_draft
from lineup.safe_files import JOURNAL, finish_step, replace_together, whole_file, write_whole
from lineup.store import LOCAL, default_store, open_store
from tests.killing import files_in, printing
from tests.test_grading_sheet import FULL, ONE_STOP, blank, filled

ROOT = Path(__file__).parents[1]
NOW = datetime(2027, 4, 1, tzinfo=UTC)


@pytest.fixture
def start(tmp_path: Path) -> Path:
    """A season, a filled-in sheet, a plan and older documents of it."""
    place = tmp_path / "start"
    season, _ = read_season(Path(shutil.copytree(FULL, place / "season")))
    filled(blank(season, place), "four", ONE_STOP).rename(place / "sheet.xlsx")
    seats = (("jack", "bo-ray"), ("changer", "ana-lind"))
    write_plan(Plan("best_so_far", tuple(Assignment("oval-1", "seven", *seat) for seat in seats)), place / "plan.json")
    return place


@pytest.mark.parametrize(("case", "every"), [("add-grades", 3), ("edit", 13), ("new", 11), ("plan", 1)])
def test_a_kill_leaves_old_or_new_and_the_next_run_ends_the_same(
    case: str, every: int, start: Path, tmp_path: Path
) -> None:
    found = killed(case, start, tmp_path, every)
    assert found["kills"] > 1
    assert found["old"] > 0


def test_a_kill_while_documents_are_written_leaves_each_one_whole(start: Path, tmp_path: Path) -> None:
    printing(start).work(start)
    for name in files_in(start / "documents"):
        (start / "documents" / name).write_bytes(b"older")
    assert killed("export", start, tmp_path, 16)["half"] > 1  # some documents new, some old, none cut off


def killed(case: str, start: Path, tmp_path: Path, every: int) -> dict[str, int]:
    """Run one case in a program of its own, because it splits into processes."""
    command = [sys.executable, "-m", "tests.killing", case, str(start), str(tmp_path / "room"), str(every)]
    program = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, timeout=600, check=False)
    assert program.returncode == 0, program.stderr
    print(case, program.stdout)
    found: dict[str, int] = json.loads(program.stdout)
    return found


def test_a_step_that_waits_is_told_and_finished_by_the_next_run(start: Path) -> None:
    folder = start / "season"
    later = {name: (folder / name).read_bytes() + b"\n" for name in ("stops.csv", "graded_stops.csv")}
    rename = Path.replace

    def interrupted(self: Path, target: Any) -> Path:
        if self.name == ".graded_stops.csv.step":
            raise OSError(errno.EIO, "Input/output error")
        return rename(self, target)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Path, "replace", interrupted)
        with pytest.raises(OSError, match="Input/output"):
            replace_together(folder, later, {"sheet": "another"})
    with pytest.raises(SeasonError, match=r"lineup-step.json: tells of a step .* Run lineup add-grades again"):
        read_season(folder)
    added = add_grades(folder, start / "sheet.xlsx")
    assert (added.grades, added.stops) == (3, 1)
    assert (folder / "graded_stops.csv").read_bytes().startswith(later["graded_stops.csv"])
    assert not [path.name for path in folder.iterdir() if path.name.startswith(".")]


@pytest.mark.parametrize(
    "journal",
    ['{"files": ["../../x"], "told": null}', '{"files": ["choreography/../x.toml"], "told": 1}', "[]", "{", "\xff"],
)
def test_a_journal_that_names_anything_else_is_refused(journal: str, start: Path) -> None:
    (start / "season" / JOURNAL).write_text(journal, encoding="latin-1")
    with pytest.raises(InputError, match=r"lineup-step.json: is damaged"):
        add_grades(start / "season", start / "sheet.xlsx")


def test_nothing_waits_where_nothing_was_begun(tmp_path: Path) -> None:
    assert finish_step(tmp_path, lambda name: True) is None


def test_a_file_keeps_its_rights_and_a_link_stays_a_link(tmp_path: Path) -> None:
    real, link = tmp_path / "real.json", tmp_path / "link.json"
    real.write_bytes(b"old")
    real.chmod(0o640)
    link.symlink_to(real)
    write_whole(link, b"new")
    assert link.is_symlink()
    assert real.read_bytes() == b"new"
    assert stat.S_IMODE(real.stat().st_mode) == 0o640


def test_a_failed_write_leaves_nothing_behind(tmp_path: Path) -> None:
    (tmp_path / "a.txt").write_bytes(b"old")
    with pytest.raises(ZeroDivisionError), whole_file(tmp_path / "a.txt") as draft:
        draft.write_bytes(b"half")
        _ = 1 / 0
    assert [path.name for path in tmp_path.iterdir()] == ["a.txt"]
    assert (tmp_path / "a.txt").read_bytes() == b"old"


@pytest.fixture
def full_disk() -> Iterator[None]:
    """Let every write beyond the first bytes of a file fail: the system's own limit stands for a disk that is full."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (100, hard))
    yield
    resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


def keep_a_plan(start: Path) -> None:
    season, _ = read_season(start / "season")
    with open_store(default_store(start / "season")) as store:
        store.save(read_plan(start / "plan.json", season), season, reason="first", by=LOCAL, now=NOW)


WRITES: dict[str, Callable[[Path], Any]] = {
    "add-grades": lambda start: add_grades(start / "season", start / "sheet.xlsx"),
    "grading-sheet": lambda start: write_grading_sheet(read_season(start / "season")[0], start / "sheet.xlsx"),
    "draft": lambda start: save_draft(start / "season", "athletes.csv", "athlete,name" * 50),
    "new": lambda start: write_new_season(start / "mine"),
    "plan": lambda start: write_plan(Plan("best_so_far", notes=("x" * 200,)), start / "plan.json"),
    "keep": keep_a_plan,
}


@pytest.mark.parametrize("write", WRITES)
def test_a_full_disk_is_one_line_and_leaves_what_was_there(write: str, start: Path, request: Any) -> None:
    before = files_in(start)
    request.getfixturevalue("full_disk")
    with pytest.raises(
        LineupError, match=r"cannot be written \(|draft cannot be kept \(|disk refuses to write"
    ) as told:
        WRITES[write](start)
    assert "\n" not in str(told.value)
    left = {name: data for name, data in files_in(start).items() if ".store.db" not in name}
    assert left == before
    assert not [path.name for path in start.rglob(".*")]


def test_documents_on_a_full_disk_leave_the_older_ones(start: Path, request: Any) -> None:
    case = printing(start)
    case.work(start)
    for name in files_in(start / "documents"):
        (start / "documents" / name).write_bytes(b"older")
    request.getfixturevalue("full_disk")
    with pytest.raises(InputError, match=r"block.xlsx: cannot be written \(File too large\)"):
        case.work(start)
    assert set(files_in(start / "documents").values()) == {b"older"}


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no /dev/full")
@pytest.mark.parametrize("command", [("check", "season"), ("check", "none", "--json")])
def test_output_that_cannot_be_written_is_one_line(command: tuple[str, ...], start: Path) -> None:
    with Path("/dev/full").open("w") as full:
        program = [sys.executable, "-c", "from lineup.cli import main; main()", *command]
        done = subprocess.run(program, cwd=start, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert done.returncode == 2
    assert done.stderr.splitlines()[-1] == "lineup: cannot go on (No space left on device)"
    assert "Traceback" not in done.stderr
