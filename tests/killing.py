"""Kills a program before each change it makes to the disk, looks at what is left: python -m tests.killing CASE …

Each case prepares a room, does its work in a child process that is killed (SIGKILL) before its n-th opening for
writing, renaming, removing or making of a file or folder, checks what stands there, and does the work again. n rises
until a child comes through. Prints one line of JSON: how many kills, and how many of them found the work half done.
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import sys
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from lineup.errors import LineupError, SeasonError
from lineup.grading_sheet import add_grades
from lineup.new_season import write_new_season
from lineup.plan import Assignment, Plan
from lineup.plan_file import read_plan, write_plan
from lineup.read import read_season
from lineup.read.drafts import put_in_place, save_draft, text_of
from lineup.report.calendar import Issue, write_calendars
from lineup.report.csv_tables import write_csv_tables
from lineup.report.sheet import write_sheets
from lineup.report.stamp import Papers, Stamp
from lineup.report.workbook import write_workbook
from lineup.safe_files import JOURNAL

CHANGES = ("os.rename", "os.remove", "os.rmdir", "os.mkdir", "os.link", "os.truncate")
WRITING = os.O_WRONLY | os.O_RDWR
NOW = datetime(2026, 4, 1, tzinfo=UTC)
MOST_KILLS = 500


@dataclass(frozen=True)
class Case:
    """What is killed: `work` changes the room, `check` says whether what stands there is new, old or half done."""

    work: Callable[[Path], Any]
    check: Callable[[Path], str]


def files_in(folder: Path) -> dict[str, bytes]:
    """Return every file that is not hidden, by its path in the folder."""
    paths = (p for p in sorted(folder.rglob("*")) if p.is_file())
    inside = {p.relative_to(folder): p for p in paths}
    return {str(name): p.read_bytes() for name, p in inside.items() if not any(part[0] == "." for part in name.parts)}


def kill_everywhere(case: Case, start: Path, room: Path, every: int) -> dict[str, int]:
    """Kill the work before every so manieth of its changes; done again, it must end as if never killed."""
    begin(start, room)
    case.work(room)
    wanted = files_in(room)
    found = {"kills": 0, "old": 0, "new": 0, "half": 0}
    for number in range(1, MOST_KILLS, every):
        begin(start, room)
        if survives(case, room, number):
            return found
        found["kills"] += 1
        found[case.check(room)] += 1
        try:
            case.work(room)
        except LineupError as error:
            assert "already" in str(error), error
            assert files_in(room).items() <= wanted.items(), number
        else:
            assert files_in(room) == wanted, number
    raise AssertionError("never came through")


def begin(start: Path, room: Path) -> None:
    """Put the room back as it was before the work."""
    shutil.rmtree(room, ignore_errors=True)
    shutil.copytree(start, room)


def survives(case: Case, room: Path, number: int) -> bool:
    """Do the work in a child process that is killed before its change of this number."""
    child = os.fork()
    if child == 0:
        seen = 0

        def count(event: str, given: tuple[Any, ...]) -> None:
            nonlocal seen
            if event in CHANGES or (event == "open" and isinstance(given[2], int) and given[2] & WRITING):
                seen += 1
                if seen == number:
                    os.kill(os.getpid(), signal.SIGKILL)

        sys.addaudithook(count)
        case.work(room)
        os._exit(0)
    status = os.waitpid(child, 0)[1]
    if os.WIFSIGNALED(status):
        return False
    assert os.WEXITSTATUS(status) == 0, "the work failed by itself"
    return True


def waits(error: SeasonError) -> str:
    """A season is refused for one reason only: a step that waits to be finished."""
    assert [problem.file for problem in error.report.problems] == [JOURNAL], error
    return "half"


def adding(start: Path) -> Case:
    """Add the sheet beside the season to it."""
    old, _ = read_season(start / "season")

    def check(room: Path) -> str:
        try:
            season, _ = read_season(room / "season")
        except SeasonError as error:
            return waits(error)
        grew = len(season.grades) > len(old.grades)
        assert grew == (len(season.stops) > len(old.stops))
        return "new" if grew else "old"

    return Case(lambda room: add_grades(room / "season", room / "sheet.xlsx"), check)


def editing(start: Path) -> Case:
    """Put two edited files in place together."""
    edits = {"athletes.csv": ("Bo Ray", "Bo Rae"), "misses.csv": ("Re-strike of a nut", "Re-strike")}

    def work(room: Path) -> None:
        for name, (was, now) in edits.items():
            save_draft(room / "season", name, text_of(room / "season", name).replace(was, now))
        put_in_place(room / "season")

    def check(room: Path) -> str:
        try:
            season, _ = read_season(room / "season")
        except SeasonError as error:
            return waits(error)
        first = season.athletes["bo-ray"].name == "Bo Rae"
        assert first == (season.misses["re-strike"].name == "Re-strike")
        return "new" if first else "old"

    return Case(work, check)


def beginning(start: Path) -> Case:
    """Write a season to start from."""

    def check(room: Path) -> str:
        if not (room / "mine").exists():
            return "old"
        read_season(room / "mine")
        return "new"

    return Case(lambda room: write_new_season(room / "mine"), check)


def planning(start: Path) -> Case:
    """Write a plan over another one."""
    season, _ = read_season(start / "season")
    read = read_plan(start / "plan.json", season)
    seat = Assignment("oval-1", "seven", "jack", "ed-voss")

    def check(room: Path) -> str:
        return "old" if read_plan(room / "plan.json", season) == read else "new"

    return Case(lambda room: write_plan(Plan("best_so_far", (seat,)), room / "plan.json"), check)


def printing(start: Path) -> Case:
    """Write every document of a plan over those of an older one."""
    season, _ = read_season(start / "season")
    plan = read_plan(start / "plan.json", season)
    old = files_in(start / "documents") if (start / "documents").exists() else {}

    def work(room: Path) -> None:
        place, issue, stamp = room / "documents", Issue("draft", 1, NOW), Stamp.draft()
        place.mkdir(exist_ok=True)
        write_workbook(place / "block.xlsx", season, plan, made_at=NOW, stamp=stamp)
        write_csv_tables(place / "csv", season, plan)
        write_calendars(place / "calendars", season, plan, issue)
        write_sheets(place / "sheets", season, Papers.draft(plan), "w14", printed_at=NOW)

    with tempfile.TemporaryDirectory() as trial:
        begin(start, Path(trial) / "room")
        work(Path(trial) / "room")
        new = files_in(Path(trial) / "room" / "documents")

    def check(room: Path) -> str:
        for name, data in files_in(room / "documents").items():
            assert data in (old.get(name), new[name]), name
        return "old" if files_in(room / "documents") == old else "half"

    return Case(work, check)


CASES = {"add-grades": adding, "edit": editing, "new": beginning, "plan": planning, "export": printing}


def main() -> None:
    """Run one case on a prepared folder."""
    case, start, room, every = sys.argv[1], Path(sys.argv[2]), Path(sys.argv[3]), int(sys.argv[4])
    sys.stdout.write(json.dumps(kill_everywhere(CASES[case](start), start, room, every)) + "\n")


if __name__ == "__main__":
    main()
