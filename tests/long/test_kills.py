"""Kills every kind of write before each change it makes to the disk: nothing half done stays, nothing counts twice.

    pytest -n0 -s tests/long/test_kills.py

The suite does the same at every few changes (tests/test_safe_files.py). RESULTS.md has the last result.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.killing import CASES, files_in, printing
from tests.test_safe_files import killed, start

__all__ = ["start"]  # a fixture


@pytest.mark.parametrize("case", CASES)
def test_kill_before_every_change(case: str, start: Path, tmp_path: Path) -> None:
    if case == "export":
        printing(start).work(start)
        for name in files_in(start / "documents"):
            (start / "documents" / name).write_bytes(b"older")
    found = killed(case, start, tmp_path, 1)
    assert found["kills"] == found["old"] + found["new"] + found["half"]


COMMANDS = {
    "add-grades": ("add-grades", "season", "sheet.xlsx"),
    "grading-sheet": ("grading-sheet", "season", "--out", "sheet.xlsx"),
    "new": ("new", "mine"),
    "plan": ("plan", "season", "--out", "plan.json", "--time", "2", "--scenarios", "64"),
    "export": ("export", "season", "documents", "--plan", "plan.json", "--now", "2027-04-01T08:00+00:00"),
    "keep": ("keep", "season", "plan.json", "--reason", "first"),
}


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="only root may mount a small disk")
@pytest.mark.parametrize("command", COMMANDS)
def test_a_disk_that_is_really_full(command: str, start: Path, tmp_path: Path) -> None:
    disk = tmp_path / "disk"
    disk.mkdir()
    mounted = subprocess.run(["mount", "-t", "tmpfs", "-o", "size=400k", "none", str(disk)], check=False)
    if mounted.returncode:
        pytest.skip("no disk can be mounted here")
    try:
        subprocess.run(["cp", "-r", *map(str, start.iterdir()), str(disk)], check=True)
        with pytest.raises(OSError, match="No space left"):
            (disk / "ballast").write_bytes(bytes(1_000_000))
        before = files_in(disk)
        program = [sys.executable, "-c", "from lineup.cli import main; main()", *COMMANDS[command]]
        done = subprocess.run(program, cwd=disk, capture_output=True, text=True, check=False)
        assert done.returncode == 2, done.stderr
        assert done.stderr.splitlines()[-1].startswith("lineup: ")
        assert "Traceback" not in done.stderr
        left = {name: data for name, data in files_in(disk).items() if ".store.db" not in name}
        assert left == before
    finally:
        subprocess.run(["umount", str(disk)], check=True)
